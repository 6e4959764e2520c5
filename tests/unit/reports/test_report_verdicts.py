"""Who is right: viewers against score, plan, what was said, and what was sold."""

from __future__ import annotations

from dataclasses import replace

import pytest

from partwright.bowing import plan_bowing
from partwright.checking.narration import check_narration, parse_transcript
from partwright.checking.reports import (
    Comment,
    EditionNote,
    Grounds,
    ReportsCheck,
    check_reports,
    kept_document,
    reports_csv,
    reports_page,
)
from partwright.fingering import plan_fingering
from partwright.instrument import load_instrument
from partwright.score import Note, Part, Pitch, read_tune

# Eight bars twice; bar 14 is bar 6 again. In D major.
TUNE = """X:1
T:The Stile
M:3/4
L:1/4
K:D
"D"D, E, F, | "G"G, A, B, | "A7"A, G, E, | "D"F,2 D, | "D"D, F, A, | "A7"B, C A, | "Em"G, F, E, | "D"D,3 |
"D"D, E, F, | "G"G, A, B, | "A7"A, G, E, | "D"F,2 D, | "D"D, F, A, | "A7"B, C A, | "Em"G, F, E, | "D"D,3 |]
"""
SAID = """[0:01] Let's begin with the D. That's first finger on the G string in third position, no, open D. Then E.
[0:08] E is first finger and F sharp is third finger. G is fourth finger.
"""


@pytest.fixture(scope="module")
def part(tmp_path_factory: pytest.TempPathFactory) -> Part:
    path = tmp_path_factory.mktemp("tune") / "tune.abc"
    path.write_text(TUNE, encoding="utf-8")
    return read_tune(path).part


def misprinted(part: Part, bar: str, beat: int, pitch: Pitch) -> Part:
    notes = tuple(replace(n, pitch=pitch) if (n.bar, n.beat) == (bar, beat) else n for n in part.notes)
    return replace(part, notes=notes)


def grounds(part: Part, said: str = "") -> Grounds:
    cello = load_instrument("cello")
    plan = plan_fingering(part, cello, level="intermediate")
    bowing = plan_bowing(part, cello, plan, level="intermediate")
    transcript = parse_transcript(said.encode() or b"Hello.")
    return Grounds.of(check_narration(transcript, part, cello, plan=plan, bowing=bowing))


def told(part: Part, *texts: str, said: str = "", **more: object) -> ReportsCheck:
    comments = [Comment(row=k, text=text, viewer=f"v{k}") for k, text in enumerate(texts, start=1)]
    return check_reports(comments, grounds(part, said), **more)  # type: ignore[arg-type]


def test_a_misprint_is_found_by_the_equal_bar_the_chord_and_the_key(part: Part) -> None:
    wrong = misprinted(part, "14", 2, Pitch("C", 0, 4))
    check = told(wrong, "bar 14 beat 2 should be C sharp")
    (report,) = check.reports
    assert (report.verdict, report.note and report.note.bar) == ("right", "14")
    assert "bar 6" in report.weighed.why
    (draft,) = check.drafts
    assert (draft.kind, draft.bar, draft.beat, draft.was, draft.right) == ("pitch", "14", "2", "C4", "C#4")
    assert draft.origin == "report"


def test_a_viewer_who_errs_is_not_believed_even_by_five(part: Part) -> None:
    check = told(part, *["bar 14 beat 2 should be C natural"] * 5)
    (report,) = check.reports
    assert len(report.viewers) == 5
    assert report.verdict != "right"
    assert check.drafts == ()


def test_one_person_who_says_it_five_times_is_one_viewer(part: Part) -> None:
    comments = [Comment(row=k, text="bar 14 beat 2 should be B", viewer="same") for k in range(5)]
    (report,) = check_reports(comments, grounds(part)).reports
    assert report.viewers == ("same",)
    assert len(report.rows) == 5


def test_what_an_edition_has_makes_the_viewer_right(part: Part) -> None:
    def at(note: Note, kind: str) -> list[EditionNote]:
        return [EditionNote(number=1, step="C", alter=0), EditionNote(number=2, step="C", alter=1)]

    (report,) = told(part, "bar 14 beat 2 should be C sharp, not C", editions_at=at).reports
    assert report.verdict == "right"
    assert report.draft is not None
    assert (report.draft.editions, report.draft.was, report.draft.right) == ((1,), "C4", "C#4")


