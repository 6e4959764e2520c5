"""Running the studio: one process on the loopback, until it is interrupted."""

from __future__ import annotations

import asyncio
import contextlib
import gc
import signal
import socket
import threading
import webbrowser
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from partwright.errors import InputError
from partwright.studio.app import studio_app
from partwright.studio.room import Studio

if TYPE_CHECKING:
    from starlette.types import ASGIApp

__all__ = ["make_app", "serve_studio"]

LOOPBACK = "127.0.0.1"
USUAL_PORT = 8484
_HEAD_SECONDS = 8.0
_LOOK_SECONDS = 1.0


def make_app(studio: Studio, port: int) -> ASGIApp:
    """The application as it answers on this port."""
    return studio_app(studio, hosts=(f"{LOOPBACK}:{port}", f"localhost:{port}"))


def serve_studio(
    folder: Path,
    *,
    opened: str | None = None,
    port: int | None = None,
    browser: bool = True,
    told: Callable[[str], None] = print,
    token: str | None = None,
) -> None:
    """Serve the lessons in `folder`, opening at the lesson `opened`, until interrupted. `told` gets the address.

    `port`: None for the usual one, or the next that is free; 0 for any. Raises InputError where the port is taken.
    """
    _many_connections()
    # A lesson is hundreds of thousands of small objects that stay; looking through all of them after every other edit
    # makes some edits twice as slow. What an edit leaves behind is let go by counting alone.
    gc.set_threshold(50_000, 20, 20)
    listener = _listener(port)
    port = listener.getsockname()[1]
    studio = Studio(folder, opened=opened, token=token)
    address = f"http://{LOOPBACK}:{port}/enter/{studio.token}"
    told(address)
    threading.Thread(target=studio.warm, name="partwright warms up", daemon=True).start()
    try:
        asyncio.run(_serve(studio, listener, port, address if browser else None))
    finally:
        studio.close()


def _listener(port: int | None) -> socket.socket:
    wanted = [port] if port is not None else [*range(USUAL_PORT, USUAL_PORT + 20), 0]
    for number in wanted:
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)  # named, so that Nagle is off
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((LOOPBACK, number))
        except OSError:
            listener.close()
            continue
        listener.listen(256)
        return listener
    raise InputError(f"port {port} is taken", "Choose another with --port, or leave it out.")


def _many_connections() -> None:
    """Let as many connections be open as the system allows: whoever opens hundreds must not shut out the others."""
    with contextlib.suppress(ImportError, OSError, ValueError):
        import resource

        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        wanted = 8192 if hard == resource.RLIM_INFINITY else min(8192, hard)
        if soft < wanted:
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))


async def _serve(studio: Studio, listener: socket.socket, port: int, address: str | None) -> None:
    import uvicorn

    config = uvicorn.Config(
        make_app(studio, port),
        http=_patient_protocol(),
        ws="none",
        lifespan="off",
        log_level="critical",
        access_log=False,
        server_header=False,
        date_header=False,
        proxy_headers=False,
        timeout_keep_alive=20,
        h11_max_incomplete_event_size=32_768,
        timeout_graceful_shutdown=2,
    )
    server = _Server(config, studio)
    async with _watching(studio):
        if address is not None:
            threading.Timer(0.2, _open, (address,)).start()
        await server.serve(sockets=[listener])


def _open(address: str) -> None:
    with contextlib.suppress(Exception):  # a machine without a browser still serves
        webbrowser.open(address)


def _Server(config: Any, studio: Studio) -> Any:  # noqa: N802 (it stands for a class, made when the library is loaded)
    import uvicorn

    class Server(uvicorn.Server):
        """Ends the event streams before it waits for connections to end."""

        async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
            studio.hub.close()
            await super().shutdown(sockets)

        def handle_exit(self, sig: int, frame: Any) -> None:
            self.should_exit = True
            if sig == signal.SIGINT and self.force_exit:
                return

    return Server(config)


def _patient_protocol() -> type[asyncio.Protocol]:
    """The HTTP/1.1 protocol that gives a request's head only so long to arrive."""
    from uvicorn.protocols.http.h11_impl import H11Protocol

    class PatientProtocol(H11Protocol):
        """Closes a connection on which a request was begun and not finished in time."""

        def connection_made(self, transport: Any) -> None:
            self._head_timer: asyncio.TimerHandle | None = None
            super().connection_made(transport)
            self._wait_for_head()

        def data_received(self, data: bytes) -> None:
            before = self.cycle
            super().data_received(data)
            if self.cycle is not before:
                self._head_came()
            elif self.cycle is None or self.cycle.response_complete:
                self._wait_for_head()

        def connection_lost(self, exc: Exception | None) -> None:
            self._head_came()
            super().connection_lost(exc)

        def _wait_for_head(self) -> None:
            if self._head_timer is None:
                self._head_timer = self.loop.call_later(_HEAD_SECONDS, self._too_slow)

        def _head_came(self) -> None:
            if self._head_timer is not None:
                self._head_timer.cancel()
                self._head_timer = None

        def _too_slow(self) -> None:
            self._head_timer = None
            if self.transport is not None and not self.transport.is_closing():
                self.transport.close()

    return PatientProtocol


@contextlib.asynccontextmanager
async def _watching(studio: Studio) -> AsyncIterator[None]:
    """Look every second whether another program has changed what is shown."""

    async def watch() -> None:
        while True:
            await asyncio.sleep(_LOOK_SECONDS)
            if studio.hub.lessons:
                with contextlib.suppress(Exception):
                    await asyncio.to_thread(studio.look_outside)

    task = asyncio.create_task(watch())
    try:
        yield
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task
