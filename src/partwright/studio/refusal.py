"""What the server answers when it will not do a thing: a code, a status, and a sentence to show."""

from __future__ import annotations

from collections.abc import Mapping

from partwright.errors import PartwrightError

__all__ = ["STATUS", "Refusal", "error_document", "refusal_of"]

STATUS: Mapping[str, int] = {
    "bad_request": 400,
    "forbidden": 403,
    "not_found": 404,
    "wrong_method": 405,
    "too_slow": 408,
    "changed": 409,
    "busy": 409,
    "too_large": 413,
    "wrong_type": 415,
    "range": 416,
    "cannot": 422,
    "too_many": 429,
}
"""HTTP status by code. Source: RFC 9110, 15.5, and RFC 6585, 4."""


class Refusal(Exception):
    """A request that is not carried out. `more` are further fields of the error document."""

    def __init__(self, code: str, what: str, todo: str = "", **more: object) -> None:
        super().__init__(what)
        self.code = code
        self.what = what
        self.todo = todo
        self.more = more

    @property
    def status(self) -> int:
        return STATUS[self.code]

    def document(self) -> dict[str, object]:
        """The body of the answer."""
        what = self.what if self.what.endswith((".", "?")) else f"{self.what}."
        words = f"{what[:1].upper()}{what[1:]} {self.todo}".strip()
        error: dict[str, object] = {
            "code": self.code,
            "words": words,
            "what": self.what,
            "todo": self.todo,
            "place": {},
        }
        return {"error": {**error, **self.more}}


def error_document(error: PartwrightError) -> dict[str, object]:
    """An error of the program as the page gets it; a file is named without the folders above it."""
    place = error.place
    file = None if place.file is None else place.file.replace("\\", "/").rsplit("/", 1)[-1]
    where = {"file": file, "line": place.line, "bar": place.bar, "beat": place.beat}
    spot = ", ".join(
        text
        for text in (
            file if place.bar is None else None,
            f"line {place.line}" if place.line is not None and place.bar is None else None,
            f"bar {place.bar}" if place.bar is not None else None,
            f"beat {place.beat}" if place.beat is not None else None,
        )
        if text
    )
    what = error.what if error.what.endswith((".", "?")) else f"{error.what}."
    sentence = f"{spot}: {what}" if spot else what
    words = f"{sentence[:1].upper()}{sentence[1:]} {error.todo}".strip()
    return {"code": "cannot", "words": words, "what": error.what, "todo": error.todo, "place": where}


def refusal_of(error: PartwrightError) -> Refusal:
    """The refusal that an error of the program is answered with."""
    code = "busy" if "in use by another partwright" in error.what else "cannot"
    known = error_document(error)
    refusal = Refusal(code, error.what, error.todo)
    refusal.more = {"words": known["words"], "place": known["place"]}
    return refusal
