"""Drawing the next pictures while the encoder is busy with this one."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterable, Iterator
from typing import TypeVar

__all__ = ["ahead"]

Item = TypeVar("Item")


def ahead(items: Iterable[Item], depth: int = 4) -> Iterator[Item]:
    """The same items in the same order, made in a thread of their own up to `depth` before they are asked for.

    An error in the making is raised here; leaving early ends the thread.
    """
    made: queue.Queue[tuple[str, object]] = queue.Queue(depth)
    left = threading.Event()

    def give(kind: str, value: object) -> bool:
        while not left.is_set():
            try:
                made.put((kind, value), timeout=0.1)
                return True
            except queue.Full:
                continue
        return False

    def work() -> None:
        try:
            for item in items:
                if not give("item", item):
                    return
            give("end", None)
        except BaseException as error:
            give("error", error)

    thread = threading.Thread(target=work, name="drawing", daemon=True)
    thread.start()
    try:
        while True:
            kind, value = made.get()
            if kind == "end":
                return
            if kind == "error":
                assert isinstance(value, BaseException)
                raise value
            yield value  # type: ignore[misc]
    finally:
        left.set()
        thread.join()
