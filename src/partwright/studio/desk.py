"""One lesson on the studio's table: what lies on disk, the plan it leads to, and the way to change both.

A change goes: texts as they lie on disk, the version the page saw, the changed texts, the plan they lead to; only if
all of that holds are the files written, then the journal, and only then is the change acknowledged. One thread at a
time.
"""

from __future__ import annotations

import dataclasses
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import Any

from partwright.engraving import EngravingProcess
from partwright.errors import OutputError, PartwrightError, Place
from partwright.files import write_atomic
from partwright.lesson import LESSON_FILE, folder_lock, page_tune
from partwright.studio.changes import Changed, compare_states
from partwright.studio.edits import edited_texts
from partwright.studio.history_io import FILES, Change, History, Texts, read_texts, texts_version
from partwright.studio.note_facts import NoteFacts
from partwright.studio.pictures import Score
from partwright.studio.plan_state import PlanState, plan_state
from partwright.studio.refusal import Refusal

__all__ = ["Desk", "Done"]

_LOCK_SECONDS = 3.0
_MOST_KEPT_STATES = 3
_LARGEST_TEXT = 2_000_000


class Done:
    """An edit that has been made: the plans before and after it."""

    def __init__(self, before: PlanState | None, after: PlanState, words: str) -> None:
        self.before = before
        self.after = after
        self.words = words
        self.changed = Changed((), (), (), ()) if before is None else self._compare(before, after)

    @staticmethod
    def _compare(before: PlanState, after: PlanState) -> Changed:
        if before.part is not after.part:
            return Changed((), (), (), ("The tune is another one",))
        return compare_states(before, after)


