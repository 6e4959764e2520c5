"""Where every command begins and ends: one clean sentence for bad input, the exit code, never a traceback.

Exit codes: 0 done and nothing wrong; 1 done, with findings; 2 the input or the call is bad; 70 a fault of the
program itself; 130 stopped by the user.
"""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

import click

from partwright import __version__
from partwright.cli.commands import COMMANDS, CommandTable
from partwright.cli.interrupt import listen
from partwright.errors import PartwrightError

__all__ = ["main", "partwright", "run"]

FAULT = 70
STOPPED = 130

_HELP = """From a tune to a playable, fingered, printed part.

SCORE is a MusicXML file (.musicxml, .xml, .mxl), a MIDI file (.mid), an ABC tune (.abc) or a lesson folder.
Results go to standard output, remarks and progress to standard error.

\b
Exit codes: 0  done, nothing wrong
            1  done, with findings
            2  the input or the call is bad; one sentence says what to do

\b
First steps:
  partwright demo                              look at a finished lesson
  partwright new waltz --from waltz.musicxml   start one of your own
  partwright build waltz                       make its part, charts and checks
"""


def _print_version(ctx: click.Context, _param: click.Parameter, value: bool) -> None:
    if value:
        click.echo(f"partwright {__version__}")
        ctx.exit(0)


partwright = CommandTable(
    COMMANDS,
    name="partwright",
    help=_HELP,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    params=[
        click.Option(
            ["--version"],
            is_flag=True,
            is_eager=True,
            expose_value=False,
            callback=_print_version,
            help="Print the version and exit.",
        )
    ],
)


def main() -> NoReturn:
    """The program as installed: runs one command and ends the process with its exit code."""
    gc.set_threshold(50_000, 20, 20)  # a command makes much and drops little; seldom looking for garbage saves time
    listen()
    code = run(sys.argv[1:])
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        _close_standard_output()
    sys.exit(code)


def run(arguments: Sequence[str]) -> int:
    """One command as typed, without the program's name. Returns the exit code."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal that cannot show a sign shows "?" instead of failing
    try:
        code = partwright.main(args=list(arguments), prog_name="partwright", standalone_mode=False)
        return int(code or 0)
    except click.exceptions.NoArgsIsHelpError as asked:
        click.echo(asked.ctx.get_help() if asked.ctx else str(asked))
        return 2
    except click.ClickException as error:
        return _refuse(_call_sentence(error))
    except PartwrightError as error:
        _refuse(str(error))
        return error.exit_code
    except (KeyboardInterrupt, click.Abort):
        print("Stopped. What was finished is kept; nothing is half written.", file=sys.stderr)
        # An interrupt that strikes inside exec() (a data class being made while a module loads) leaves a mark in the
        # interpreter by which it would end itself with the signal instead of our exit code; the next exec takes it off.
        exec("")
        return STOPPED
    except BrokenPipeError:
        _close_standard_output()
        return 0
    except MemoryError:
        return _refuse("There is not enough memory for this. Close other programs, or give it a smaller file.")
    except Exception as fault:
        return _report_fault(fault, arguments)


def _refuse(sentence: str) -> int:
    click.echo(f"partwright: {sentence}", err=True)
    return 2


def _call_sentence(error: click.ClickException) -> str:
    """click's complaint in the form what – what to do, with the command whose --help explains more."""
    text = error.format_message().strip()
    text = text[:1].upper() + text[1:]
    text = text if text.endswith((".", "?")) else f"{text}."
    context = getattr(error, "ctx", None)
    return f"{text} See {context.command_path} --help." if context is not None else text


def _report_fault(fault: Exception, arguments: Sequence[str]) -> int:
    import tempfile
    import traceback

    details = "".join(traceback.format_exception(fault))
    report = f"partwright {__version__}, Python {sys.version}\ncalled with: {list(arguments)!r}\n\n{details}"
    try:
        handle, place = tempfile.mkstemp(prefix="partwright-fault-", suffix=".txt")
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            stream.write(report)
        where = f"The details are in {place}; please send that file with the tune."
    except OSError:
        where = f"({type(fault).__name__}: {fault})"
    click.echo(f"partwright: a fault of the program stopped it; your files are as they were. {where}", err=True)
    return FAULT


def _close_standard_output() -> None:
    """The reader of our output has gone; keep Python from complaining about it at exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
