"""Where every command begins and ends: exit codes, faults of the program, a reader that goes away."""

from __future__ import annotations

import re
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import click
import pytest

from partwright.cli import run
from partwright.cli.commands import CHECKS, COMMANDS
from partwright.cli.explain import parse_place
from partwright.errors import InputError


def test_every_row_of_the_table_is_a_command_of_that_name() -> None:
    for row in (*COMMANDS, *CHECKS):
        command = import_module(row.module).command
        assert isinstance(command, click.Command)
        assert command.name == row.name
        assert row.words.endswith(".")


def test_a_fault_of_the_program_is_one_sentence_and_a_file(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)

    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a slip of ours")

    monkeypatch.setattr("partwright.cli.read_job.read_job", broken)
    assert run(["finger", "tune.musicxml"]) == 70
    out, err = capsys.readouterr()
    assert out == ""
    assert "Traceback" not in err
    report = re.search(r"The details are in (\S+);", err)
    assert report is not None
    text = Path(report[1]).read_text(encoding="utf-8")
    assert "a slip of ours" in text
    assert "'finger', 'tune.musicxml'" in text


@pytest.mark.parametrize(("stopped", "code"), [(KeyboardInterrupt, 130), (MemoryError, 2), (BrokenPipeError, 0)])
def test_a_stop_from_outside_is_no_traceback(
    monkeypatch: pytest.MonkeyPatch, stopped: type[BaseException], code: int
) -> None:
    def stop(*_: object, **__: object) -> None:
        raise stopped

    monkeypatch.setattr("partwright.cli.read_job.read_job", stop)
    monkeypatch.setattr(sys.modules["partwright.cli.main"], "_close_standard_output", lambda: None)
    assert run(["finger", "tune.musicxml"]) == code


def test_no_command_at_all_prints_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    assert run([]) == 2
    assert "Commands:" in capsys.readouterr().out


def test_a_reader_that_goes_away_is_no_fault(tmp_path: Path) -> None:
    command = f"'{sys.executable}' -m partwright --help | head -n 1"
    done = subprocess.run(["sh", "-c", command], capture_output=True, encoding="utf-8", cwd=tmp_path, check=False)
    assert done.stdout.startswith("Usage: partwright")
    assert done.stderr == ""


def test_a_terminal_that_knows_no_signs_still_gets_the_findings(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "partwright", "finger", "żółw.musicxml"],
        capture_output=True,
        cwd=tmp_path,
        env={"PYTHONIOENCODING": "ascii", "PATH": ""},
        check=False,
    )
    assert done.returncode == 2
    assert b"cannot be read" in done.stderr


def test_starting_a_command_imports_no_other() -> None:
    code = (
        "import sys; from partwright.cli import run; run(['finger', 'absent.xml']); "
        "print(sorted(n for n in sys.modules if n.startswith(('partwright.cli.', 'partwright.engraving', 'verovio', "
        "'typst', 'tomlkit', 'filelock', 'mido', 'music21', 'scipy'))))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, encoding="utf-8", check=True)
    loaded = set(re.findall(r"'([^']+)'", done.stdout))
    assert loaded == {
        "partwright.cli.commands",
        "partwright.cli.finger",
        "partwright.cli.interrupt",
        "partwright.cli.main",
        "partwright.cli.options",
        "partwright.cli.output",
        "partwright.cli.read_job",
    }


@pytest.mark.parametrize("text", ["", ":", "1:", "1:x", "1:1/0", "1:2:3", "1:-1"])
def test_what_is_no_place_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        parse_place(text)
