"""Bad input and bad calls: exit code 2, one sentence that says where, what and what to do, nothing lost."""

from __future__ import annotations

import json
import os
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from conftest import Ran
from made_tunes import demo_tune, small_tune, write_lesson_folder
from partwright.lesson import folder_lock

Partwright = Callable[..., Ran]


@pytest.fixture
def tune(tmp_path: Path) -> Path:
    path = tmp_path / "lantern.musicxml"
    path.write_bytes(demo_tune())
    return path


def refused(ran: Ran, *words: str) -> None:
    """The call was refused in one sentence on standard error that holds these words."""
    assert ran.code == 2, ran
    assert ran.out == ""
    sentences = [line for line in ran.err.splitlines() if line.startswith("partwright: ")]
    assert len(sentences) == 1, ran.err
    for word in words:
        assert word in ran.err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["fingre", "x"], ['no command "fingre"', 'Did you mean "finger"?']),
        (["finger", "lantern.musicxml", "--levle", "beginner"], ["No such option", "--level"]),
        (["finger"], ["Missing argument", "SCORE", "partwright finger --help"]),
        (["finger", "lantern.musicxml", "--level", "begginer"], ['no level "begginer"', 'Did you mean "beginner"?']),
        (["finger", "lantern.musicxml", "--instrument", "chello"], ['no instrument "chello"', "cello"]),
        (["finger", "lantern.musicxml", "--school", "nobody"], ["nobody"]),
        (["finger", "lantern.musicxml", "--marks", "some"], ["'some'", "every", "needed", "none"]),
        (["finger", "lantern.musicxml", "--tuning", "C2 G2 D3"], ["names 3 strings", "C2 G2 D3 A3"]),
        (["finger", "lantern.musicxml", "--string-length-mm", "69"], ["69 mm"]),
        (["finger", "lantern.musicxml", "--part", "9"], ["no part '9'", "--part"]),
        (["finger", "lantern.musicxml", "--voice", "7"], ["voice", "7"]),
        (["finger", "lantern.musicxml", "--pin", "third finger"], ["is not a pin", "13:2=3"]),
        (["finger", "lantern.musicxml", "--pin", "99:1=1"], ["no bar 99", "0 to 40"]),
        (["finger", "lantern.musicxml", "--pin", "10:3=1"], ["bar 10, beat 3", "no note begins"]),
        (["finger", "lantern.musicxml", "--pin", "1:1=4/A"], ["bar 1, beat 1", "A string", "below it"]),
        (["finger", "lantern.musicxml", "--pin", "1:1=1/E"], ["no E string", "C, G, D, A"]),
        (["finger", "lantern.musicxml", "--pin", "17:1=1", "--pin", "17:1=3"], ["bar 17, beat 1", "contradict"]),
        (["finger", "absent.musicxml"], ["absent.musicxml", "cannot be read"]),
        (["finger", "lantern.musicxml", "--out", "no/such/folder/x.xml"], ["cannot be written"]),
        (["finger", "lantern.musicxml", "--out", "lantern.musicxml"], ["never rewritten"]),
        (["engrave", "lantern.musicxml", "--out", "page.png"], [".pdf", ".svg"]),
        (["engrave", "lantern.musicxml", "--out", "page.pdf", "--page", "a9"], ["a9"]),
        (["explain", "lantern.musicxml", "99"], ["no bar 99", "0 to 40"]),
        (["explain", "lantern.musicxml", "18:2"], ["bar 18, beat 2", "begin at beat 1, 3"]),
        (["explain", "lantern.musicxml", "18:x"], ["is no place"]),
        (["build", "lantern.musicxml"], ["lantern.musicxml"]),
        (["build", "nowhere"], ["nowhere", "partwright new"]),
        (["new", "lesson", "--from", "absent.mid"], ["absent.mid", "cannot be read"]),
        (["check", "scores", "x"], ['no command "scores"', 'Did you mean "score"?']),
    ],
)
def test_a_bad_call_is_refused_in_one_sentence(
    partwright_here: Partwright, tune: Path, tmp_path: Path, arguments: list[str], words: list[str]
) -> None:
    refused(partwright_here(*arguments), *words)
    assert [path.name for path in tmp_path.iterdir()] == ["lantern.musicxml"]
    assert tune.read_bytes() == demo_tune()


