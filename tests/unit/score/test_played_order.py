"""Repeats, endings and jumps. The rules are common practice (no source) unless a line names the MusicXML standard."""

from __future__ import annotations

from pathlib import Path

import pytest

from made_scores import bar, read, score
from partwright.errors import ScoreError
from partwright.score import Part

START = '<repeat direction="forward"/>'
END = '<repeat direction="backward"/>'


def ending(number: str, kind: str) -> str:
    return f'<ending number="{number}" type="{kind}"/>'


def direction(inside: str = "", sound: str = "") -> str:
    return f"<direction>{inside and f'<direction-type>{inside}</direction-type>'}{sound}</direction>"


def words(text: str) -> str:
    return direction(f"<words>{text}</words>")


def order(part: Part) -> str:
    return " ".join(part.bars[played.bar_index].number for played in part.played_bars)


WHOLE = "<note><pitch><step>C</step><octave>3</octave></pitch><duration>16</duration></note>"

CASES = {
    "plain": ([bar(), bar()], "1 2"),
    "repeat from the beginning": ([bar(), bar(right=END), bar()], "1 2 1 2 3"),
    "repeat with both signs": ([bar(), bar(left=START), bar(right=END), bar()], "1 2 3 2 3 4"),
    "times (MusicXML: repeat times)": ([bar(right='<repeat direction="backward" times="5"/>'), bar()], "1 1 1 1 1 2"),
    "two sections without a start sign": ([bar(), bar(right=END), bar(), bar(right=END)], "1 2 1 2 3 4 3 4"),
    "start never ended": ([bar(), bar(left=START), bar()], "1 2 3"),
    "two endings": (
        [
            bar(left=START),
            bar(left=ending("1", "start"), right=ending("1", "stop") + END),
            bar(left=ending("2", "start"), right=ending("2", "discontinue")),
            bar(),
        ],
        "1 2 1 3 4",
    ),
    "one ending, then on": (
        [bar(), bar(left=ending("1", "start"), right=ending("1", "stop") + END), bar()],
        "1 2 1 3",
    ),
    "first ending for two passes": (
        [
            bar(),
            bar(left=ending("1, 2", "start"), right=ending("1, 2", "stop") + END),
            bar(left=ending("3", "start"), right=ending("3", "stop")),
            bar(),
        ],
        "1 2 1 2 1 3 4",
    ),
    "endings of two bars": (
        [
            bar(),
            bar(left=ending("1", "start")),
            bar(right=ending("1", "stop") + END),
            bar(left=ending("2", "start")),
            bar(right=ending("2", "stop")),
        ],
        "1 2 3 1 4 5",
    ),
    "five endings (open suite 45d)": (
        [
            bar(),
            bar(left=ending("1", "start"), right=ending("1", "stop") + END),
            bar(left=ending("2", "start")),
            bar(),
            bar(right=ending("2", "stop") + END),
            bar(left=ending("3", "start"), right=ending("3", "stop") + END),
            bar(left=ending("4", "start"), right=ending("4", "stop") + END),
            bar(left=ending("5", "start"), right=ending("5", "discontinue")),
            bar(),
        ],
        "1 2 1 3 4 5 1 6 1 7 1 8 9",
    ),
    "last ending opens the next section (open suite 45e)": (
        [
            bar(left=START),
            bar(left=ending("1", "start"), right=ending("1", "stop") + END),
            bar(left=ending("2", "start") + START, right=ending("2", "discontinue")),
            bar(right=END),
            bar(),
        ],
        "1 2 1 3 4 3 4 5",
    ),
    "a repeat inside a repeat": (
        [bar(left=START), bar(left=START), bar(right=END), bar(right=END), bar()],
        "1 2 3 2 3 4 1 2 3 2 3 4 5",
    ),
    "D.C. al Fine": ([bar(), bar(WHOLE + words("Fine")), bar(), bar(WHOLE + words("D.C. al Fine"))], "1 2 3 4 1 2"),
    "D.C. by sound (MusicXML: sound dacapo, fine)": (
        [bar(), bar(WHOLE + '<sound fine="yes"/>'), bar(WHOLE + '<sound dacapo="yes"/>')],
        "1 2 3 1 2",
    ),
    "D.C. without Fine plays to the end once": ([bar(), bar(WHOLE + words("Da Capo")), bar()], "1 2 1 2 3"),
    "D.S. al Fine": (
        [bar(), bar(direction("<segno/>") + WHOLE), bar(WHOLE + words("Fine")), bar(WHOLE + words("D.S. al Fine"))],
        "1 2 3 4 2 3",
    ),
    "D.S. al Coda": (
        [
            bar(),
            bar(direction("<segno/>") + WHOLE),
            bar(WHOLE + words("To Coda")),
            bar(WHOLE + words("D.S. al Coda")),
            bar(direction("<coda/>") + WHOLE),
            bar(),
        ],
        "1 2 3 4 2 3 5 6",
    ),
    "two coda signs: leave at the first, land at the second": (
        [
            bar(),
            bar(WHOLE + direction("<coda/>")),
            bar(WHOLE + words("D.C. al Coda")),
            bar(direction("<coda/>") + WHOLE),
        ],
        "1 2 3 1 2 4",
    ),
    "repeats are not taken after D.C.": (
        [bar(left=START), bar(right=END), bar(WHOLE + words("Fine")), bar(WHOLE + words("D.C. al Fine"))],
        "1 2 1 2 3 4 1 2 3",
    ),
    "after-jump takes them (MusicXML: repeat after-jump)": (
        [
            bar(left=START),
            bar(right='<repeat direction="backward" after-jump="yes"/>'),
            bar(WHOLE + words("D.C.")),
        ],
        "1 2 1 2 3 1 2 1 2 3",
    ),
    "the last ending is played after D.C.": (
        [
            bar(),
            bar(left=ending("1", "start"), right=ending("1", "stop") + END),
            bar(WHOLE + words("Fine"), left=ending("2", "start"), right=ending("2", "stop")),
            bar(WHOLE + words("D.C. al Fine")),
        ],
        "1 2 1 3 4 1 3",
    ),
    "a repeat in the coda is taken": (
        [
            bar(WHOLE + words("To Coda")),
            bar(WHOLE + words("D.C. al Coda")),
            bar(direction("<coda/>") + WHOLE, left=START, right=END),
        ],
        "1 2 1 3 3",
    ),
    "D.S. to nowhere is passed over": ([bar(), bar(WHOLE + words("D.S."))], "1 2"),
}


