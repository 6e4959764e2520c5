"""A viewer's comment as it was read, and what was odd about the file it came in."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Comment", "CommentFault", "Comments"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Comment:
    """One comment. `viewer` is a short id that stands for its writer; `name` is kept only where it was asked for.

    `row` is where it stands in the file, from 1: the line, or the number of the record.
    """

    row: int
    text: str
    viewer: str
    name: str = ""
    date: str = ""  # ISO 8601 day, where the file has one


@dataclass(frozen=True, slots=True, kw_only=True)
class CommentFault:
    """Something in the file that could not be read as it should be, and what was done about it."""

    row: int
    what: str
    done: str

    def __str__(self) -> str:
        return f"line {self.row}: {self.what}; {self.done}"


@dataclass(frozen=True, kw_only=True)
class Comments:
    """A whole file of comments."""

    comments: tuple[Comment, ...]
    kind: str  # CSV, JSON lines or plain text
    encoding: str
    faults: tuple[CommentFault, ...] = ()