def test_several_bad_pins_are_all_named_at_once(partwright: Partwright, tune: Path) -> None:
    ran = partwright("finger", tune, "--pin", "99:1=1", "--pin", "10:3=1", "--pin", "x")
    refused(ran, "3 faults", "no bar 99", "bar 10, beat 3", '"x" is not a pin')


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"not xml at all",
        demo_tune()[:5000],
        b'<?xml version="1.0"?><html><body/></html>',
        b'<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0"><work><work-title>\xff\xfe'
        b"</work-title></work></score-partwise>",
        b'<!DOCTYPE s [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]><score-partwise>&b;'
        b"</score-partwise>",
        small_tune("D3:4").replace("<divisions>8</divisions>", "").encode("utf-8"),
        demo_tune().replace(b"<pitch>", b"<unpitched>").replace(b"</pitch>", b"</unpitched>"),
        b"PK\x03\x04 no archive",
        b"MThd no midi",
    ],
    ids=["empty", "text", "truncated", "html", "encoding", "entities", "no divisions", "no pitch", "zip", "midi"],
)
def test_a_bad_tune_is_refused_in_one_sentence(partwright: Partwright, tmp_path: Path, content: bytes) -> None:
    (tmp_path / "bad.musicxml").write_bytes(content)
    refused(partwright("finger", "bad.musicxml", "--out", "out.musicxml"), "bad.musicxml")
    refused(partwright("new", "lesson", "--from", "bad.musicxml"), "bad.musicxml")
    assert [path.name for path in tmp_path.iterdir()] == ["bad.musicxml"]


def test_a_tune_out_of_range_is_refused_with_its_first_note(partwright: Partwright, tmp_path: Path) -> None:
    (tmp_path / "low.musicxml").write_text(small_tune("D3:4", "r:2 A1:1 B1:1"), encoding="utf-8")
    for command in (["finger", "low.musicxml", "-o", "o.xml"], ["engrave", "low.musicxml", "-o", "o.pdf"]):
        refused(partwright(*command), "low.musicxml", "bar 2, beat 3", "A1", "lowest string, C", "octave")
    write_lesson_folder(tmp_path / "lesson", small_tune("D3:4", "A1:4"))
    refused(partwright("build", "lesson"), "bar 2, beat 1", "lowest string")


def test_a_tune_wholly_out_of_range_is_refused(partwright: Partwright, tmp_path: Path) -> None:
    (tmp_path / "low.musicxml").write_text(small_tune("A1:4", "B1:4"), encoding="utf-8")
    refused(partwright("finger", "low.musicxml"), "low.musicxml", "no note of this part", "octave")


def test_an_unreachable_chord_is_listed_and_the_rest_is_fingered(partwright: Partwright, tmp_path: Path) -> None:
    (tmp_path / "chord.musicxml").write_text(small_tune("D3:4", "C2+C#2:4", "E3:4"), encoding="utf-8")
    ran = partwright("finger", "chord.musicxml", "--out", "o.musicxml")
    assert ran.code == 1
    assert "✗ wrong  bar 2, beat 1" in ran.out
    assert (tmp_path / "o.musicxml").is_file()
    document = json.loads(partwright("finger", "chord.musicxml", "--json").out)
    assert [item["bar"] for item in document["unplayable"]] == ["2"]
    assert {note["bar"] for note in document["notes"]} == {"1", "3"}


