"""The studio of one run: the working folder, the lessons on its tables, who listens, and the work in hand."""

from __future__ import annotations

import contextlib
import re
import secrets
import threading
from collections.abc import Mapping
from pathlib import Path

from partwright.engraving import EngravingProcess
from partwright.errors import PartwrightError
from partwright.lesson import LESSON_FILE, page_instrument
from partwright.studio.desk import Desk
from partwright.studio.events import Hub
from partwright.studio.jobs import Jobs
from partwright.studio.page_io import PageFile, page_files
from partwright.studio.pictures import nearest_width
from partwright.studio.refusal import Refusal

__all__ = ["NAME_PATTERN", "Studio", "check_name"]

NAME_PATTERN = r"^[^\W_](?:[\w .\-]{0,58}[\w\-])?$"
_NAME = re.compile(NAME_PATTERN)
_RESERVED = frozenset(
    {"con", "prn", "aux", "nul", *(f"com{n}" for n in range(1, 10)), *(f"lpt{n}" for n in range(1, 10))}
)
_MOST_DESKS = 6


def check_name(name: str) -> str:
    """A name for a lesson's folder. Raises Refusal for one that some file system would not take."""
    if _NAME.fullmatch(name) is None or name.split(".")[0].casefold() in _RESERVED:
        raise Refusal(
            "bad_request", "this is no name for a lesson's folder",
            "Use 1 to 60 letters, digits, spaces, - and _, beginning with a letter or digit.",
        )  # fmt: skip
    return name


class Studio:
    """Everything the routes share. `folder` holds the lessons, each a folder of its own."""

    def __init__(self, folder: Path, *, opened: str | None = None, token: str | None = None) -> None:
        self.folder = folder.resolve()
        self.opened = opened
        self.token = token or secrets.token_urlsafe(32)
        self.hub = Hub()
        self.process = EngravingProcess()
        self.jobs = Jobs(self.hub)
        self._desks: dict[str, Desk] = {}
        self._lock = threading.Lock()
        self._pages: tuple[int, Mapping[str, PageFile]] | None = None

    def warm(self) -> None:
        """Load what the first page needs, before it is asked for: the engines, and the lesson the studio opens at."""
        with contextlib.suppress(PartwrightError, Refusal):  # whoever opens it is told
            name = self.opened or next(iter(self.names()), None)
            if name is not None:
                desk = self.desk(name)
                with desk.lock:
                    state = desk.state()
                    desk.score(state).systems(0, nearest_width(180), state.marks, page_instrument(state.job))

    def close(self) -> None:
        """End everything that was begun."""
        self.hub.close()
        self.jobs.close()
        self.process.close()

    def names(self) -> tuple[str, ...]:
        """The lessons in the working folder."""
        try:
            inside = sorted(self.folder.iterdir(), key=lambda path: path.name.casefold())
        except OSError:
            return ()
        return tuple(path.name for path in inside if self._is_lesson(path))

    def lesson_folder(self, name: str) -> Path:
        """The folder of a lesson. Raises Refusal where there is none of this name."""
        path = self.folder / name
        if "/" in name or "\\" in name or "\x00" in name or name.startswith(".") or not self._is_lesson(path):
            raise Refusal("not_found", f'there is no lesson "{name[:60]}" in this folder')
        return path

    def desk(self, name: str) -> Desk:
        """The lesson on its table."""
        folder = self.lesson_folder(name)
        with self._lock:
            desk = self._desks.pop(name, None)
            if desk is None:
                desk = Desk(
                    folder,
                    self.process,
                    building=lambda: self.jobs.builds(name),
                    told=lambda version, words, origin: self.hub.tell(
                        "lesson", {"version": version, "words": words, "origin": origin}, lesson=name
                    ),
                )
            self._desks[name] = desk
            while len(self._desks) > _MOST_DESKS:
                del self._desks[next(iter(self._desks))]
            return desk

    def look_outside(self) -> None:
        """Notice what other programs changed in the lessons that are looked at."""
        for name in self.hub.lessons:
            try:
                self.desk(name).look_outside()
            except Refusal:
                continue

    def page(self, path: str) -> PageFile | None:
        """A file of the page. Changed files are served as they are now."""
        stamp = _stamp()
        if self._pages is None or self._pages[0] != stamp:
            self._pages = (stamp, page_files())
        return self._pages[1].get(path)

    @staticmethod
    def _is_lesson(path: Path) -> bool:
        try:
            if path.name.startswith(".") or path.is_symlink() or not path.is_dir():
                return False
            return (path / LESSON_FILE).is_file() and not (path / LESSON_FILE).is_symlink()
        except (OSError, ValueError):
            return False


def _stamp() -> int:
    """Changes whenever a file of the page does."""
    root = Path(__file__).with_name("page")
    return hash(tuple((str(path), path.stat().st_mtime_ns) for path in sorted(root.rglob("*")) if path.is_file()))
