"""Comments as viewers write them: which kind, what is claimed, and where it points."""

from __future__ import annotations

import pytest

from partwright.checking.reports import understand, wished_tune
from partwright.checking.reports.wishes import tally_wishes


@pytest.mark.parametrize(
    ("text", "kind", "proposed", "observed"),
    [
        ("at 3:42 shouldn't that be a C sharp?", "note", [("C", 1)], []),
        ("bar 12 beat 3 the C should be sharp!!", "note", [("C", 1)], []),
        ("you say F natural at 2:10 but it's F#", "note", [("F", 1)], [("F", 0)]),
        ("the second G in bar 5 is wrong, should be A", "note", [("A", 9)], []),
        ("my sheet has C and it should be C#, like bar 6, at bar 32", "note", [("C", 1)], [("C", 9)]),
        ("change B flat to B at 0:12", "note", [("B", 9)], [("B", -1)]),
        ("shouldnt D 3:14 be with the third finger rather than the second", "finger", [(3,)], [(2,)]),
        ("bar 4 the B has a 2 and it should be 3", "finger", [(3,)], [(2,)]),
        ("secnd fingr on the E at 1:02, not frist finger", "finger", [(2,)], [(1,)]),
        ("bar 7 the A is on the D string, not the G string", "string", [("letter", "D")], [("letter", "G")]),
        ("2:31 you say third position but it is fourth position", "position", [(4, 0)], [(3, 0)]),
        ("m7 up bow, not down bow, on the D", "bow", [("up",)], [("down",)]),
        ("bar 3 the D is a dotted quarter note, not a quarter note", "rhythm", [(1.5,)], [(1.0,)]),
        ("isn't that a third finger stretch at 1:20? you said second finger", "finger", [(3,)], [(2,)]),
        ("wrong note at 1:15", "note", [], []),
        ("why do you use third finger on the D at 3:14?", "question", [], []),
        ("Please do The Mill Wheel next!", "request", [], []),
        ("love the D at the end 😀", "thanks", [], []),
        ("sound is too quiet at 2:10", "video", [], []),
        ("hello", "other", [], []),
        ("", "other", [], []),
        ("🎻🎻🎻", "other", [], []),
    ],
)
def test_comments_are_understood(
    text: str, kind: str, proposed: list[tuple[object, ...]], observed: list[tuple[object, ...]]
) -> None:
    found = understand(text)
    assert found.kind == kind
    assert [s.value for s in found.proposed] == proposed
    assert [s.value for s in found.observed] == observed


@pytest.mark.parametrize(
    ("text", "times", "bars"),
    [
        ("3:42 should be D", (222.0,), ()),
        ("1:03:42 should be D", (3822.0,), ()),
        ("at 3m42s it should be D", (222.0,), ()),
        ("at 3.42 it should be D", (222.0,), ()),
        ("at minute 3:42: it should be D", (222.0,), ()),
        ("bar12 should be D", (), (("12", "12"),)),
        ("m. 12 should be D", (), (("12", "12"),)),
        ("the 12th bar should be D", (), (("12", "12"),)),
        ("bar twenty two should be D", (), (("22", "22"),)),
        ("bars 12-14 should be D", (), (("12", "14"),)),
        ("bar 10b should be D", (), (("10b", "10b"),)),
        ("bar 6 should be D, as in bar 2", (), (("6", "6"),)),
    ],
)
def test_places_are_read(text: str, times: tuple[float, ...], bars: tuple[tuple[str, str], ...]) -> None:
    points = understand(text).pointers
    assert points.times_s == times
    assert points.bars == bars


def test_a_note_is_counted_off() -> None:
    points = understand("the second G in bar 5 should be A").pointers
    assert (points.nth, points.nth_name) == (2, ("G", None))
    assert understand("isn't the last note of section B a D?").pointers.nth == -1


@pytest.mark.parametrize(
    ("text", "tune"),
    [
        ("Please do The Miller's Ladder next!", "The Miller's Ladder"),
        ('could you teach "Two Candles" please', "Two Candles"),
        ("my daughter wants to learn Copper Kettle Waltz, could you do that one next", "Copper Kettle Waltz"),
        ("pls pls pls nettle soup reel 🙏", "nettle soup reel"),
        ("please do more", "more"),
        ("please", ""),
    ],
)
def test_the_tune_wished_for_is_found(text: str, tune: str) -> None:
    assert wished_tune(text) == tune


def test_wishes_are_tallied_by_viewer_and_over_slips_of_spelling() -> None:
    asked = [("a", "The Miller's Ladder"), ("b", "the millers ladder"), ("b", "Millers Lader"), ("c", "Two Candles")]
    rows = [(wish.tune, len(wish.viewers)) for wish in tally_wishes(asked)]
    assert rows == [("The Miller's Ladder", 2), ("Two Candles", 1)]


def test_a_comment_of_a_megabyte_is_understood_in_time() -> None:
    found = understand("the C in bar 3 should be C sharp. " * 100)
    assert found.kind == "note"
