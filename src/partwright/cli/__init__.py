"""The commands: they read what was typed, call the packages below, print, and choose the exit code.

One module per command, imported only when that command is called, so that none waits for what another needs.
To add one: write `cli/NAME.py` with a click command called `command`, and a row in `commands.COMMANDS`.

>>> from partwright.cli import run
>>> run(["--version"])
partwright 0.1.0
0
"""

from partwright.cli.main import main, run

__all__ = ["main", "run"]
