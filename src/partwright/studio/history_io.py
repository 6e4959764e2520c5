"""What was changed in a lesson, for undo without limit: an append-only journal beside lesson.toml.

A line is one JSON record, flushed to disk before the change is acknowledged. The lesson's own files are always written
first: a kill between the two leaves an edit that the journal takes for one made outside, and nothing is lost. A torn
last line is dropped. Records: `base` (the texts whole), `edit` and `outside` (splices of texts), `undo` and `redo` (of
the change that is next), `keep` (texts under a name). `after` is the hash of the texts a record leads to. Positions
count characters from 0.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from partwright.errors import OutputError, Place
from partwright.files import content_hash
from partwright.lesson import LESSON_FILE, OWN_SCRIPT_FILE

__all__ = ["FILES", "HISTORY_FILE", "Change", "History", "Texts", "read_texts", "texts_version"]

HISTORY_FILE = "history.jsonl"
FILES = (LESSON_FILE, OWN_SCRIPT_FILE)

Texts = Mapping[str, str | None]
"""The lesson's own texts by file; None for a file that is not there."""


@dataclass(frozen=True, slots=True)
class Splice:
    """In one file: from character `at` on, `removed` became `inserted`. None: the file was not there."""

    file: str
    at: int
    removed: str | None
    inserted: str | None


@dataclass(frozen=True, slots=True)
class Change:
    """One step of undo."""

    seq: int
    words: str
    when: str
    splices: tuple[Splice, ...]


@dataclass(slots=True)
class _State:
    texts: dict[str, str | None]
    done: list[Change] = field(default_factory=list)
    undone: list[Change] = field(default_factory=list)
    kept: dict[str, tuple[str, dict[str, str | None]]] = field(default_factory=dict)
    seq: int = 0
    size: int = 0  # bytes of the journal that are read


def read_texts(folder: Path) -> Texts:
    """The lesson's own texts as they lie on disk. Text that is not UTF-8 is read as best it can be, for the journal."""
    found: dict[str, str | None] = {}
    for name in FILES:
        try:
            found[name] = (folder / name).read_bytes().decode("utf-8", "surrogateescape")
        except (FileNotFoundError, NotADirectoryError):
            found[name] = None
    return found


def texts_version(texts: Texts) -> str:
    """A short text that stands for this content."""
    return content_hash(*(_bytes(texts[name]) for name in FILES))[:16]


def _bytes(text: str | None) -> bytes:
    return b"-" if text is None else b"+" + text.encode("utf-8", "surrogateescape")


class History:
    """The journal of one lesson folder. Call it under the lesson's lock."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / HISTORY_FILE
        self._state: _State | None = None

    @property
    def known(self) -> bool:
        """Whether the journal has been read."""
        return self._state is not None

    @property
    def done(self) -> Sequence[Change]:
        return self._known.done

    @property
    def undone(self) -> Sequence[Change]:
        return self._known.undone

    @property
    def kept(self) -> Mapping[str, tuple[str, Texts]]:
        """What was kept under a name: when, and the texts."""
        return {name: (when, texts) for name, (when, texts) in self._known.kept.items()}

    def meet(self, texts: Texts) -> bool:
        """Bring the journal up to what lies on disk. True where something had been changed outside."""
        state = self._load()
        if state is None:
            self._begin(texts)
            return False
        if dict(texts) == state.texts:
            return False
        self._change("outside", "What was changed outside the studio", texts)
        return True

    def record(self, words: str, texts: Texts) -> None:
        """A change that has just been written to the lesson's files."""
        self._change("edit", words, texts)

    def before_last(self) -> tuple[Texts, Change] | None:
        """The texts as they were before the last change; None where nothing is left to undo."""
        if not self._known.done:
            return None
        change = self._known.done[-1]
        return _applied(self._known.texts, change.splices, back=True), change

    def after_next(self) -> tuple[Texts, Change] | None:
        """The texts as they were after the change undone last; None where there is none."""
        if not self._known.undone:
            return None
        change = self._known.undone[-1]
        return _applied(self._known.texts, change.splices, back=False), change

    def step_back(self) -> None:
        """The last change was undone on disk."""
        self._add({"kind": "undo"})

    def step_on(self) -> None:
        """The change undone last was made again on disk."""
        self._add({"kind": "redo"})

    def keep(self, name: str) -> None:
        """Keep the texts as they are under a name; a name kept before is taken over."""
        self._add({"kind": "keep", "name": name, "texts": dict(self._known.texts)})

    # ---------------------------------------------------------------------------------------------------------------

    @property
    def _known(self) -> _State:
        return self._state if self._state is not None else _State(texts=dict.fromkeys(FILES))

    def _change(self, kind: str, words: str, texts: Texts) -> None:
        splices = [
            [splice.file, splice.at, splice.removed, splice.inserted]
            for name in FILES
            for splice in _difference(name, self._known.texts[name], texts[name])
        ]
        if splices:
            self._add({"kind": kind, "words": words, "splices": splices})

    def _begin(self, texts: Texts) -> None:
        self._state = _State(texts=dict(texts))
        self._add({"kind": "base", "texts": dict(texts)})

    def _add(self, record: dict[str, Any]) -> None:
        state = self._known
        full = {"seq": state.seq + 1, "when": datetime.now(UTC).isoformat(timespec="seconds"), **record}
        after = _next(state, full)
        full["after"] = texts_version(after.texts)
        line = (json.dumps(full, ensure_ascii=True, separators=(",", ":")) + "\n").encode("ascii")
        size = state.size
        self._state = None  # until the line is on disk, what is known here is more than the journal knows
        _append(self.path, line, at=size)
        after.size = size + len(line)
        self._state = after

    def _load(self) -> _State | None:
        """The journal as it lies on disk; read again only where another process has added to it."""
        if self.path.is_symlink():  # never followed
            self._set_aside()
            return None
        try:
            size = self.path.stat().st_size
        except FileNotFoundError:
            self._state = None
            return None
        if self._state is not None and self._state.size == size:
            return self._state
        data = self.path.read_bytes()
        state: _State | None = None
        at = 0
        while (end := data.find(b"\n", at)) >= 0:
            try:
                state = _next(state, json.loads(data[at:end]))
            except (ValueError, KeyError, TypeError, IndexError, AttributeError):
                self._set_aside()
                return None
            at = end + 1
            state.size = at
        if state is None:
            self._set_aside()
            return None
        self._state = state
        return state

    def _set_aside(self) -> None:
        """A journal that cannot be read is kept under another name, and a new one begun."""
        number = 1
        while (other := self.path.with_name(f"history-damaged-{number}.jsonl")).exists():
            number += 1
        self.path.rename(other)
        self._state = None


