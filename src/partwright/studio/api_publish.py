"""Routes of the publish place: rights, editions, errata."""

from __future__ import annotations

import datetime
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from partwright.checking.reports import answer_reports, read_kept, settle_reports
from partwright.lesson import folder_lock, read_errata
from partwright.lesson.errata_io import change_erratum
from partwright.studio.calls import Call, Row, read_query
from partwright.studio.publish import publish_document
from partwright.studio.refusal import Refusal
from partwright.studio.room import Studio
from partwright.studio.uploads import received
from partwright.studio.viewers import check_comments

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

__all__ = ["ROWS"]

_COMMENT_ENDINGS = (".csv", ".json", ".jsonl", ".ndjson", ".txt", ".md")
_COMMENT_BYTES = 20_000_000
_ERRATUM = {
    "type": "object",
    "required": ["id", "state", "was"],
    "properties": {
        "id": {"type": "string", "minLength": 1, "maxLength": 80},
        "state": {"type": "string", "enum": ["draft", "confirmed", "refused"]},
        "was": {"type": "string", "enum": ["draft", "confirmed", "refused", "fixed"]},
    },
}
_REPORT = {
    "type": "object",
    "required": ["id", "state", "was"],
    "properties": {
        "id": {"type": "string", "minLength": 1, "maxLength": 80},
        "state": {"type": "string", "enum": ["open", "answered"]},
        "was": {"type": "string", "enum": ["open", "answered"]},
    },
}


def _publish(call: Call) -> dict[str, Any]:
    desk = call.desk
    with desk.lock:
        return publish_document(desk.state(), call.lesson, desk.folder, today=_today())


def _erratum(call: Call) -> dict[str, Any]:
    """Decide on an erratum; `was` is the state the page saw."""
    desk, body = call.desk, call.body
    with desk.lock:
        if call.studio.jobs.builds(call.lesson):
            raise Refusal("busy", "the lesson is being built or released", "Wait until that is done.")
        with folder_lock(desk.folder, wait_seconds=3.0):
            found = next((e for e in read_errata(desk.folder) if e.id == body["id"]), None)
            if found is None:
                raise Refusal("not_found", "there is no such erratum")
            if found.state != body["was"]:
                raise Refusal("changed", "this erratum was decided on in another window", "It has been loaded again.")
            if found.state == "fixed":
                raise Refusal("cannot", "this erratum is mended in an edition that is out")
            change_erratum(desk.folder, body["id"], state=body["state"])
            settle_reports(desk.folder, today=_today())
        return publish_document(desk.state(), call.lesson, desk.folder, today=_today())


def _answered(call: Call) -> dict[str, Any]:
    """The maker has answered a report, or opens it again; `was` is the state the page saw."""
    desk, body = call.desk, call.body
    with desk.lock:
        if call.studio.jobs.builds(call.lesson):
            raise Refusal("busy", "the lesson is being built or released", "Wait until that is done.")
        rows = read_kept(desk.folder, today=_today())
        found = next((row for row in rows if row.get("id") == body["id"]), None)
        if found is None:
            raise Refusal("not_found", "there is no such report")
        if found.get("state", "open") != body["was"]:
            raise Refusal("changed", "this report was answered in another window", "It has been loaded again.")
        answer_reports(desk.folder, [body["id"]], today=_today(), answered=body["state"] == "answered")
        return publish_document(desk.state(), call.lesson, desk.folder, today=_today())


async def _comments(studio: Studio, request: Request) -> Response:
    """Take in viewers' comments. Nothing of a viewer is kept but a short id; the file itself is not."""
    from anyio import to_thread
    from starlette.responses import JSONResponse

    query = read_query(_COMMENTS, request.query_params)
    lesson = request.path_params["lesson"]
    folder = studio.lesson_folder(lesson)
    suffix = Path(query["filename"]).suffix.casefold()
    if suffix not in _COMMENT_ENDINGS:
        raise Refusal(
            "wrong_type", "this is no file of comments that is known", f"Known are {', '.join(_COMMENT_ENDINGS)}."
        )
    with tempfile.TemporaryDirectory() as temporary:
        path = Path(temporary) / f"comments{suffix}"
        await received(request, path, limit=_COMMENT_BYTES)
        document = await to_thread.run_sync(_checked, studio, lesson, folder, path, query.get("take"))
    return JSONResponse(document)


def _checked(studio: Studio, lesson: str, folder: Path, path: Path, take: str | None) -> dict[str, Any]:
    if studio.jobs.builds(lesson):
        raise Refusal("busy", "the lesson is being built or released", "Wait until that is done.")
    desk = studio.desk(lesson)
    with desk.lock:
        return check_comments(desk.state(), folder, path, take=take, today=_today())


def _today() -> datetime.date:
    return datetime.datetime.now().astimezone().date()


_COMMENTS = Row(
    method="POST",
    path="/api/lessons/{lesson}/reports",
    words="Check viewers' comments and draft the errata.",
    stream=_comments,
    query={
        "filename": {"type": "string", "minLength": 1, "maxLength": 200},
        "take": {"type": "string", "minLength": 1, "maxLength": 200},
    },
    required=("filename",),
    upload=_COMMENT_BYTES,
)
ROWS = (
    _COMMENTS,
    Row(
        method="GET",
        path="/api/lessons/{lesson}/publish",
        words="Rights, editions and errata.",
        answer=_publish,
    ),
    Row(
        method="PUT",
        path="/api/lessons/{lesson}/errata",
        words="Decide on an erratum.",
        answer=_erratum,
        body=_ERRATUM,
    ),
    Row(
        method="PUT",
        path="/api/lessons/{lesson}/reports",
        words="Say that a viewer's report is answered.",
        answer=_answered,
        body=_REPORT,
    ),
)
