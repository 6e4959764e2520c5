"""partwright check: the group of checks; each says wrong only when it is sure."""

from __future__ import annotations

from partwright.cli.commands import CHECKS, CommandTable

__all__ = ["command"]

command = CommandTable(
    CHECKS,
    name="check",
    help="Look for what is wrong, or may be. Exit code 1 says that something was found.",
    no_args_is_help=True,
)
