"""Routes of the lessons themselves: which there are, starting one, its document, its files."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from partwright.errors import PartwrightError
from partwright.lesson import Lesson, new_lesson, prepare_instrument, read_lesson, survey_lines, write_demo
from partwright.studio.addresses import file_url
from partwright.studio.calls import Call, Created, Row, read_query
from partwright.studio.documents import faulty_document, history_document, lesson_document
from partwright.studio.files_io import file_answer, find_file
from partwright.studio.refusal import Refusal
from partwright.studio.room import NAME_PATTERN, Studio, check_name
from partwright.studio.uploads import received

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

__all__ = ["ROWS", "lesson_answer"]

_TUNE_BYTES = 40_000_000
_TUNE_ENDINGS = (".musicxml", ".xml", ".mxl", ".mid", ".midi", ".abc")
_NAME = {"type": "string", "pattern": NAME_PATTERN, "maxLength": 60}
_CAUTIONS = (
    "Warm up, rest, and stop on pain: injuries from playing are common. A hand that hurts is right and the page wrong.",
    "Keep practice audio at a level you can talk over.",
    "Arranging or selling a tune under copyright needs its owner's leave; the rules differ from country to country.",
    "These are reminders, not medical or legal advice; local law and licensed professionals decide.",
)


def _studio(call: Call) -> dict[str, Any]:
    studio = call.studio
    return {
        "folder": studio.folder.name,
        "opened": studio.opened,
        "lessons": [_listed(studio.folder / name) for name in studio.names()],
        "choices": _choices(),
        "cautions": list(_CAUTIONS),
    }


def _listed(folder: Path) -> dict[str, Any]:
    try:
        lesson = read_lesson(folder)
    except PartwrightError as error:
        return {
            "name": folder.name,
            "title": folder.name,
            "composer": "",
            "instrument": "",
            "level": "",
            "fault": error.what,
        }
    return {
        "name": folder.name,
        "title": lesson.title or folder.name,
        "composer": lesson.composer,
        "instrument": lesson.instrument,
        "level": lesson.level,
        "fault": None,
    }


def _choices() -> dict[str, Any]:
    from partwright.instrument import instrument_names, load_instrument

    return {
        "instruments": [
            {"name": name, "words": name.replace("_", " "), "levels": list(load_instrument(name).levels)}
            for name in instrument_names()
        ],
        "endings": list(_TUNE_ENDINGS),
        "largest_upload_bytes": _TUNE_BYTES,
    }


def lesson_answer(studio: Studio, name: str) -> dict[str, Any]:
    """The document of a lesson, or what is wrong with it."""
    desk = studio.desk(name)
    with desk.lock:
        try:
            return lesson_document(desk, name, desk.state())
        except PartwrightError as error:
            return faulty_document(desk, name, desk.version(), error)


def _lesson(call: Call) -> dict[str, Any]:
    return lesson_answer(call.studio, call.lesson)


def _history(call: Call) -> dict[str, Any]:
    desk = call.desk
    with desk.lock:
        desk.look_outside()
        return history_document(desk)


def _demo(call: Call) -> Created:
    studio = call.studio
    name = check_name(call.query["name"])
    with tempfile.TemporaryDirectory() as temporary:
        write_demo(Path(temporary) / "demo")
        try:
            (studio.folder / name).lstat()
        except FileNotFoundError:
            write_demo(studio.folder / name)
        else:
            raise Refusal("cannot", f'there is something called "{name}" already', "Choose another name.")
    studio.hub.tell("lessons", {})
    return Created({"name": name, "survey": [], "lesson": lesson_answer(studio, name)})


def _in_key(call: Call) -> Created:
    """A lesson of the same tune in another key; this one stays as it is."""
    studio, query = call.studio, call.query
    name = check_name(query["name"])
    if (studio.folder / name).is_symlink():
        raise Refusal("cannot", f'there is something called "{name}" already', "Choose another name.")
    desk = call.desk
    with desk.lock:
        state = desk.state()
    lesson = replace(state.lesson, pins=(), tune_file="tune.musicxml", catalogue_id="", undo=())
    _, survey = new_lesson(
        studio.folder / name, state.job.tune_path, lesson, key=query["key"], octaves=query.get("octave", 0)
    )
    studio.hub.tell("lessons", {})
    return Created({"name": name, "survey": list(survey_lines(survey)), "lesson": lesson_answer(studio, name)})


async def _start(studio: Studio, request: Request) -> Response:
    from anyio import to_thread
    from starlette.responses import JSONResponse

    query = read_query(_START, request.query_params)
    suffix = Path(query["filename"]).suffix.casefold()
    if suffix not in _TUNE_ENDINGS:
        raise Refusal(
            "wrong_type", f'a tune cannot be told from the name "{query["filename"][:60]}"',
            f"Known endings are {', '.join(_TUNE_ENDINGS)}.",
        )  # fmt: skip
    check_name(query["name"])
    with tempfile.TemporaryDirectory() as temporary:
        path = Path(temporary) / f"{_stem(query['filename'])}{suffix}"
        await received(request, path, limit=_TUNE_BYTES)
        document = await to_thread.run_sync(_made, studio, query, path)
    studio.hub.tell("lessons", {})
    return JSONResponse(document, status_code=201)


def _stem(filename: str) -> str:
    """The name a tune without a title is called by: the file's, as far as any file system takes it."""
    kept = "".join(c for c in Path(filename.replace("\\", "/")).stem if c.isalnum() or c in " -_")
    return kept.strip()[:60] or "tune"


