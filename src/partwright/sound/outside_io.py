"""Commands that the player may have and this program does not bring: found on the PATH, run, and never needed."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Sequence

from partwright.errors import InputError

__all__ = ["find_command", "run_command"]

_LONGEST_SECONDS = 600


def find_command(name: str, *, needed_for: str, todo: str) -> str:
    """Where a command lies. Raises InputError where it is not on the PATH."""
    found = shutil.which(name)
    if found is None:
        raise InputError(f"{needed_for} needs the command {name}, which is not on this machine", todo)
    return found


def run_command(arguments: Sequence[str], *, todo: str) -> None:
    """Run a command to its end, without input. Raises InputError, in its own last words, where it does not do well."""
    name = arguments[0].replace("\\", "/").rpartition("/")[2]
    try:
        ran = subprocess.run(
            arguments,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            errors="replace",
            timeout=_LONGEST_SECONDS,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise InputError(f"{name} did not finish within {_LONGEST_SECONDS // 60} minutes", todo) from error
    except OSError as error:
        raise InputError(f"{name} cannot be run ({(error.strerror or str(error)).lower()})", todo) from error
    if ran.returncode != 0:
        said = (ran.stderr.strip() or ran.stdout.strip()).splitlines()
        words = f": {said[-1].strip().rstrip('.')}" if said else ""
        raise InputError(f"{name} stopped with exit code {ran.returncode}{words}", todo)
