"""Building a lesson: each step whose inputs have changed, in order, and a word on why each ran or was fresh.

A kill at any moment leaves whole files: each is written beside its place and renamed, and the manifest that vouches
for a step is written after its files.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path

from partwright.building.manifest_io import Manifest, StepRecord, read_manifest, write_manifest
from partwright.building.step import Ran, Step
from partwright.building.steps import STEPS
from partwright.building.workshop import BUILD_FOLDER, Workshop
from partwright.errors import InputError, OutputError, PartwrightError, Place
from partwright.files import content_hash, file_hash, write_atomic
from partwright.lesson import folder_lock, read_lesson
from partwright.nearest import nearest_sentence

__all__ = ["build_lesson", "choose_steps"]

Listener = Callable[[Step, int, int], None]


def build_lesson(
    folder: Path,
    *,
    only: Iterable[str] = (),
    steps: Sequence[Step] = STEPS,
    edition: str = "",
    build_folder: Path | None = None,
    locked: bool = False,
    started: Listener | None = None,
    finished: Callable[[Ran], None] | None = None,
) -> tuple[Ran, ...]:
    """Make everything in the lesson that is out of date, or only the steps named, with what they need.

    `edition` is printed at the foot of its pages, and `build_folder` is where the products go instead of
    LESSON/build, both for a release; `locked` says that the caller holds the lesson's lock. `started` is called with
    (step, its number from 1, how many there are), `finished` with how it went. Raises
    LessonError where another process holds the folder; InputError for what is wrong in it; what was finished stays.
    """
    lesson = replace(read_lesson(folder), edition=edition)
    with nullcontext() if locked else folder_lock(folder):
        workshop = Workshop(folder, lesson, build_folder)
        chosen = [step for step in choose_steps(steps, only) if step.wanted is None or step.wanted(workshop)]
        _make_folder(workshop.build_folder)
        _sweep(workshop.build_folder)
        manifest = read_manifest(workshop.build_folder)
        if not only:
            kept = [*chosen, *(step for step in steps if step.on_request)]
            manifest = _forget_unknown(manifest, kept, workshop.build_folder)
        done: list[Ran] = []
        for number, step in enumerate(chosen, start=1):
            if started is not None:
                started(step, number, len(chosen))
            ran, manifest = _run(step, workshop, manifest)
            done.append(ran)
            if finished is not None:
                finished(ran)
        return tuple(done)


def choose_steps(steps: Sequence[Step], only: Iterable[str]) -> tuple[Step, ...]:
    """The steps named and every step they need, in the table's order; for no name all but those made on request.

    Raises InputError for an unknown name.
    """
    by_name = {step.name: step for step in steps}
    wanted: set[str] = set()
    names = list(only)
    if not names:
        return tuple(step for step in steps if not step.on_request)
    while names:
        name = names.pop()
        if name not in by_name:
            raise InputError(f'there is no product "{name}"', nearest_sentence(name, by_name))
        if name not in wanted:
            wanted.add(name)
            names += [needed[5:] for needed in by_name[name].inputs if needed.startswith("step:")]
    return tuple(step for step in steps if step.name in wanted)


def _run(step: Step, workshop: Workshop, manifest: Manifest) -> tuple[Ran, Manifest]:
    began = time.monotonic()
    inputs = _inputs(step, workshop, manifest)
    record = manifest.steps.get(step.name)
    why = _why(record, inputs, workshop.build_folder)
    if record is not None and not why:
        return _ran(step, record, made=False, why="nothing it is made from has changed", began=began), manifest
    try:
        made = step.make(workshop)
    except PartwrightError as error:
        raise error.at(Place(file=str(workshop.folder))) from error
    for name, content in made.files.items():
        path = workshop.build_folder / name
        _make_folder(path.parent)
        if isinstance(content, bytes) and (not path.is_file() or path.read_bytes() != content):
            write_atomic(path, content)
    fresh = StepRecord(
        inputs=inputs,
        files={
            name: content_hash(content) if isinstance(content, bytes) else file_hash(content)
            for name, content in made.files.items()
        },
        remarks=made.remarks,
    )
    for name in set(record.files if record is not None else ()) - set(fresh.files):
        _remove(workshop.build_folder / name)
    manifest = manifest.with_step(step.name, fresh)
    write_manifest(workshop.build_folder, manifest)
    return _ran(step, fresh, made=True, why=why, began=began), manifest


def _ran(step: Step, record: StepRecord, *, made: bool, why: str, began: float) -> Ran:
    return Ran(
        step=step.name,
        words=step.words,
        made=made,
        why=why,
        files=tuple(f"{BUILD_FOLDER}/{name}" for name in record.files),
        seconds=time.monotonic() - began,
        remarks=record.remarks,
    )


def _inputs(step: Step, workshop: Workshop, manifest: Manifest) -> dict[str, str]:
    found = {"way of making": f"{step.version} {workshop.fingerprint('program')}"}
    for name in step.inputs:
        if name.startswith("step:"):
            files = manifest.steps[name[5:]].files
            found[name] = content_hash(*(f"{file} {files[file]}" for file in sorted(files)))
        else:
            found[name] = workshop.fingerprint(name)
    return found


def _why(record: StepRecord | None, inputs: Mapping[str, str], build_folder: Path) -> str:
    """Why a step must run; empty where it is fresh."""
    if record is None:
        return "made for the first time"
    changed = [name for name, value in inputs.items() if record.inputs.get(name) != value]
    changed += [name for name in record.inputs if name not in inputs]
    if "way of making" in changed:
        return "the program has changed"
    if changed:
        words = [f"what {name[5:]} made" if name.startswith("step:") else f"the {name}" for name in changed]
        return f"{' and '.join(words)} changed"
    for name, expected in record.files.items():
        try:
            if file_hash(build_folder / name) != expected:
                return f"{name} was changed by hand"
        except OSError:
            return f"{name} is missing"
    return ""


def _forget_unknown(manifest: Manifest, steps: Sequence[Step], build_folder: Path) -> Manifest:
    """Files of steps that are no longer wanted are taken away, so that build/ holds what the lesson makes."""
    for name in [name for name in manifest.steps if name not in {step.name for step in steps}]:
        for file in manifest.steps[name].files:
            _remove(build_folder / file)
        manifest = manifest.without_step(name)
        write_manifest(build_folder, manifest)
    return manifest


def _sweep(build_folder: Path) -> None:
    """Take away what a killed build left half written; under the lock nothing else can be writing here."""
    for path in build_folder.rglob(".*.part"):
        _remove(path)


def _remove(path: Path) -> None:
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise OutputError(
            f"is out of date and cannot be removed ({reason})", "Remove it.", place=Place(file=str(path))
        ) from error


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise OutputError(
            f"cannot be made ({reason})", "Check the lesson's folder.", place=Place(file=str(folder))
        ) from error