def _next(state: _State | None, record: Mapping[str, Any]) -> _State:
    """The state after one more record. Raises ValueError where the record does not follow from it."""
    kind = record["kind"]
    if kind == "base":
        found = _State(texts={name: record["texts"][name] for name in FILES})
    elif state is None:
        raise ValueError("a journal begins with the texts")
    else:
        found = state
        if kind in ("edit", "outside"):
            splices = tuple(Splice(*splice) for splice in record["splices"])
            change = Change(int(record["seq"]), str(record["words"]), str(record["when"]), splices)
            found.texts = _applied(found.texts, splices, back=False)
            found.done.append(change)
            found.undone.clear()
        elif kind == "undo":
            change = found.done.pop()
            found.texts = _applied(found.texts, change.splices, back=True)
            found.undone.append(change)
        elif kind == "redo":
            change = found.undone.pop()
            found.texts = _applied(found.texts, change.splices, back=False)
            found.done.append(change)
        elif kind == "keep":
            texts = {name: record["texts"][name] for name in FILES}
            found.kept[str(record["name"])] = (str(record["when"]), texts)
        else:
            raise ValueError(f"no record is called {kind}")
    found.seq = int(record["seq"])
    if "after" in record and record["after"] != texts_version(found.texts):
        raise ValueError("the journal does not lead where it says")
    return found


def _difference(file: str, old: str | None, new: str | None) -> list[Splice]:
    if old == new:
        return []
    if old is None or new is None:
        return [Splice(file, 0, old, new)]
    first = _common(old, new)
    last = _common(old[first:][::-1], new[first:][::-1])
    return [Splice(file, first, old[first : len(old) - last], new[first : len(new) - last])]


def _common(one: str, two: str) -> int:
    """How many characters two texts begin with alike."""
    low, high = 0, min(len(one), len(two))
    while low < high:  # by halves: comparing slices is quick, comparing characters one by one is not
        middle = (low + high + 1) // 2
        low, high = (middle, high) if one[:middle] == two[:middle] else (low, middle - 1)
    return low


def _applied(texts: Texts, splices: Sequence[Splice], *, back: bool) -> dict[str, str | None]:
    found = dict(texts)
    for splice in splices:
        out, into = (splice.inserted, splice.removed) if back else (splice.removed, splice.inserted)
        here = found[splice.file]
        if here is None or out is None or into is None:
            if here != out:
                raise ValueError("the text is not what the journal says")
            found[splice.file] = into
            continue
        if here[splice.at : splice.at + len(out)] != out:
            raise ValueError("the text is not what the journal says")
        found[splice.file] = here[: splice.at] + into + here[splice.at + len(out) :]
    return found


def _append(path: Path, line: bytes, *, at: int) -> None:
    """Add a line at this byte, over a torn one if there is one, and flush it to disk."""
    try:
        new = not path.exists()
        handle = os.open(
            path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0), 0o644
        )
        try:
            os.ftruncate(handle, at)
            os.lseek(handle, at, os.SEEK_SET)
            left = line
            while left:
                left = left[os.write(handle, left) :]
            os.fsync(handle)
        finally:
            os.close(handle)
        if new and os.name == "posix":
            folder = os.open(path.parent, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise OutputError(
            f"cannot be written ({reason})", "Free some space or check the folder.", place=Place(file=str(path))
        ) from error
