"""Each command as a user types it: exit code, both outputs, files left behind."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import music21
import pytest
from lxml import etree

from conftest import Ran
from made_tunes import demo_tune, small_tune, write_lesson_folder
from partwright.cli.commands import CHECKS, COMMANDS

Partwright = Callable[..., Ran]


@pytest.fixture
def tune(tmp_path: Path) -> Path:
    path = tmp_path / "lantern.musicxml"
    path.write_bytes(demo_tune())
    return path


def test_finger_writes_a_copy_and_leaves_the_tune_alone(partwright: Partwright, tune: Path, tmp_path: Path) -> None:
    ran = partwright("finger", tune, "--out", "fingered.musicxml", "--level", "intermediate")
    assert ran.code == 0
    assert ran.out == "fingered.musicxml: 96 notes fingered for cello, intermediate.\n"
    assert tune.read_bytes() == demo_tune()
    root = etree.parse(tmp_path / "fingered.musicxml").getroot()
    fingers = [element.text for element in root.iter("fingering")]
    assert len(fingers) > 10
    assert set(fingers) <= {"0", "1", "2", "3", "4"}


def test_finger_json_keeps_the_promised_fields_and_is_alone_on_standard_output(
    partwright: Partwright, tune: Path
) -> None:
    ran = partwright("finger", tune, "--json", "--pin", "18:3=1/A")
    document = json.loads(ran.out)
    assert ran.code == 0
    assert {"notes", "relaxed", "total_cost"} <= document.keys()
    fields = {"id", "bar", "beat", "pitch", "midi", "string", "semitones", "finger", "position", "shape"}
    assert all(fields | {"harmonic", "pinned", "cost"} <= note.keys() for note in document["notes"])
    pinned = [note for note in document["notes"] if note["pinned"]]
    assert [(note["bar"], note["beat"], note["finger"], note["string"]) for note in pinned] == [("18", "3", "1", "A")]
    assert pinned[0]["pitch"] == "E4"
    assert pinned[0]["semitones"] == 7


def test_finger_without_out_prints_the_plan(partwright: Partwright, tune: Path) -> None:
    ran = partwright("finger", tune)
    lines = ran.out.splitlines()
    assert lines[0].split() == ["bar", "beat", "pitch", "string", "finger", "position"]
    assert lines[1].split()[:4] == ["0", "3", "A2", "G"]
    assert len(lines) == 98


def test_marks_every_needed_none(partwright: Partwright, tune: Path, tmp_path: Path) -> None:
    counts = {}
    for marks in ("every", "needed", "none"):
        assert partwright("finger", tune, "--out", f"{marks}.musicxml", "--marks", marks).code == 0
        counts[marks] = len(list(etree.parse(tmp_path / f"{marks}.musicxml").getroot().iter("fingering")))
    assert counts["none"] == 0
    assert 0 < counts["needed"] < counts["every"]
    assert counts["every"] >= 90


def test_source_marks_are_decisions_unless_ignored(partwright: Partwright, tmp_path: Path) -> None:
    finger = "<notations><technical><fingering>4</fingering></technical></notations></note>"
    text = small_tune("D3:1 E3:1 F3:1 A3:1", "D3:4").replace("</note>", finger, 4).replace(finger, "</note>", 3)
    (tmp_path / "marked.musicxml").write_text(text, encoding="utf-8")

    def finger_of_a3(*options: str) -> tuple[str, bool]:
        note = json.loads(partwright("finger", "marked.musicxml", "--json", *options).out)["notes"][3]
        return note["finger"], note["pinned"]

    assert finger_of_a3() == ("4", True)
    assert finger_of_a3("--keep-source-marks") == ("4", True)
    assert finger_of_a3("--ignore-source-marks") == ("0", False)
    assert partwright("finger", "marked.musicxml", "--ignore-source-marks", "--marks", "every", "-o", "o.xml").code == 0
    fingers = [element.text for element in etree.parse(tmp_path / "o.xml").getroot().iter("fingering")]
    assert "4" not in fingers


def test_an_own_string_length_and_tuning_reach_the_plan(partwright: Partwright, tmp_path: Path) -> None:
    (tmp_path / "low.musicxml").write_text(small_tune("B1:2 D2:2", "F2:4"), encoding="utf-8")
    assert partwright("finger", "low.musicxml").code == 2
    ran = partwright("finger", "low.musicxml", "--tuning", "B1 G2 D3 A3", "--string-length-mm", "640", "--json")
    assert ran.code == 0
    first = json.loads(ran.out)["notes"][0]
    assert (first["pitch"], first["semitones"], first["finger"]) == ("B1", 0, "0")


def test_explain_gives_reasons_and_prices(partwright: Partwright, tune: Path) -> None:
    ran = partwright("explain", tune, "16:1")
    assert ran.code == 0
    assert ran.out.startswith("bar 16, beat 1, G#3: ")
    assert "what others would cost more" in ran.out
    document = json.loads(partwright("explain", tune, "16:1", "--json").out)
    assert {"bar", "beat", "chosen", "why", "alternatives"} <= document.keys()
    assert all({"term", "words", "value"} <= reason.keys() for reason in document["why"])
    costs = [alternative["extra_cost"] for alternative in document["alternatives"]]
    assert costs
    assert costs == sorted(costs)
    assert min(costs) > -1e-6


def test_explain_of_a_whole_bar_explains_every_note(partwright: Partwright, tune: Path) -> None:
    document = json.loads(partwright("explain", tune, "1", "--json").out)
    assert [note["beat"] for note in document["notes"]] == ["1", "2+1/2", "3"]
    assert document["beat"] == "1"


@pytest.mark.parametrize(("name", "begins"), [("page.pdf", b"%PDF-"), ("page.svg", b"<svg ")])
def test_engrave_by_the_files_ending(
    partwright: Partwright, tune: Path, tmp_path: Path, name: str, begins: bytes
) -> None:
    ran = partwright("engrave", tune, "--out", name)
    assert (ran.code, ran.out) == (0, f"{name}\n")
    assert (tmp_path / name).read_bytes().startswith(begins)


def test_engrave_numerals_say_which_end_they_count_from(partwright: Partwright, tune: Path, tmp_path: Path) -> None:
    assert partwright("engrave", tune, "--out", "page.svg", "--roman").code == 0
    text = "".join(etree.parse(tmp_path / "page.svg").getroot().itertext())
    assert "I = A, II = D, III = G, IV = C" in " ".join(text.split())


def test_engrave_charts(partwright: Partwright, tune: Path, tmp_path: Path) -> None:
    assert partwright("engrave", tune, "--charts", "--page", "letter", "--out", "charts.pdf").code == 0
    assert (tmp_path / "charts.pdf").read_bytes().startswith(b"%PDF-")


def test_new_says_what_it_found_and_copies_byte_for_byte(partwright: Partwright, tune: Path, tmp_path: Path) -> None:
    ran = partwright("new", "lesson", "--from", tune)
    assert ran.code == 0
    assert ran.out.splitlines()[0] == "lesson: Lantern on the Weir"
    for expected in (
        "D major",
        "A2 to A4",
        "40 and a pick-up, in 3/4; 47 as played",
        "100 quarter notes",
        "E (bars 35",
    ):
        assert expected in ran.out
    assert (tmp_path / "lesson" / "tune.musicxml").read_bytes() == demo_tune()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["lantern.musicxml", "lesson"]
    assert partwright("build", "lesson", "--only", "plan").code == 0


def test_new_keeps_a_converted_original_beside_the_tune(partwright: Partwright, tmp_path: Path) -> None:
    (tmp_path / "reel.abc").write_text(
        "X:1\nT:Small reel\nM:4/4\nL:1/8\nK:G\nG2B2d2B2|A2c2e2c2|G8|]\n", encoding="utf-8"
    )
    ran = partwright("new", "reel", "--from", "reel.abc", "--instrument", "violin")
    assert ran.code == 0, ran.err
    assert (tmp_path / "reel" / "tune.abc").read_bytes() == (tmp_path / "reel.abc").read_bytes()
    assert (tmp_path / "reel" / "tune.musicxml").read_bytes().startswith(b"<?xml")
    assert 'name = "violin"' in (tmp_path / "reel" / "lesson.toml").read_text(encoding="utf-8")


def test_new_in_the_key_that_lies_well(partwright: Partwright, tmp_path: Path) -> None:
    text = 'X:1\nT:Ferry\nM:4/4\nL:1/4\nK:F#\nc|"F#"fedc|"B"d2d|:c|"C#7"gfed|"F#"c3:|\n'
    (tmp_path / "ferry.abc").write_text(text, encoding="utf-8")
    ranked = partwright("keys", "ferry.abc")
    asked = ranked.err.partition("partwright new DIR ")[2].split()
    assert asked[:3] == ["--from", "ferry.abc", "--to"]
    ran = partwright("new", "ferry", *asked)
    assert ran.code == 0, ran.err
    best = json.loads(partwright("keys", "ferry.abc", "--json").out)["ranking"][0]
    assert f"key       {best['tonic']} {best['mode']}" in ran.out
    assert (tmp_path / "ferry" / "tune.abc").read_text(encoding="utf-8") == text
    # The whole score is read by the reference library: every note moved by as much, the last bar line a final one.
    moved = music21.converter.parse(tmp_path / "ferry" / "tune.musicxml")
    plan = json.loads(partwright("finger", "ferry.abc", "--instrument", "violin", "--json").out)
    assert [note.pitch.midi for note in moved.recurse().notes if isinstance(note, music21.note.Note)] == [
        note["midi"] + best["semitones"] for note in plan["notes"]
    ]


def test_new_in_another_key_keeps_the_tune_as_it_came(partwright: Partwright, tune: Path, tmp_path: Path) -> None:
    ran = partwright("new", "low", "--from", tune, "--to", "G")
    assert ran.code == 0, ran.err
    assert "key       G major" in ran.out
    assert (tmp_path / "low" / "tune-as-it-came.musicxml").read_bytes() == demo_tune()
    assert "<bar-style>light-heavy</bar-style>" in (tmp_path / "low" / "tune.musicxml").read_text(encoding="utf-8")
    assert partwright("build", "low", "--only", "plan").code == 0
    refused = partwright("new", "odd", "--from", tune, "--to", "H#")
    assert refused.code == 2
    assert not (tmp_path / "odd").exists()


def test_check_score_of_a_sound_tune_finds_nothing(partwright: Partwright, tune: Path) -> None:
    ran = partwright("check", "score", tune, "--level", "intermediate")
    assert (ran.code, ran.out) == (0, "✓ right  41 bars, 96 notes: nothing found.\n")


def test_check_score_findings_have_one_shape(partwright: Partwright, tmp_path: Path) -> None:
    tune = small_tune("D3:4", "D3:1 E3:1 F3:1", "C3:5", "A1:2 D3:2", "C2+C#2:4", title="", tempo="")
    (tmp_path / "faulty.musicxml").write_text(tune, encoding="utf-8")
    ran = partwright("check", "score", "faulty.musicxml")
    assert ran.code == 1
    lines = ran.out.splitlines()
    assert all(line.startswith(("✗ wrong  ", "? check  ")) for line in lines[:-1])
    document = json.loads(partwright("check", "score", "faulty.musicxml", "--json").out)
    fields = {"kind", "time_s", "bar", "beat", "found", "right", "verdict", "against", "confidence", "why"}
    assert all(fields <= finding.keys() for finding in document["findings"])
    where = {(finding["kind"], finding["bar"]) for finding in document["findings"]}
    assert {("short bar", "2"), ("overfull bar", "3"), ("range", "4"), ("unreachable", "5")} <= where
    assert {("metadata", None), ("tempo", "1")} <= where
    assert document["summary"]["wrong"] + document["summary"]["check"] == len(document["findings"])


def test_a_lesson_folder_works_wherever_a_score_does(partwright: Partwright, tmp_path: Path) -> None:
    settings = 'format = 1\n[instrument]\nlevel = "intermediate"\n[pins]\n"18:3" = "1/A"\n'
    write_lesson_folder(tmp_path / "lesson", demo_tune(), settings)
    document = json.loads(partwright("finger", "lesson", "--json").out)
    assert document["level"] == "intermediate"
    assert [note["bar"] for note in document["notes"] if note["pinned"]] == ["18"]
    assert "you asked for it" in partwright("explain", "lesson", "18:3").out
    assert partwright("check", "score", "lesson").code == 0
    typed = json.loads(partwright("finger", "lesson", "--level", "advanced", "--pin", "16:1=4", "--json").out)
    assert typed["level"] == "advanced"
    assert {note["bar"] for note in typed["notes"] if note["pinned"]} == {"16", "18"}


def test_every_command_has_help(partwright_here: Partwright) -> None:
    for command in [(), *((row.name,) for row in COMMANDS), *(("check", row.name) for row in CHECKS)]:
        ran = partwright_here(*command, "--help")
        assert ran.code == 0
        assert ran.out.startswith(" ".join(("Usage: partwright", *command)))
        assert ran.err == ""
