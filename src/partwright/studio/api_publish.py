"""Routes of the publish place: rights, editions, errata."""

from __future__ import annotations

import datetime
from typing import Any

from partwright.lesson import folder_lock, read_errata
from partwright.lesson.errata_io import change_erratum
from partwright.studio.calls import Call, Row
from partwright.studio.publish import publish_document
from partwright.studio.refusal import Refusal

__all__ = ["ROWS"]

_ERRATUM = {
    "type": "object",
    "required": ["id", "state", "was"],
    "properties": {
        "id": {"type": "string", "minLength": 1, "maxLength": 80},
        "state": {"type": "string", "enum": ["draft", "confirmed", "refused"]},
        "was": {"type": "string", "enum": ["draft", "confirmed", "refused", "fixed"]},
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
        return publish_document(desk.state(), call.lesson, desk.folder, today=_today())


def _today() -> datetime.date:
    return datetime.datetime.now().astimezone().date()


ROWS = (
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
)