def _made(studio: Studio, query: dict[str, Any], path: Path) -> dict[str, Any]:
    settings = {key: query[key] for key in ("instrument", "level", "title") if query.get(key)}
    lesson = Lesson(**settings)
    prepare_instrument(lesson, Path(path.parent))
    if (studio.folder / query["name"]).is_symlink():
        raise Refusal("cannot", f'there is something called "{query["name"]}" already', "Choose another name.")
    _, survey = new_lesson(studio.folder / query["name"], path, lesson)
    return {
        "name": query["name"],
        "survey": list(survey_lines(survey)),
        "lesson": lesson_answer(studio, query["name"]),
    }


def _files(call: Call) -> dict[str, Any]:
    from partwright.studio.made_files import made_files

    folder = call.studio.lesson_folder(call.lesson)
    return {"files": [{**row, "url": file_url(call.lesson, row["path"])} for row in made_files(folder)]}


async def _file(studio: Studio, request: Request) -> Response:
    from anyio import to_thread

    folder = studio.lesson_folder(request.path_params["lesson"])
    file = await to_thread.run_sync(find_file, folder, request.path_params["path"])
    return file_answer(
        file,
        wanted=request.headers.get("range"),
        download=request.query_params.get("download") == "1",
        head=request.method == "HEAD",
    )


_START = Row(
    method="POST",
    path="/api/lessons",
    words="Start a lesson from a tune.",
    stream=_start,
    query={
        "name": _NAME,
        "filename": {"type": "string", "minLength": 1, "maxLength": 200},
        "instrument": {"type": "string", "enum": ["cello", "viola", "violin", "double_bass"]},
        "level": {"type": "string", "maxLength": 40},
        "title": {"type": "string", "maxLength": 200},
    },
    required=("name", "filename"),
    upload=_TUNE_BYTES,
    status=201,
)
ROWS = (
    Row(method="GET", path="/api/studio", words="The working folder and its lessons.", answer=_studio),
    _START,
    Row(
        method="POST",
        path="/api/lessons/demo",
        words="Start the demonstration lesson.",
        answer=_demo,
        query={"name": _NAME},
        required=("name",),
        status=201,
    ),
    Row(
        method="POST",
        path="/api/lessons/{lesson}/in_key",
        words="Start a lesson of the same tune in another key.",
        answer=_in_key,
        query={
            "name": _NAME,
            "key": {"type": "string", "minLength": 1, "maxLength": 20},
            "octave": {"type": "integer", "minimum": -4, "maximum": 4},
        },
        required=("name", "key"),
        status=201,
    ),
    Row(method="GET", path="/api/lessons/{lesson}", words="A lesson.", answer=_lesson),
    Row(method="GET", path="/api/lessons/{lesson}/history", words="Every change, newest first.", answer=_history),
    Row(method="GET", path="/api/lessons/{lesson}/files", words="What build/ holds.", answer=_files),
    Row(
        method="GET",
        path="/api/lessons/{lesson}/file/{path:path}",
        words="A file of build/ or takes/, or the backing.",
        stream=_file,
        query={"download": {"type": "string", "enum": ["0", "1"]}},
        kind="application/octet-stream",
    ),
)