@pytest.mark.parametrize(
    ("line", "number", "words"),
    [
        ('titel = "x"', 2, ['no setting "titel"', 'Did you mean "title"?']),
        ('level = "beginner"', 2, ["belongs in [instrument]"]),
        ('[instrumnet]\nname = "cello"', 2, ["no table [instrumnet]", 'Did you mean "instrument"?']),
        ("[instrument]\nstring_length_mm = 69", 3, ["is 69", "between 150 and 1400"]),
        ("[instrument]\nstring_length_mm = true", 3, ["is a number"]),
        ('[page]\nmarks = "all"', 3, ["must be one of every, needed, none"]),
        ('[page]\npaper = ["a4", "leter"]', 3, ['did you mean "letter"?']),
        ('[[sections]]\nname = "A"\nfirst_bar = "1"\nlast_bar = "99"', 2, ["bar 99", "0 to 40"]),
        ('[[sections]]\nname = "A"\nfirst_bar = "9"\nlast_bar = "2"', 2, ["before it begins"]),
        ('[[sections]]\nname = "A"\nfirst = "9"', 2, ['no setting "first"', 'no "last_bar"']),
        ('[pins]\n"99:1" = "1"', 3, ["no bar 99", "0 to 40"]),
        ('[pins]\n"10:3" = "1"', 3, ["bar 10, beat 3", "no note begins"]),
        ('[pins]\n"1:1" = 2.5', 3, ['the pin at "1:1" is a text']),
        ('[pins]\n"1:1" = "1"\n"1:1" = "2"', 4, ["stands twice"]),
        ("title = ", 2, ["Mend that line"]),
        ('[tune]\nfile = "absent.musicxml"', None, ["absent.musicxml", "cannot be read"]),
    ],
)
def test_a_bad_lesson_is_refused_with_its_line(
    partwright_here: Partwright, tmp_path: Path, line: str, number: int | None, words: list[str]
) -> None:
    write_lesson_folder(tmp_path / "lesson", demo_tune(), f"format = 1\n{line}\n")
    ran = partwright_here("finger", "lesson")
    refused(ran, *words)
    if number is not None:
        assert f"lesson.toml, line {number}" in ran.err


def test_every_fault_of_a_lesson_is_named_at_once(partwright: Partwright, tmp_path: Path) -> None:
    write_lesson_folder(tmp_path / "lesson", demo_tune(), 'format = 1\ntitel = "x"\n[page]\nmarks = "all"\n')
    refused(partwright("build", "lesson"), "2 faults", "line 2", "line 4")


def test_a_newer_format_is_refused_and_left_alone(partwright: Partwright, tmp_path: Path) -> None:
    folder = write_lesson_folder(tmp_path / "lesson", demo_tune(), 'format = 2\nsomething = "new"\n')
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    refused(partwright("build", "lesson"), "newer partwright", "format 2", "line 1")
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_new_never_writes_over_anything(partwright: Partwright, tune: Path, tmp_path: Path) -> None:
    (tmp_path / "taken").mkdir()
    (tmp_path / "taken" / "mine.txt").write_text("mine", encoding="utf-8")
    refused(partwright("new", "taken", "--from", tune), "not empty")
    refused(partwright("demo", "taken"), "not empty")
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    refused(partwright("new", "file", "--from", tune), "is there already")
    refused(partwright("new", "file/below", "--from", tune), "cannot be made")
    assert (tmp_path / "file").read_text(encoding="utf-8") == "mine"
    assert (tmp_path / "taken" / "mine.txt").read_text(encoding="utf-8") == "mine"


def test_an_output_that_is_a_folder_is_refused(partwright: Partwright, tune: Path, tmp_path: Path) -> None:
    (tmp_path / "folder.musicxml").mkdir()
    refused(partwright("finger", tune, "--out", "folder.musicxml"), "cannot be written")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["folder.musicxml", "lantern.musicxml"]


def test_a_folder_without_leave_to_write_is_refused(partwright: Partwright, tune: Path, tmp_path: Path) -> None:
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o500)
    if os.access(closed, os.W_OK):
        pytest.skip("this user may write anywhere, so no folder can be closed to it")
    refused(partwright("finger", tune, "--out", "closed/x.musicxml"), "cannot be written")


def _with_full_disk(arguments: list[str], cwd: Path, largest_bytes: int) -> subprocess.CompletedProcess[str]:
    """The command where no file may grow beyond `largest_bytes`: writing fails as on a full disk."""
    return subprocess.run(
        [sys.executable, "-m", "partwright", *arguments],
        cwd=cwd,
        capture_output=True,
        encoding="utf-8",
        timeout=120,
        check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (largest_bytes, largest_bytes)),
    )


