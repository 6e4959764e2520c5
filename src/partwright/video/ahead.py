"""Drawing the next pictures while the encoder is busy with this one."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Generic, TypeVar

__all__ = ["ahead"]

Item = TypeVar("Item")


class _Made(Generic[Item]):
    """One item, told apart from the end of all items."""

    def __init__(self, item: Item) -> None:
        self.item = item


def ahead(items: Iterable[Item], depth: int = 4) -> Iterator[Item]:
    """The same items in the same order, made in a thread of their own up to `depth` before they are asked for.

    An error in the making is raised here, after what was made before it; leaving early ends the thread.
    """
    made: queue.Queue[_Made[Item] | None] = queue.Queue(depth)
    left = threading.Event()

    def give(value: _Made[Item] | None) -> bool:
        while not left.is_set():
            try:
                made.put(value, timeout=0.1)
                return True
            except queue.Full:
                continue
        return False

    def work() -> None:
        try:
            for item in items:
                if not give(_Made(item)):
                    return
        finally:
            give(None)

    with ThreadPoolExecutor(1, thread_name_prefix="drawing") as executor:
        working = executor.submit(work)
        try:
            while (value := made.get()) is not None:
                yield value.item
            working.result()  # raises whatever ended the making
        finally:
            left.set()
