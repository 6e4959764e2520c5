"""Addresses of a lesson's files on the server."""

from __future__ import annotations

from urllib.parse import quote

__all__ = ["file_url"]


def file_url(lesson: str, path: str) -> str:
    """Where the page finds a file of the lesson.

    >>> file_url("Weir 2", "build/part a4.pdf")
    '/api/lessons/Weir%202/file/build/part%20a4.pdf'
    """
    return f"/api/lessons/{quote(lesson, safe='')}/file/{quote(path)}"