def test_where_the_score_has_it_already_it_is_asked_and_not_claimed(part: Part) -> None:
    (report,) = told(part, "bar 14 beat 2 should be C sharp").reports
    assert report.verdict == "check"


def test_a_bar_that_is_not_there_is_said(part: Part) -> None:
    (report,) = told(part, "bar 400 should be a C").reports
    assert report.note is None
    assert report.weighed.why == "there is no bar 400"


def test_a_time_without_a_transcript_is_said(part: Part) -> None:
    (report,) = told(part, "at 3:42 it should be a C", said="no times here").reports
    assert "no transcript" in report.weighed.why


def test_the_second_note_of_a_name_is_the_second(part: Part) -> None:
    (report,) = told(part, "the last note of bar 6 should be a G").reports
    assert report.note is not None
    assert (report.note.bar, report.note.beat) == ("6", 3)


def test_reports_of_one_thing_are_one_report_and_ranked_by_number(part: Part) -> None:
    wrong = misprinted(part, "14", 2, Pitch("C", 0, 4))
    check = told(
        wrong, "bar 14 beat 2 should be C sharp", "the C in measure 14 is wrong, should be C#",
        "bar 2 beat 1 should be A", "isnt the c in bar 14 supposed to be sharp??",
    )  # fmt: skip
    first, second = check.reports
    assert (len(first.viewers), first.verdict) == (3, "right")
    assert second.verdict == "wrong"


def test_kept_reports_hold_no_name_and_are_not_doubled(part: Part) -> None:
    check = told(part, "bar 14 beat 2 should be C sharp", "thank you")
    once = kept_document(check, read="2026-11-28")
    twice = kept_document(check, read="2026-11-29", before=once)
    assert twice["reports"] == once["reports"]
    first = once["reports"][0]  # type: ignore[index]
    assert first["viewers"] == ["v1"]
    assert first["state"] == "open"


def test_what_viewers_write_never_becomes_markup_or_a_formula(part: Part) -> None:
    evil = '<script>alert(1)</script> "><img src=x onerror=alert(1)> @@REPORTS@@ bar 6 should be <b>C</b>'
    check = told(part, evil, "=HYPERLINK(1) why third finger in bar 2?", "please do =cmd|calc next")
    page = reports_page("T<i>", check, file_name='c"<x>.csv')
    assert "<script" not in page
    assert "<img src=x" not in page
    assert "T<i>" not in page
    assert page.count("<h1>") == 1
    for line in reports_csv(check).splitlines()[1:]:
        assert not any(cell.lstrip('"').startswith(("=", "+", "@")) for cell in line.split(","))


def test_addresses_and_callings_are_left_out_of_what_is_shown(part: Part) -> None:
    (report,) = told(
        part, "@piper_1 mail me at wren@example.org or +44 20 7946 0000: bar 6 beat 2 should be a D"
    ).reports
    assert "example.org" not in report.quote
    assert "7946" not in report.quote
    assert "piper" not in report.quote


def test_a_spoken_slip_is_for_the_video_and_not_for_the_page(part: Part) -> None:
    plan = plan_fingering(part, load_instrument("cello"), level="intermediate")
    first = next(n for n in part.notes if (n.bar, n.beat) == ("5", 2))
    finger = plan.by_id[first.id].placement.finger
    words = ("open", "first", "second", "third", "fourth")
    wrong = words[1 + finger % 4]
    said = (
        f"[0:01] Let's begin: D, E, F sharp, G, A, B.\n[0:06] Then A, G, E, and F sharp and D.\n"
        f"[0:12] Then D again. The F sharp is {wrong} finger. Then A, B, C sharp and A.\n[0:20] G, F sharp, E, D.\n"
    )
    check = told(part, f"0:13 you say {wrong} finger on the F sharp, it's {words[finger]} finger", said=said)
    (report,) = check.reports
    assert (report.verdict, report.weighed.concerns) == ("right", "video")
    assert report.draft is not None
    assert (report.draft.kind, report.draft.where) == ("word", "video")