@pytest.mark.parametrize("name", CASES)
def test_played_order(name: str, tmp_path: Path) -> None:
    bars, expected = CASES[name]
    # the signs of the last barline may come after the notes, so every bar carries its own note
    assert order(read(tmp_path, score(*bars)).part) == expected


def test_every_pass_of_a_bar_is_numbered(tmp_path: Path) -> None:
    part = read(tmp_path, score(bar(right=END), bar())).part
    assert [(p.bar_index, p.pass_number, int(p.start_quarters)) for p in part.played_bars] == [
        (0, 1, 0),
        (0, 2, 4),
        (1, 1, 8),
    ]


def test_absurd_repeats_are_refused(tmp_path: Path) -> None:
    bars = [bar(right='<repeat direction="backward" times="1000000"/>') for _ in range(64)]
    with pytest.raises(ScoreError, match=r"bar 1: .*more than 20,000 bars"):
        read(tmp_path, score(*bars))


def test_tempo_holds_as_it_is_passed(tmp_path: Path) -> None:
    slow = direction(sound='<sound tempo="60"/>')
    fast = direction(sound='<sound tempo="120"/>')
    part = read(tmp_path, score(bar(slow + WHOLE), bar(fast + WHOLE, right=END))).part
    assert [round(note.onset_seconds, 6) for note in part.played_notes] == [0, 4, 6, 10]
    assert [round(note.duration_seconds, 6) for note in part.played_notes] == [4, 2, 4, 2]


def test_going_back_leaves_a_ritardando_behind(tmp_path: Path) -> None:
    """A repeat begins again in the tempo of its beginning, not in that of the rit. before it (common practice)."""
    fast = direction(sound='<sound tempo="120"/>')
    slow = direction(sound='<sound tempo="60"/>')
    first = bar(fast + WHOLE)
    part = read(tmp_path, score(first, bar(WHOLE), bar(slow + WHOLE, right=END))).part
    assert [round(note.duration_seconds, 6) for note in part.played_notes] == [2, 2, 4, 2, 2, 4]
    part = read(tmp_path, score(bar(fast + WHOLE), bar(WHOLE, left=START), bar(slow + WHOLE, right=END))).part
    assert [round(note.duration_seconds, 6) for note in part.played_notes] == [2, 2, 4, 2, 4]


def test_tempo_changes_inside_a_bar(tmp_path: Path) -> None:
    half = "<note><pitch><step>C</step><octave>3</octave></pitch><duration>8</duration></note>"
    slow, fast = direction(sound='<sound tempo="60"/>'), direction(sound='<sound tempo="120"/>')
    part = read(tmp_path, score(bar(slow + half + fast + half))).part
    assert [round(note.onset_seconds, 6) for note in part.played_notes] == [0, 2]
    assert [round(note.duration_seconds, 6) for note in part.played_notes] == [2, 1]