class Desk:
    """One lesson folder. `building` says whether a build of our own holds the folder's lock."""

    def __init__(
        self,
        folder: Path,
        process: EngravingProcess,
        *,
        building: Callable[[], bool] = lambda: False,
        told: Callable[[str, str, str], None] = lambda version, words, origin: None,
    ) -> None:
        self.folder = folder
        self.lock = threading.RLock()
        self.history = History(folder)
        self._process = process
        self._building = building
        self._told = told
        self._state: PlanState | None = None
        self._facts: NoteFacts | None = None
        self._scores: dict[tuple[object, ...], Score] = {}
        self._others: dict[str, PlanState] = {}
        self._fault: tuple[str, PartwrightError] | None = None
        self._seen: str | None = None  # the version last seen on disk
        self._holds = False  # whether the folder's lock is ours now
        self._tune: tuple[int, int] | None = None  # size and time of the tune's file as it was read
        self._tunes = 0  # how often it was replaced since

    # Reading ---------------------------------------------------------------------------------------------------------

    def version(self) -> str:
        """The version of what lies on disk now."""
        return self._version(read_texts(self.folder))

    def state(self) -> PlanState:
        """The lesson as it lies on disk, planned. Raises the error its texts lead to."""
        with self.lock:
            texts = self._meet()
            version = self._version(texts)
            if self._state is not None and self._state.version == version:
                return self._state
            if self._fault is not None and self._fault[0] == version:
                raise self._fault[1]
            return self._planned(texts)

    def look_outside(self) -> None:
        """Notice what another program changed; the pages are told."""
        with self.lock:
            self._meet()

    def facts(self, state: PlanState) -> NoteFacts:
        """Facts on the notes of this state."""
        with self.lock:
            if self._facts is None or self._facts.state is not state:
                self._facts = NoteFacts(state, self._facts)
            return self._facts

    def score(self, state: PlanState) -> Score:
        """The drawn leaves of this state's tune."""
        with self.lock:
            key = (
                id(state.job.tune),
                state.lesson.source_marks,
                state.lesson.clefs,
                state.job.instrument.name,
                state.job.level,
            )
            if key not in self._scores:
                self._scores.clear()
                starts = {section.first for section in state.outline.sections}
                self._scores[key] = Score(page_tune(state.job), starts, self._process)
            return self._scores[key]

    def other(self, name: str) -> PlanState:
        """Another plan of the lesson: `now`, `free` (without the lesson's pins), `kept:NAME`."""
        from partwright.studio.other_plans import other_texts

        with self.lock:
            state = self.state()
            if name in ("", "now"):
                return state
            texts = other_texts(state, self.history, name)
            version = self._version(texts)
            if version == state.version:
                return state
            if version not in self._others:
                while len(self._others) >= _MOST_KEPT_STATES:
                    del self._others[next(iter(self._others))]
                self._others[version] = plan_state(self.folder, texts, state)
            found = self._others[version]
            if found.part is not state.part:
                raise Refusal("cannot", "that plan is of another tune")
            return found

    # Changing --------------------------------------------------------------------------------------------------------

    def edit(self, version: str, edits: Sequence[Mapping[str, Any]], client: str) -> Done:
        """Make these edits, all or none, on the version the page saw. Raises Refusal or what the edits lead to."""
        with self._changing(version) as texts:
            state = self._base(texts, edits)
            new, words = edited_texts(state, edits)
            return self._write(state, texts, new, words, client, lambda: self.history.record(words, new))

    def look_ahead(self, edits: Sequence[Mapping[str, Any]]) -> Done:
        """What these edits would lead to; nothing is written."""
        with self.lock:
            state = self.state()
            new, words = edited_texts(state, edits)
            return Done(state, plan_state(self.folder, new, state), words)

    def undo(self, version: str, client: str) -> Done:
        """Take back the last change."""
        with self._changing(version) as texts:
            return self._step(texts, self.history.before_last(), "undo", client, self.history.step_back)

    def redo(self, version: str, client: str) -> Done:
        """Make the change undone last again."""
        with self._changing(version) as texts:
            return self._step(texts, self.history.after_next(), "redo", client, self.history.step_on)

    def keep(self, version: str, name: str) -> None:
        """Keep the lesson as it is under a name."""
        with self._changing(version):
            self.history.keep(name)

    def restore(self, version: str, name: str, client: str) -> Done:
        """Go back to what was kept under a name; one step of undo."""
        with self._changing(version) as texts:
            if name not in self.history.kept:
                raise Refusal("not_found", f'nothing is kept under the name "{name[:60]}"')
            new = self.history.kept[name][1]
            words = f'Went back to "{name}"'
            return self._write(self._current(), texts, new, words, client, lambda: self.history.record(words, new))

    # ---------------------------------------------------------------------------------------------------------------

    def _base(self, texts: Texts, edits: Sequence[Mapping[str, Any]]) -> PlanState:
        """The state edits start from. Where the texts on disk lead to none, what needs none can still be done."""
        try:
            return self.state()
        except PartwrightError:
            if self._state is None or any(edit["kind"] not in ("unpin_place", "settings") for edit in edits):
                raise
            return dataclasses.replace(self._state, texts=texts, version=self._version(texts))

    def _current(self) -> PlanState | None:
        try:
            return self.state()
        except PartwrightError:
            return self._state

    def _step(
        self, texts: Texts, step: tuple[Texts, Change] | None, verb: str, client: str, journal: Callable[[], None]
    ) -> Done:
        if step is None:
            raise Refusal("cannot", f"there is nothing to {verb}")
        new, change = step
        said = change.words[:1].lower() + change.words[1:]
        words = f"Took back: {said}" if verb == "undo" else f"Made again: {said}"
        return self._write(self._current(), texts, new, words, client, journal)

    def _write(
        self, before: PlanState | None, old: Texts, new: Texts, words: str, client: str, journal: Callable[[], None]
    ) -> Done:
        if any(len(text) > _LARGEST_TEXT for text in new.values() if text is not None):
            raise Refusal("too_large", "the lesson's text would grow beyond 2 MB")
        after = self._plan(new)
        for name in FILES:
            if new[name] != old[name]:
                _store(self.folder / name, new[name])
        if dict(new) != dict(old):
            journal()
        self._seen = after.version
        self._hold(after)
        done = Done(before, after, words)
        self._told(after.version, words, client)
        return done

    def _planned(self, texts: Texts) -> PlanState:
        try:
            state = self._plan(texts)
        except PartwrightError as error:
            self._fault = (self._version(texts), error)
            raise
        self._hold(state)
        return state

    def _plan(self, texts: Texts) -> PlanState:
        state = plan_state(self.folder, texts, self._state)
        return state if not self._tunes else dataclasses.replace(state, version=self._version(texts))

    def _version(self, texts: Texts) -> str:
        """Stands for the texts, and for the tune where that was replaced while we looked."""
        return texts_version(texts) + (f".{self._tunes}" if self._tunes else "")

    def _hold(self, state: PlanState) -> None:
        if self._state is None or self._state.job.tune is not state.job.tune:
            self._tune = _stamp(state.job.tune_path)
        if self._state is not None and self._state.job.tune is not state.job.tune:
            self._scores.clear()
        self._state, self._fault = state, None

    def _meet(self) -> Texts:
        """What lies on disk; if it was changed outside, the journal learns of it and the pages are told."""
        texts = read_texts(self.folder)
        if texts[LESSON_FILE] is None:
            raise Refusal("not_found", "this lesson is not there any more")
        replaced = self._state is not None and self._tune != _stamp(self._state.job.tune_path)
        if replaced:
            self._state, self._fault, self._facts = None, None, None
            self._scores.clear()
            self._others.clear()
            self._tunes += 1
        version = self._version(texts)
        if self._seen == version and (self.history.known or not self._holds):
            return texts
        if self._holds:
            self.history.meet(texts)
        elif self.history.path.exists():
            try:
                with self._writing(wait_seconds=0.0):
                    self.history.meet(texts)
            except PartwrightError:  # somebody is writing; the journal hears of it with the next change
                pass
        outside = self._seen not in (None, version)
        self._seen = version
        if outside:
            words = "The tune was replaced outside the studio" if replaced else "Changed outside the studio"
            self._told(version, words, "outside")
        return texts

    @contextmanager
    def _changing(self, version: str) -> Iterator[Texts]:
        """The texts on disk, locked, if they are still of this version."""
        with self.lock, self._writing(), self._holding():
            texts = self._meet()
            now = self._version(texts)
            if now != version:
                raise Refusal(
                    "changed",
                    "this lesson was changed in another window since this one last looked",
                    "It has been loaded again; please do it once more.",
                    version=now,
                )
            yield texts

    @contextmanager
    def _holding(self) -> Iterator[None]:
        self._holds = True
        try:
            yield
        finally:
            self._holds = False

    @contextmanager
    def _writing(self, wait_seconds: float = _LOCK_SECONDS) -> Iterator[None]:
        """The folder's lock, unless a build of our own holds it: a build writes nothing but build/."""
        with nullcontext() if self._building() else _patient_lock(self.folder, self._building, wait_seconds):
            yield


@contextmanager
def _patient_lock(folder: Path, building: Callable[[], bool], wait_seconds: float) -> Iterator[None]:
    """The folder's lock, waited for a little; taken as held where a build of our own has begun meanwhile."""
    deadline = time.monotonic() + wait_seconds
    while True:
        lock = folder_lock(folder, wait_seconds=min(0.2, wait_seconds))
        try:
            lock.__enter__()
        except PartwrightError:
            if building():
                yield
                return
            if time.monotonic() > deadline:
                raise
            continue
        break
    try:
        yield
    finally:
        lock.__exit__(None, None, None)


def _stamp(path: Path) -> tuple[int, int] | None:
    """Changes when a file does."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_size, found.st_mtime_ns


def _store(path: Path, text: str | None) -> None:
    if text is not None:
        write_atomic(path, text.encode("utf-8", "surrogateescape"))
        return
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise OutputError(
            f"cannot be removed ({reason})", "Check the folder's permissions.", place=Place(file=str(path))
        ) from error
