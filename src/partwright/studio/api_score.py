"""Routes of the score and its notes, and of everything that changes the lesson."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from partwright.studio.calls import Call, Row
from partwright.studio.compare import compare_document
from partwright.studio.desk import Desk, Done
from partwright.studio.documents import edit_document, kept_document, leaf_document, leaves_document
from partwright.studio.edits import note_at
from partwright.studio.note_facts import NoteFacts
from partwright.studio.note_view import note_document
from partwright.studio.pictures import nearest_width
from partwright.studio.refusal import Refusal
from partwright.studio.shapes import EDITS, KEEP, RESTORE, STEP, TRY

__all__ = ["ROWS", "edit_answer"]

_WIDTH = {"type": "number", "minimum": 45, "maximum": 600}
_PLAN = {"type": "string", "maxLength": 80}


def _leaves(call: Call) -> dict[str, Any]:
    desk = call.desk
    with desk.lock:
        state = desk.state()
        return leaves_document(state, desk.score(state), nearest_width(call.query.get("width_mm", 180)))


def _leaf(call: Call) -> dict[str, Any]:
    desk = call.desk
    leaf = call.number("leaf")
    with desk.lock:
        state = desk.other(call.query.get("plan", ""))
        score = desk.score(desk.state())
        if leaf >= len(score.leaves):
            raise Refusal("not_found", f"the part has {len(score.leaves)} leaves, counted from 0")
        facts = desk.facts(state) if state is desk.state() else NoteFacts(state)
        have = frozenset(call.query.get("have", "").split(","))
        return leaf_document(state, score, facts, leaf, nearest_width(call.query.get("width_mm", 180)), have)


def _note(call: Call) -> dict[str, Any]:
    desk = call.desk
    with desk.lock:
        state = desk.state()
        n = call.number("n")
        if n >= len(state.part.notes):
            raise Refusal("not_found", f"the part has {len(state.part.notes)} notes, counted from 0")
        note = note_at(state.part, n)
        return note_document(state, desk.facts(state), note, pictures=call.query.get("pictures", "1") == "1")


def edit_answer(call: Call, make: Callable[[Desk], Done]) -> dict[str, Any]:
    """Make a change and say what it moved."""
    began = time.perf_counter()
    desk = call.desk
    shown = call.body.get("shown")
    with desk.lock:
        done = make(desk)
        width = None if shown is None else nearest_width(shown["width_mm"])
        document = edit_document(desk, done, width_mm=width, leaves=[] if shown is None else shown["leaves"])
    document["server_ms"] = round((time.perf_counter() - began) * 1000, 1)
    return document


def _client(call: Call) -> str:
    return str(call.body.get("client", ""))


def _edits(call: Call) -> dict[str, Any]:
    body = call.body
    return edit_answer(call, lambda desk: desk.edit(body["version"], body["edits"], _client(call)))


def _try(call: Call) -> dict[str, Any]:
    return edit_answer(call, lambda desk: desk.look_ahead(call.body["edits"]))


def _undo(call: Call) -> dict[str, Any]:
    return edit_answer(call, lambda desk: desk.undo(call.body["version"], _client(call)))


def _redo(call: Call) -> dict[str, Any]:
    return edit_answer(call, lambda desk: desk.redo(call.body["version"], _client(call)))


def _restore(call: Call) -> dict[str, Any]:
    body = call.body
    return edit_answer(call, lambda desk: desk.restore(body["version"], body["name"], _client(call)))


def _keep(call: Call) -> dict[str, Any]:
    desk = call.desk
    with desk.lock:
        desk.keep(call.body["version"], call.body["name"])
        return {"kept": kept_document(desk), "version": call.body["version"]}


def _compare(call: Call) -> dict[str, Any]:
    desk = call.desk
    with desk.lock:
        a, b = call.query.get("a", "now"), call.query.get("b", "free")
        return compare_document(a, desk.other(a), b, desk.other(b))


ROWS = (
    Row(
        method="GET",
        path="/api/lessons/{lesson}/score",
        words="The leaves of the part.",
        answer=_leaves,
        query={"width_mm": _WIDTH},
    ),
    Row(
        method="GET",
        path="/api/lessons/{lesson}/score/{leaf}",
        words="One leaf: its systems as SVG, with where each note stands.",
        answer=_leaf,
        query={"width_mm": _WIDTH, "have": {"type": "string", "maxLength": 3000}, "plan": _PLAN},
    ),
    Row(
        method="GET",
        path="/api/lessons/{lesson}/notes/{n}",
        words="Why a note has its finger and bow, and what the others would cost.",
        answer=_note,
        query={"pictures": {"type": "string", "enum": ["0", "1"]}},
    ),
    Row(method="POST", path="/api/lessons/{lesson}/edits", words="Change the lesson.", answer=_edits, body=EDITS),
    Row(method="POST", path="/api/lessons/{lesson}/try", words="What a change would move.", answer=_try, body=TRY),
    Row(method="POST", path="/api/lessons/{lesson}/undo", words="Take back a change.", answer=_undo, body=STEP),
    Row(method="POST", path="/api/lessons/{lesson}/redo", words="Make it again.", answer=_redo, body=STEP),
    Row(method="POST", path="/api/lessons/{lesson}/keep", words="Keep the plan.", answer=_keep, body=KEEP),
    Row(method="POST", path="/api/lessons/{lesson}/restore", words="Go back to it.", answer=_restore, body=RESTORE),
    Row(
        method="GET",
        path="/api/lessons/{lesson}/compare",
        words="What differs between two plans.",
        answer=_compare,
        query={"a": _PLAN, "b": _PLAN},
    ),
)
