"""One route as a row: what it takes, what it gives, who answers. The same rows serve and describe the server."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from partwright.studio.refusal import Refusal
from partwright.studio.shape import Shape, check_shape

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from partwright.studio.desk import Desk
    from partwright.studio.room import Studio

__all__ = ["Call", "Created", "Row", "read_query"]


@dataclass(frozen=True, slots=True)
class Call:
    """One checked request."""

    studio: Studio
    path: Mapping[str, str]
    query: Mapping[str, Any]
    body: Any

    @property
    def lesson(self) -> str:
        return self.path["lesson"]

    @property
    def desk(self) -> Desk:
        return self.studio.desk(self.lesson)

    def number(self, name: str) -> int:
        """A number in the path."""
        text = self.path[name]
        if not (text.isascii() and text.isdigit() and len(text) < 9):
            raise Refusal("not_found", f"{name} is a whole number")
        return int(text)


@dataclass(frozen=True, slots=True)
class Created:
    """An answer with another status than 200."""

    document: Mapping[str, Any]
    status: int = 201


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One route. `answer` runs in a thread and returns a document; `stream` answers by itself, for bytes and events."""

    method: str
    path: str
    words: str
    answer: Callable[[Call], Any] | None = None
    stream: Callable[[Studio, Request], Awaitable[Response]] | None = None
    query: Mapping[str, Shape] = field(default_factory=dict)
    required: tuple[str, ...] = ()
    body: Shape | None = None
    upload: int = 0  # largest body in bytes, where the body is a file's
    gives: Shape = field(default_factory=lambda: {"type": "object"})
    status: int = 200
    kind: str = "application/json"


def read_query(row: Row, given: Mapping[str, str]) -> dict[str, Any]:
    """The query of a request, checked and converted."""
    found: dict[str, Any] = {}
    for name, shape in row.query.items():
        if name not in given:
            if name in row.required:
                raise Refusal("bad_request", f"{name} is missing from the address")
            continue
        found[name] = _converted(given[name], shape, name)
        check_shape(found[name], shape, name)
    return found


def _converted(text: str, shape: Shape, name: str) -> object:
    kind = shape.get("type")
    if kind in ("integer", "number"):
        try:
            if len(text) > 30 or not text.isascii():
                raise ValueError
            return int(text) if kind == "integer" else float(text)
        except ValueError:
            raise Refusal("bad_request", f"{name} must be a number") from None
    return text
