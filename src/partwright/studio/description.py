"""The server described for tools: an OpenAPI 3.1 document made from the same rows that answer.

Source of the format: OpenAPI Specification 3.1.0.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from partwright import __version__
from partwright.studio.calls import Row

__all__ = ["description"]

_PARAMETER = re.compile(r"\{(\w+)(?::path)?\}")
_PATHS: dict[str, dict[str, Any]] = {
    "lesson": {"type": "string", "minLength": 1, "maxLength": 60},
    "leaf": {"type": "integer", "minimum": 0, "maximum": 9999},
    "n": {"type": "integer", "minimum": 0, "maximum": 999_999},
    "job": {"type": "string", "pattern": "^[0-9a-f]{16}$"},
    "path": {"type": "string", "minLength": 1},
}
_ERROR = {
    "type": "object",
    "required": ["error"],
    "properties": {
        "error": {
            "type": "object",
            "required": ["code", "words"],
            "properties": {"code": {"type": "string"}, "words": {"type": "string"}},
        }
    },
}


def description(rows: Sequence[Row]) -> dict[str, Any]:
    """The document."""
    paths: dict[str, dict[str, Any]] = {}
    for row in rows:
        path = _PARAMETER.sub(lambda found: "{" + found[1] + "}", row.path)
        paths.setdefault(path, {})[row.method.lower()] = _operation(row)
    return {
        "openapi": "3.1.0",
        "info": {"title": "partwright studio", "version": __version__},
        "paths": paths,
        "components": {"securitySchemes": {"run": {"type": "apiKey", "in": "cookie", "name": "partwright"}}},
        "security": [{"run": []}],
    }


def _operation(row: Row) -> dict[str, Any]:
    parameters = [
        {"name": name, "in": "path", "required": True, "schema": _PATHS[name]} for name in _PARAMETER.findall(row.path)
    ] + [
        {"name": name, "in": "query", "required": name in row.required, "schema": dict(shape)}
        for name, shape in row.query.items()
    ]
    answers: dict[str, Any] = {
        str(row.status): {"description": row.words, "content": {row.kind: {"schema": dict(row.gives)}}},
        "4XX": {"description": "It was not done, and why.", "content": {"application/json": {"schema": _ERROR}}},
    }
    if row.kind == "application/octet-stream":
        answers["200"] = {"description": row.words, "content": {"*/*": {}}}
        answers["206"] = {"description": "A part of it.", "content": {"*/*": {}}}
    operation: dict[str, Any] = {"summary": row.words, "parameters": parameters, "responses": answers}
    if row.body is not None:
        operation["requestBody"] = {"required": True, "content": {"application/json": {"schema": dict(row.body)}}}
    elif row.upload:
        operation["requestBody"] = {
            "required": True,
            "content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}},
        }
    return operation
