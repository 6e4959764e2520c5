"""Routes of the check: takes, findings, decisions."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from partwright.lesson import folder_lock
from partwright.studio.addresses import file_url
from partwright.studio.api_score import edit_answer
from partwright.studio.calls import Call, Row, read_query
from partwright.studio.check_work import check_key, kept_check
from partwright.studio.pin_rows import value_words
from partwright.studio.refusal import Refusal
from partwright.studio.reviews_io import decisions_of, review_version, write_decision
from partwright.studio.room import Studio
from partwright.studio.shapes import DECISION
from partwright.studio.takes_io import keep_take, list_takes, take_kind, take_path
from partwright.studio.uploads import received

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

__all__ = ["ROWS"]

_TAKE_BYTES = 12_000_000_000  # an hour of film from a good camera
_BEFORE_SECONDS = 3.0
_WORDS = {
    "accept": "Correct it on screen",
    "right": "It is right as it is",
    "unsure": "Not sure",
    "pin": "Pin it: the plan follows",
}


def _takes(call: Call) -> dict[str, Any]:
    folder = call.studio.lesson_folder(call.lesson)
    return {"takes": [_take_document(call.studio, call.lesson, folder, row) for row in list_takes(folder)]}


def _take_document(studio: Studio, lesson: str, folder: Path, row: dict[str, Any]) -> dict[str, Any]:
    kept = kept_check(folder, row["name"])
    left = None
    if kept is not None:
        decided = _decisions(folder, row["name"])
        left = sum(finding["key"] not in decided for finding in kept["findings"])
    media = row["media_name"]
    return {
        **{key: row[key] for key in ("name", "kind", "type", "bytes")},
        "url": file_url(lesson, f"takes/{row['name']}"),
        "media": None if media is None else file_url(lesson, f"takes/{media}"),
        "checked": kept is not None,
        "open": left,
    }


def _decisions(folder: Path, take: str) -> dict[str, str]:
    return dict(decisions_of(folder, take))


async def _take_in(studio: Studio, request: Request) -> Response:
    from anyio import to_thread
    from starlette.responses import JSONResponse

    query = read_query(_TAKE_IN, request.query_params)
    lesson = request.path_params["lesson"]
    folder = studio.lesson_folder(lesson)
    take_kind(query["filename"])
    # Beside the lesson's files, so that the move to its place is a rename; the name is hidden from every listing.
    with tempfile.TemporaryDirectory(dir=folder, prefix=".taking-in-") as temporary:
        path = Path(temporary) / f"take{Path(query['filename']).suffix.casefold()}"
        await received(request, path, limit=_TAKE_BYTES)
        name = await to_thread.run_sync(keep_take, folder, path, query["filename"])
    studio.hub.tell("takes", {}, lesson=lesson)
    row = next(row for row in list_takes(folder) if row["name"] == name)
    return JSONResponse({"take": _take_document(studio, lesson, folder, row)}, status_code=201)


def _findings(call: Call) -> dict[str, Any]:
    desk = call.desk
    take = call.query["take"]
    path = take_path(desk.folder, take)
    kept = kept_check(desk.folder, take)
    if kept is None:
        job = call.studio.jobs.start(call.lesson, desk.folder, {"kind": "check", "take": take})
        return {"ready": False, "job": job.document()}
    with desk.lock:
        stale = check_key(desk.folder, desk.state().lesson, path) != kept["key"]
    decided = _decisions(desk.folder, take)
    findings = [_finding(row, decided.get(row["key"])) for row in kept["findings"]]
    row = next((row for row in list_takes(desk.folder) if row["name"] == take), None)
    media = None if row is None else row["media_name"]
    return {
        "ready": True,
        "take": take,
        "stale": stale,
        "version": review_version(desk.folder, take),
        "findings": findings,
        "summary": {
            "wrong": sum(f["verdict"] == "wrong" for f in findings),
            "check": sum(f["verdict"] == "check" for f in findings),
            "decided": sum(f["decision"] is not None for f in findings),
        },
        "media": None if media is None else file_url(call.lesson, f"takes/{media}"),
        "sentences": kept["sentences"],
        "faults": kept["faults"],
    }


def _finding(row: dict[str, Any], decision: str | None) -> dict[str, Any]:
    pins = [{**pin, "words": _pin_words(pin["value"])} for pin in row["pins"]]
    right = "It is right as said" if row["manner"] == "said" else "It is right as played"
    choices = [("accept", _WORDS["accept"]), ("right", right), ("unsure", _WORDS["unsure"])]
    if pins:
        choices.append(("pin", _WORDS["pin"]))
    time_s = row["time_s"]
    return {
        **row,
        "pins": pins,
        "play_from_s": None if time_s is None else round(max(0.0, time_s - _BEFORE_SECONDS), 3),
        "decision": decision,
        "choices": [{"value": value, "words": words} for value, words in choices],
    }


def _pin_words(value: str) -> str:
    try:
        return value_words(value)
    except (ValueError, KeyError):
        return value


def _decide(call: Call) -> dict[str, Any]:
    body, desk = call.body, call.desk
    take, key, decision = body["take"], body["key"], body["decision"]
    take_path(desk.folder, take)
    kept = kept_check(desk.folder, take)
    row = None if kept is None else next((row for row in kept["findings"] if row["key"] == key), None)
    if row is None:
        raise Refusal("not_found", "there is no such finding", "Check the take again.")
    if decision == "pin" and not row["pins"]:
        raise Refusal("cannot", "this finding offers nothing to pin")
    with desk.lock:
        now = review_version(desk.folder, take)
        if body["version"] != now:
            raise Refusal(
                "changed", "this take was decided on in another window since this one last looked",
                "It has been loaded again; please decide once more.", version=now,
            )  # fmt: skip
        edit = None
        if decision == "pin":
            if "lesson_version" not in body:
                raise Refusal("bad_request", "a pin needs lesson_version, the version of the lesson it changes")
            edit = edit_answer(
                _as_edit(call, row), lambda d: d.edit(body["lesson_version"], _pins(d, row), _client(body))
            )
        if call.studio.jobs.builds(call.lesson):
            write_decision(desk.folder, take, key, decision)
        else:
            with folder_lock(desk.folder, wait_seconds=3.0):
                write_decision(desk.folder, take, key, decision)
    call.studio.hub.tell("takes", {}, lesson=call.lesson)
    return {"version": review_version(desk.folder, take), "finding": _finding(row, decision), "edit": edit}


def _client(body: dict[str, Any]) -> str:
    return str(body.get("client", ""))


def _as_edit(call: Call, row: dict[str, Any]) -> Call:
    return Call(call.studio, call.path, call.query, {"shown": call.body.get("shown")})


def _pins(desk: Any, row: dict[str, Any]) -> list[dict[str, Any]]:
    """The pins of a finding as edits; a string alone keeps the finger that is pinned there."""
    from partwright.score import beat_text

    part = desk.state().part
    edits = []
    for pin in row["pins"]:
        note = next((n for n in part.notes if f"{n.bar}:{beat_text(n.beat)}" == pin["place"] and not n.grace), None)
        if note is not None:
            edits.append({"kind": "pin", "n": note.index, "value": pin["value"]})
    if not edits:
        raise Refusal("cannot", "the note this finding speaks of is not in the tune any more")
    return edits


_TAKE_IN = Row(
    method="POST",
    path="/api/lessons/{lesson}/takes",
    words="Take in a transcript or a recording.",
    stream=_take_in,
    query={"filename": {"type": "string", "minLength": 1, "maxLength": 200}},
    required=("filename",),
    upload=_TAKE_BYTES,
    status=201,
)
_TAKE = {"type": "string", "minLength": 1, "maxLength": 200}
ROWS = (
    Row(method="GET", path="/api/lessons/{lesson}/takes", words="The takes.", answer=_takes),
    _TAKE_IN,
    Row(
        method="GET",
        path="/api/lessons/{lesson}/findings",
        words="What was found in a take, or the job that looks.",
        answer=_findings,
        query={"take": _TAKE},
        required=("take",),
    ),
    Row(
        method="PUT",
        path="/api/lessons/{lesson}/findings/decision",
        words="Decide on a finding.",
        answer=_decide,
        body=DECISION,
    ),
)
