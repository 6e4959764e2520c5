"""The shapes of bodies and queries, shared by the checks and the description."""

from __future__ import annotations

from typing import Any

from partwright.studio.pictures import WIDTHS_MM

__all__ = ["CLIENT", "DECISION", "EDITS", "JOB_ORDER", "KEEP", "RESTORE", "SENTENCE", "STEP", "TRY", "VERSION"]

VERSION = {"type": "string", "maxLength": 64}
CLIENT = {"type": "string", "maxLength": 64}
_N = {"type": "integer", "minimum": 0, "maximum": 1_000_000}
_LINE = {"type": "string", "maxLength": 300}
_LINES = {"type": "array", "maxItems": 60, "items": _LINE}
SHOWN = {
    "type": "object",
    "required": ["width_mm", "leaves"],
    "properties": {
        "width_mm": {"type": "number", "minimum": min(WIDTHS_MM) / 2, "maximum": max(WIDTHS_MM) * 2},
        "leaves": {"type": "array", "maxItems": 60, "items": _N},
    },
}


def _kind(name: str, required: dict[str, Any], optional: dict[str, Any] | None = None) -> dict[str, Any]:
    return {
        "type": "object",
        "required": ["kind", *required],
        "properties": {"kind": {"const": name}, **required, **(optional or {})},
        "additionalProperties": False,
    }


_PIN = {"type": "string", "minLength": 1, "maxLength": 60}
_BOW = {
    "type": ["string", "null"],
    "enum": ["down", "up", "retake", "no retake", "down retake", "up retake", None],
}
_SETTING = {
    "type": "object",
    "additionalProperties": False,
    "properties": {
        **{
            name: {"type": ["string", "null"], "maxLength": 300}
            for name in ("title", "subtitle", "composer", "arranger", "teacher", "instrument", "level")
        },
        "tempo_qpm": {"type": ["number", "null"], "minimum": 10, "maximum": 400},
        "practice_percent": {
            "type": "array", "minItems": 1, "maxItems": 8, "items": {"type": "number", "minimum": 25, "maximum": 150},
        },
        "marks": {"type": "string", "enum": ["needed", "every", "none"]},
        "string_names": {"type": "string", "enum": ["letters", "roman"]},
        "paper": {"type": "array", "minItems": 1, "maxItems": 2, "items": {"type": "string", "enum": ["a4", "letter"]}},
        "own_levels": {"type": "array", "maxItems": 8, "items": _LINE},
        "undo_steps": {"type": "array", "maxItems": 200, "items": _LINE},
        "second": {"type": ["string", "null"], "maxLength": 60},
        "style": {"type": ["string", "null"], "maxLength": 60},
        "tries": {"type": "integer", "minimum": 1, "maximum": 20},
        "speaking_wpm": {"type": "number", "minimum": 60, "maximum": 300},
    },
}  # fmt: skip
_SECTION = {
    "type": "object",
    "required": ["name", "first_bar", "last_bar"],
    "additionalProperties": False,
    "properties": {
        "name": {"type": "string", "minLength": 1, "maxLength": 100},
        "first_bar": {"type": "string", "minLength": 1, "maxLength": 20},
        "last_bar": {"type": "string", "minLength": 1, "maxLength": 20},
        "remark": {"type": "string", "maxLength": 1000},
    },
}
_EPISODE = {
    "type": "object",
    "required": ["title", "sections"],
    "additionalProperties": False,
    "properties": {"title": {"type": "string", "minLength": 1, "maxLength": 200}, "sections": _LINES},
}
_TEXT = {"type": "string", "maxLength": 4000}
_DATE = {"type": ["string", "null"], "pattern": r"^\d{4}-\d{2}-\d{2}$"}
_OR_NONE = {"type": ["string", "null"], "maxLength": 1000}
_RIGHTS = {
    "type": "object",
    "additionalProperties": False,
    "properties": {
        "status": {
            "type": ["string", "null"], "enum": ["public-domain", "own-work", "licensed", "fan-arrangement", None],
        },
        "countries": _LINES,
        "authors": _LINES,
        "owners": _LINES,
        "lines": _LINES,
        "granted": _DATE,
        "expires": _DATE,
        "copies": {"type": ["integer", "null"], "minimum": 1, "maximum": 10_000_000},
        **dict.fromkeys(
            ("reason", "licence", "scope", "arrangement", "recording", "sync", "royalty", "ismn", "isrc"), _OR_NONE
        ),
    },
}  # fmt: skip
_CATALOGUE = {
    "type": "object",
    "additionalProperties": False,
    "properties": {
        "id": {"type": "string", "pattern": "^[a-z0-9][a-z0-9-]{0,59}$"},
        "price": _OR_NONE,
        "summary": _OR_NONE,
        "language": {"type": ["string", "null"], "maxLength": 20},
        "tags": _LINES,
        "sell": _LINES,
    },
}
_EDIT = {
    "oneOf": [
        _kind("pin", {"n": _N, "value": _PIN}),
        _kind("pin_equal", {"n": _N, "value": _PIN}),
        _kind("unpin", {"n": _N}),
        _kind("pin_range", {"first_n": _N, "last_n": _N}),
        _kind("unpin_range", {"first_n": _N, "last_n": _N}),
        _kind("bow", {"n": _N, "value": _BOW}),
        _kind("unpin_place", {"place": {"type": "string", "minLength": 1, "maxLength": 60}}),
        _kind("pin_comment", {"place": {"type": "string", "minLength": 1, "maxLength": 60}, "comment": _LINE}),
        _kind("settings", {"values": _SETTING}),
        _kind("sections", {"sections": {"type": "array", "maxItems": 200, "items": _SECTION}}),
        _kind("teaching_order", {"order": {"type": "array", "maxItems": 200, "items": _LINE}}),
        _kind("episodes", {"episodes": {"type": "array", "maxItems": 60, "items": _EPISODE}}),
        _kind("sentence", {"number": {"type": "integer", "minimum": 1, "maximum": 100_000}, "text": _TEXT}),
        _kind("add_sentence", {"after": _N, "text": _TEXT}),
        _kind("own_script", {"own": {"type": "boolean"}}),
        _kind("script", {"text": {"type": "string", "maxLength": 1_000_000}}),
        _kind("rights", {"values": _RIGHTS}),
        _kind("catalogue", {"values": _CATALOGUE}),
    ]
}
_LIST = {"type": "array", "minItems": 1, "maxItems": 500, "items": _EDIT}


