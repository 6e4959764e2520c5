"""An interrupt that is not lost.

Python drops an exception raised inside a clean-up callback (the import system has such), and an interrupt with it.
So it is remembered, and long work asks between its steps.
"""

from __future__ import annotations

import signal
from types import FrameType

__all__ = ["listen", "stop_if_asked"]

_asked = False


def listen() -> None:
    """Remember interrupts from now on. One that is ignored already (a command put in the background) stays ignored."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, _remember)


def stop_if_asked() -> None:
    """KeyboardInterrupt where one was asked for and came to nothing."""
    if _asked:
        raise KeyboardInterrupt


def _remember(_number: int, _frame: FrameType | None) -> None:
    global _asked
    _asked = True
    raise KeyboardInterrupt
