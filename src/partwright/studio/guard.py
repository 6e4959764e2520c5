"""What stands before every route: who may ask, how much, how slowly; and the headers that go with every answer.

Sources: Host and Origin against DNS rebinding and cross-site requests: RFC 9110 7.2, RFC 6454, and the Fetch standard's
Sec-Fetch headers; cookie attributes: RFC 6265bis; policy: W3C Content Security Policy Level 3.
"""

from __future__ import annotations

import asyncio
import json
import logging
import secrets
from collections.abc import Awaitable, Callable, Iterable
from html import escape
from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING

from partwright.studio.refusal import Refusal

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["COOKIE", "ENDING", "JSON_BYTES", "PAGE_POLICY", "Guard"]

COOKIE = "partwright"
PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; "
    "media-src 'self' blob:; connect-src 'self'; worker-src 'self'; manifest-src 'self'; frame-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    b"content-security-policy": PAGE_POLICY.encode(),
    b"x-content-type-options": b"nosniff",
    b"referrer-policy": b"no-referrer",
    b"cross-origin-opener-policy": b"same-origin",
    b"cross-origin-resource-policy": b"same-origin",
    b"permissions-policy": b"microphone=(self), camera=(self), geolocation=(), payment=()",
    b"cache-control": b"no-store",
}
_SAFE = frozenset({"GET", "HEAD"})
_METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "DELETE"})
JSON_BYTES = 4_000_000
ENDING = frozenset({"too_slow", "too_large"})
"""Refusals after which the connection is closed: the rest of the body is not waited for."""
_CHUNK_SECONDS = 10.0
_JSON_SECONDS = 30.0
_LONGEST_PATH = 4000

_log = logging.getLogger("partwright.studio")


class Guard:
    """The server's door. `hosts`: what may stand in Host; `token`: the secret of this run; `limits`: how many bytes a
    method and path may send, None where it is JSON."""

    def __init__(
        self, app: ASGIApp, *, hosts: Iterable[str], token: str, limits: Callable[[str, str], int | None]
    ) -> None:
        self.app = app
        self.hosts = frozenset(hosts)
        self.token = token
        self.limits = limits

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        started = False

        async def send_with_headers(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                own = {name.lower() for name, _ in message["headers"]}
                more = [(name, value) for name, value in _HEADERS.items() if name not in own]
                message = {**message, "headers": [*message["headers"], *more]}
            await send(message)

        try:
            limit = self._admit(scope)
            await self.app(scope, self._limited(receive, limit), send_with_headers)
        except Refusal as refusal:
            if not started:
                if _for_a_person(scope):
                    await answer_page(send_with_headers, refusal)
                else:
                    await answer(send_with_headers, refusal.status, refusal.document(), close=refusal.code in ENDING)
        except _Gone:
            return
        except asyncio.CancelledError:
            raise
        except Exception:
            _log.exception("a request could not be answered")
            if not started:
                words = "This could not be done, through a fault in the program. Nothing was changed."
                await answer(send_with_headers, 500, {"error": {"code": "fault", "words": words, "place": {}}})

    def _admit(self, scope: Scope) -> int:
        """How large the body may be. Raises Refusal for who has no business here."""
        headers: dict[bytes, list[bytes]] = {}
        for name, value in scope["headers"]:
            headers.setdefault(name, []).append(value)
        hosts = headers.get(b"host", [])
        if len(hosts) != 1 or hosts[0].decode("latin-1").lower() not in self.hosts:
            raise Refusal("forbidden", "this address is not the studio's", "Open the address the terminal shows.")
        method, path = str(scope["method"]), str(scope["path"])
        if method not in _METHODS:
            raise Refusal("wrong_method", f"the studio does not answer {method[:20]}")
        if len(path) + len(scope.get("query_string", b"")) > _LONGEST_PATH or "\x00" in path:
            raise Refusal("bad_request", "the address is too long or not valid")
        origins = [value.decode("latin-1").lower() for value in headers.get(b"origin", [])]
        allowed = {f"http://{host}" for host in self.hosts}
        if any(origin not in allowed for origin in origins) or (method not in _SAFE and not origins):
            raise Refusal("forbidden", "this request comes from another page")
        if headers.get(b"sec-fetch-site", [b"none"])[0] not in (b"same-origin", b"none"):
            raise Refusal("forbidden", "this request comes from another page")
        if not path.startswith("/enter/") and not self._known(headers.get(b"cookie", [])):
            raise Refusal("forbidden", "this browser has not been let in", "Open the address the terminal shows.")
        upload = self.limits(method, path)
        limit = JSON_BYTES if upload is None else upload
        lengths = headers.get(b"content-length", [])
        if lengths and (not lengths[0].isdigit() or int(lengths[0]) > limit):
            raise Refusal("too_large", "this is larger than the studio takes", f"The limit is {limit // 1_000_000} MB.")
        if upload is None and method in ("POST", "PUT") and (lengths and int(lengths[0]) > 0):
            kind = headers.get(b"content-type", [b""])[0].split(b";")[0].strip().lower()
            if kind != b"application/json":
                raise Refusal("wrong_type", "the body must be JSON (application/json)")
        return limit

    def _known(self, cookies: list[bytes]) -> bool:
        for line in cookies:
            try:
                found = SimpleCookie(line.decode("latin-1")).get(COOKIE)
            except CookieError:
                continue
            if found is not None and secrets.compare_digest(found.value.encode(), self.token.encode()):
                return True
        return False

    def _limited(self, receive: Receive, limit: int) -> Receive:
        """`receive` that ends a body which is too long, or comes too slowly."""
        taken = 0
        done = False
        loop = asyncio.get_running_loop()
        deadline = loop.time() + _JSON_SECONDS if limit == JSON_BYTES else None

        async def limited() -> Message:
            nonlocal taken, done
            if done:
                return await receive()
            wait = _CHUNK_SECONDS if deadline is None else min(_CHUNK_SECONDS, deadline - loop.time())
            try:
                message = await asyncio.wait_for(receive(), max(0.01, wait))
            except TimeoutError:
                raise Refusal("too_slow", "the request came too slowly") from None
            if message["type"] == "http.request":
                taken += len(message.get("body", b""))
                done = not message.get("more_body", False)
                if taken > limit:
                    raise Refusal(
                        "too_large", "this is larger than the studio takes", f"The limit is {limit // 1_000_000} MB."
                    )
            elif not done:
                raise _Gone
            return message

        return limited


class _Gone(Exception):
    """The other end went away before its request was complete."""


def _for_a_person(scope: Scope) -> bool:
    """Whether the answer will be looked at, and not read by the page's script."""
    if str(scope["path"]).startswith("/api/"):
        return False
    return any(name == b"accept" and b"text/html" in value for name, value in scope["headers"])


async def answer_page(send: Callable[[Message], Awaitable[None]], refusal: Refusal) -> None:
    """Send a refusal as a page."""
    error = refusal.document()["error"]
    words = escape(str(error["words"])) if isinstance(error, dict) else ""
    body = (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>The studio</title></head>'
        f"<body><main><h1>The studio</h1><p>{words}</p></main></body></html>"
    ).encode()
    headers = [(b"content-type", b"text/html; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": refusal.status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


async def answer(
    send: Callable[[Message], Awaitable[None]], status: int, document: object, *, close: bool = False
) -> None:
    """Send a JSON answer; `close` ends the connection after it, as where the rest of a body is not waited for."""
    body = json.dumps(document, ensure_ascii=False).encode("utf-8", "replace")
    headers = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode())]
    if close:
        headers.append((b"connection", b"close"))
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
