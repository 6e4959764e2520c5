"""The server put together: rows of routes, the page's files, the event stream, the way in."""

from __future__ import annotations

import json
from collections.abc import Callable, Coroutine
from typing import TYPE_CHECKING, Any

from partwright.errors import PartwrightError
from partwright.studio import api_jobs, api_lessons, api_publish, api_score, api_script, api_sound, api_takes
from partwright.studio.calls import Call, Created, Row, read_query
from partwright.studio.description import description
from partwright.studio.guard import COOKIE, ENDING, JSON_BYTES, Guard
from partwright.studio.refusal import Refusal, refusal_of
from partwright.studio.room import Studio
from partwright.studio.shape import check_shape

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.types import ASGIApp

__all__ = ["ROWS", "studio_app"]

ROWS: tuple[Row, ...] = (
    *api_lessons.ROWS,
    *api_score.ROWS,
    *api_sound.ROWS,
    *api_takes.ROWS,
    *api_script.ROWS,
    *api_publish.ROWS,
    *api_jobs.ROWS,
)


def studio_app(studio: Studio, *, hosts: tuple[str, ...]) -> ASGIApp:
    """The ASGI application. `hosts`: what a browser may call this server by, as in "127.0.0.1:8000"."""
    from starlette.applications import Starlette
    from starlette.exceptions import HTTPException
    from starlette.routing import Route

    routes = [
        Route("/enter/{token}", _entering(studio), methods=["GET"]),
        Route("/api/description", _describing(), methods=["GET"]),
        Route("/api/events", _listening(studio), methods=["GET"]),
    ]
    by_path: dict[str, list[Row]] = {}
    for row in ROWS:
        by_path.setdefault(row.path, []).append(row)
    for path, rows in by_path.items():
        answers = {row.method: _answering(studio, row) for row in rows}
        routes.append(Route(path, _choosing(answers), methods=list(answers)))
    routes.append(Route("/{path:path}", _paging(studio), methods=["GET"]))
    app = Starlette(routes=routes, exception_handlers={HTTPException: _plainly, Refusal: _refusing})
    app.router.redirect_slashes = False
    largest = {row.path: row.upload for row in ROWS if row.upload}

    def upload_limit(method: str, path: str) -> int | None:
        return next((size for known, size in largest.items() if method == "POST" and _fits(known, path)), None)

    return Guard(app, hosts=hosts, token=studio.token, limits=upload_limit)


def _fits(known: str, path: str) -> bool:
    one, two = known.split("/"), path.split("/")
    return len(one) == len(two) and all(a == b or a.startswith("{") for a, b in zip(one, two, strict=True))


Endpoint = Callable[["Request"], Coroutine[Any, Any, "Response"]]


def _choosing(answers: dict[str, Endpoint]) -> Endpoint:
    async def choose(request: Request) -> Response:
        method = "GET" if request.method == "HEAD" and "HEAD" not in answers else request.method
        return await answers[method](request)

    return choose


def _answering(studio: Studio, row: Row) -> Endpoint:
    from anyio import to_thread

    async def answer(request: Request) -> Response:
        try:
            if row.stream is not None:
                return await row.stream(studio, request)
            assert row.answer is not None
            body = await _body(request, row)
            call = Call(studio, request.path_params, read_query(row, request.query_params), body)
            found = await to_thread.run_sync(row.answer, call)
        except PartwrightError as error:
            raise refusal_of(error) from error
        if isinstance(found, Created):
            return _json(found.document, found.status)
        return _json(found, row.status)

    return answer


async def _body(request: Request, row: Row) -> Any:
    if row.body is None:
        return None
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/json":
        raise Refusal("wrong_type", "the body must be JSON (application/json)")
    pieces = bytearray()
    async for piece in request.stream():
        pieces += piece
        if len(pieces) > JSON_BYTES:
            raise Refusal("too_large", "the body is too large")
    try:
        body = json.loads(bytes(pieces).decode("utf-8"), parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise Refusal("bad_request", "the body is not JSON") from None
    check_shape(body, row.body)
    return body


def _no_constant(name: str) -> object:
    raise ValueError(name)


def _json(document: object, status: int = 200) -> Response:
    from starlette.responses import Response

    body = json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return Response(body.encode("utf-8", "replace"), status_code=status, media_type="application/json")


def _entering(studio: Studio) -> Endpoint:
    from secrets import compare_digest

    from starlette.responses import HTMLResponse

    async def enter(request: Request) -> Response:
        if not compare_digest(request.path_params["token"].encode(), studio.token.encode()):
            raise Refusal("forbidden", "this address is from another run", "Open the one the terminal shows now.")
        # A page of its own, not a redirect: so the next request is the browser's own and carries the cookie.
        answer = HTMLResponse(
            '<!doctype html><html lang="en"><head><meta charset="utf-8"><meta http-equiv="refresh" content="0;url=/">'
            '<link rel="icon" href="data:,"><title>The studio</title></head><body>'
            '<p><a href="/">To the studio</a></p></body></html>'
        )
        answer.set_cookie(COOKIE, studio.token, httponly=True, samesite="strict", path="/")
        return answer

    return enter


def _describing() -> Endpoint:
    async def describe(request: Request) -> Response:
        return _json(description(ROWS))

    return describe


def _listening(studio: Studio) -> Endpoint:
    from starlette.responses import StreamingResponse

    async def listen(request: Request) -> Response:
        lesson = request.query_params.get("lesson", "")[:100]
        if studio.hub.full:
            raise Refusal("too_many", "too many windows are open")
        return StreamingResponse(
            studio.hub.stream(lesson), media_type="text/event-stream", headers={"cache-control": "no-store"}
        )

    return listen


def _paging(studio: Studio) -> Endpoint:
    from starlette.responses import Response

    async def page(request: Request) -> Response:
        file = studio.page(request.url.path)
        if file is None:
            raise Refusal("not_found", "there is nothing here")
        headers = {"etag": file.tag, "cache-control": "no-cache"}
        if request.headers.get("if-none-match") == file.tag:
            return Response(status_code=304, headers=headers)
        return Response(file.content, media_type=file.kind, headers=headers)

    return page


async def _plainly(request: Request, error: Exception) -> Response:
    """Starlette's own refusals in our words."""
    from starlette.exceptions import HTTPException

    assert isinstance(error, HTTPException)
    if error.status_code == 405:
        refusal = Refusal("wrong_method", "nothing here answers that way")
    elif error.status_code == 404:
        refusal = Refusal("not_found", "there is nothing here")
    else:
        refusal = Refusal("bad_request", "this request makes no sense here")
    answer = _json(refusal.document(), refusal.status)
    if error.headers and "allow" in {name.lower() for name in error.headers}:
        answer.headers["allow"] = next(v for k, v in error.headers.items() if k.lower() == "allow")
    return answer


async def _refusing(request: Request, error: Exception) -> Response:
    assert isinstance(error, Refusal)
    answer = _json(error.document(), error.status)
    if error.code in ENDING:
        answer.headers["connection"] = "close"
    return answer
