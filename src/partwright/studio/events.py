"""Telling every open page what happens: server-sent events, one queue per page.

Source: WHATWG HTML, Server-sent events. Nothing is replayed: a page that comes back loads what it shows again.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Mapping
from dataclasses import dataclass, field

__all__ = ["Hub", "Listener"]

_ALIVE_SECONDS = 15.0
_MOST_WAITING = 256
MOST_LISTENERS = 64


@dataclass(eq=False, slots=True)
class Listener:
    """One open page."""

    lesson: str
    queue: asyncio.Queue[tuple[str, Mapping[str, object]] | None] = field(
        default_factory=lambda: asyncio.Queue(_MOST_WAITING)
    )


class Hub:
    """Who listens, and how to reach them from any thread."""

    def __init__(self) -> None:
        self._listeners: set[Listener] = set()
        self._loop: asyncio.AbstractEventLoop | None = None

    @property
    def lessons(self) -> frozenset[str]:
        """Lessons that some page looks at."""
        return frozenset(listener.lesson for listener in self._listeners if listener.lesson)

    @property
    def full(self) -> bool:
        return len(self._listeners) >= MOST_LISTENERS

    def tell(self, event: str, data: Mapping[str, object], *, lesson: str = "") -> None:
        """Tell all pages, or those that look at this lesson. From any thread; never waits."""
        loop = self._loop
        if loop is not None and not loop.is_closed():
            loop.call_soon_threadsafe(self._spread, event, data, lesson)

    def close(self) -> None:
        """End every stream, so that the server can stop."""
        for listener in tuple(self._listeners):
            self._put(listener, None)

    async def stream(self, lesson: str) -> AsyncIterator[bytes]:
        """The event stream of one page."""
        self._loop = asyncio.get_running_loop()
        if self.full:  # several came at the same moment
            yield b"retry: 10000\n\n"
            return
        listener = Listener(lesson)
        self._listeners.add(listener)
        try:
            yield b"retry: 1000\n\n"
            while True:
                try:
                    item = await asyncio.wait_for(listener.queue.get(), _ALIVE_SECONDS)
                except TimeoutError:
                    item = ("alive", {})
                if item is None:
                    return
                event, data = item
                yield f"event: {event}\ndata: {json.dumps(data, ensure_ascii=False)}\n\n".encode()
        finally:
            self._listeners.discard(listener)

    def _spread(self, event: str, data: Mapping[str, object], lesson: str) -> None:
        for listener in tuple(self._listeners):
            if not lesson or listener.lesson in ("", lesson):
                self._put(listener, (event, data))

    @staticmethod
    def _put(listener: Listener, item: tuple[str, Mapping[str, object]] | None) -> None:
        if listener.queue.full():  # a page that does not read: it will load everything again when it comes back
            while not listener.queue.empty():
                listener.queue.get_nowait()
            item = None
        listener.queue.put_nowait(item)
