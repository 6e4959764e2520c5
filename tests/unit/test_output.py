"""What is printed while working: a bar on a terminal, plain lines elsewhere."""

from __future__ import annotations

import io
import signal
from contextlib import suppress

import pytest

from partwright.cli import interrupt
from partwright.cli.output import print_json, progress, table_lines


class Terminal(io.StringIO):
    """Standard error as a terminal."""

    def isatty(self) -> bool:
        return True


def test_progress_off_a_terminal_is_plain_lines(capsys: pytest.CaptureFixture[str]) -> None:
    with progress(2) as shown:
        shown.start("the plan", 1, 2)
        shown.finish("made  plan")
        shown.start("the part", 2, 2)
        shown.finish()
    out, err = capsys.readouterr()
    assert out == ""
    assert err == "1/2 the plan\n    made  plan\n2/2 the part\n"


def test_progress_on_a_terminal_is_a_bar_that_goes_away(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal()
    monkeypatch.setattr("sys.stderr", terminal)
    with pytest.raises(KeyboardInterrupt), progress(2) as shown:
        shown.start("the plan", 1, 2)
        shown.finish()
        shown.start("the part", 2, 2)
        raise KeyboardInterrupt
    written = terminal.getvalue()
    assert "━━━━━━━━━━────────── 2/2 the part" in written
    assert written.endswith("\r\x1b[2K")


def test_quiet_progress_says_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    with progress(1, quiet=True) as shown:
        shown.start("the plan", 1, 1)
        shown.finish("made")
    assert capsys.readouterr() == ("", "")


def test_an_interrupt_that_a_callback_dropped_counts_at_the_next_step(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(interrupt, "_asked", False)
    before = signal.getsignal(signal.SIGINT)
    try:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        interrupt.listen()
        with progress(2) as shown:
            shown.start("the plan", 1, 2)
            with suppress(KeyboardInterrupt):  # as the interpreter does in a clean-up callback
                signal.raise_signal(signal.SIGINT)
            with pytest.raises(KeyboardInterrupt):
                shown.start("the part", 2, 2)
    finally:
        signal.signal(signal.SIGINT, before)
    assert capsys.readouterr().err == "1/2 the plan\n"


def test_json_is_one_document_in_utf_8(capsysbinary: pytest.CaptureFixture[bytes]) -> None:
    print_json({"title": "Żółw ♯"})
    assert capsysbinary.readouterr().out == '{\n  "title": "Żółw ♯"\n}\n'.encode()
    with pytest.raises(ValueError, match="JSON"):
        print_json({"cost": float("nan")})


def test_a_table_is_aligned_and_trails_no_blanks() -> None:
    assert table_lines(["bar", ""], [["1", "x"], ["1000", ""]]) == ("bar", "1     x", "1000")