def test_a_full_disk_leaves_the_old_file(tune: Path, tmp_path: Path) -> None:
    (tmp_path / "out.musicxml").write_text("what was there", encoding="utf-8")
    ran = _with_full_disk(["finger", "lantern.musicxml", "--out", "out.musicxml"], tmp_path, 10_000)
    assert ran.returncode == 2
    assert "out.musicxml: cannot be written" in ran.stderr
    assert "nothing was changed" in ran.stderr
    assert (tmp_path / "out.musicxml").read_text(encoding="utf-8") == "what was there"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["lantern.musicxml", "out.musicxml"]


def test_a_full_disk_in_a_build_leaves_what_was_built(partwright: Partwright, tmp_path: Path) -> None:
    folder = write_lesson_folder(tmp_path / "lesson", demo_tune())
    assert partwright("build", "lesson", "--only", "fingered").code == 0
    before = _files(folder / "build")
    (folder / "lesson.toml").write_text('format = 1\n[instrument]\nlevel = "intermediate"\n', encoding="utf-8")
    ran = _with_full_disk(["build", "lesson", "--only", "fingered"], tmp_path, 10_000)
    assert ran.returncode == 2
    assert "cannot be written" in ran.stderr
    assert _files(folder / "build") == before
    assert partwright("build", "lesson", "--only", "fingered").code == 0
    assert _files(folder / "build") != before


def test_two_builds_at_once_exclude_each_other(partwright: Partwright, tmp_path: Path) -> None:
    folder = write_lesson_folder(tmp_path / "lesson", demo_tune())
    with folder_lock(folder):
        refused(partwright("build", "lesson"), "in use by another partwright", "try again")
    assert not (folder / "build").exists()
    assert partwright("build", "lesson", "--only", "plan").code == 0


_SOME = ("--only", "fingered", "--only", "part-a4", "--only", "part-letter")


@pytest.mark.parametrize("moment", ["plan.json", "fingered.musicxml", "part-a4.pdf"])
def test_a_kill_during_a_build_leaves_whole_files_and_the_next_build_completes(
    partwright: Partwright, tmp_path: Path, moment: str
) -> None:
    folder = write_lesson_folder(tmp_path / "lesson", demo_tune())
    process = subprocess.Popen(
        [sys.executable, "-m", "partwright", "build", "lesson", *_SOME],
        cwd=tmp_path,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    deadline = time.monotonic() + 60
    while not (folder / "build" / moment).exists() and process.poll() is None and time.monotonic() < deadline:
        time.sleep(0.002)
    os.killpg(process.pid, signal.SIGKILL)
    process.wait()
    left = folder / "build"
    assert (left / moment).is_file()
    json.loads((left / "plan.json").read_text(encoding="utf-8"))
    for pdf in left.glob("*.pdf"):
        assert pdf.read_bytes().rstrip().endswith(b"%%EOF")
    ran = partwright("build", "lesson", *_SOME)
    assert ran.code == 0
    assert not list(left.glob(".*.part"))
    fresh = write_lesson_folder(tmp_path / "fresh", demo_tune())
    assert partwright("build", "fresh", *_SOME).code == 0
    assert _files(left) == _files(fresh / "build")


def test_an_interrupt_stops_cleanly(tmp_path: Path) -> None:
    write_lesson_folder(tmp_path / "lesson", demo_tune())
    process = subprocess.Popen(
        [sys.executable, "-m", "partwright", "build", "lesson"],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
    )
    deadline = time.monotonic() + 60
    while not (tmp_path / "lesson" / "build" / "plan.json").exists() and time.monotonic() < deadline:
        time.sleep(0.002)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert out == ""
    assert err.endswith("Stopped. What was finished is kept; nothing is half written.\n")


def _files(folder: Path) -> dict[str, bytes]:
    return {
        path.name: path.read_bytes()
        for path in sorted(folder.iterdir())
        if path.is_file() and path.name != "manifest.json"
    }