def _body(required: dict[str, Any], optional: dict[str, Any] | None = None) -> dict[str, Any]:
    return {"type": "object", "required": list(required), "properties": {**required, **(optional or {})}}


EDITS = _body({"version": VERSION, "edits": _LIST}, {"client": CLIENT, "shown": SHOWN})
TRY = _body({"edits": _LIST}, {"client": CLIENT, "shown": SHOWN})
STEP = _body({"version": VERSION}, {"client": CLIENT, "shown": SHOWN})
_KEPT_NAME = {"type": "string", "minLength": 1, "maxLength": 60}
KEEP = _body({"version": VERSION, "name": _KEPT_NAME}, {"client": CLIENT})
RESTORE = _body({"version": VERSION, "name": _KEPT_NAME}, {"client": CLIENT, "shown": SHOWN})
SENTENCE = _body(
    {"text": _TEXT},
    {"bars": {"type": "array", "maxItems": 2, "items": {"type": "string", "maxLength": 20}}, "number": _N},
)
_TAKE = {"type": "string", "minLength": 1, "maxLength": 200}
DECISION = _body(
    {
        "take": _TAKE,
        "key": {"type": "string", "pattern": "^[0-9a-f]{12}$"},
        "decision": {"type": ["string", "null"], "enum": ["accept", "right", "unsure", "pin", None]},
        "version": VERSION,
    },
    {"lesson_version": VERSION, "client": CLIENT, "shown": SHOWN},
)
PERCENT = {"type": "number", "minimum": 40, "maximum": 120}
WHAT = {"type": "string", "enum": ["guide", "with_guide", "accompaniment", "click", "backing"]}
JOB_ORDER = {
    "oneOf": [
        _kind("build", {}, {"only": {"type": "array", "maxItems": 60, "items": {"type": "string", "maxLength": 60}}}),
        _kind("check", {"take": _TAKE}),
        _kind("sound", {"what": WHAT, "percent": PERCENT}),
        _kind("keys", {}, {"near": {"type": "string", "minLength": 1, "maxLength": 40}}),
        _kind("release", {}, {"anyway": {"type": "boolean"}}),
    ]
}
