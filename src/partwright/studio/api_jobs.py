"""Routes of work that takes time."""

from __future__ import annotations

from typing import Any

from partwright.arranging import parse_key
from partwright.building import STEPS, Workshop, choose_steps
from partwright.studio.calls import Call, Created, Row
from partwright.studio.refusal import Refusal
from partwright.studio.shapes import JOB_ORDER
from partwright.studio.sound_work import sound_path
from partwright.studio.takes_io import take_path

__all__ = ["ROWS"]


def _products(call: Call) -> dict[str, Any]:
    desk = call.desk
    with desk.lock:
        workshop = Workshop(desk.folder, desk.state().lesson)
    return {
        "products": [
            {
                "name": step.name,
                "words": step.words,
                "on_request": step.on_request,
                "wanted": step.wanted is None or bool(step.wanted(workshop)),
            }
            for step in STEPS
        ]
    }


def _start(call: Call) -> Created:
    order = dict(call.body)
    folder = call.studio.lesson_folder(call.lesson)
    if order["kind"] == "build":
        choose_steps(STEPS, order.get("only", ()))
    elif order["kind"] == "release":
        _give_id(call)
    elif order["kind"] == "keys":
        if order.get("near", "backing") != "backing":
            parse_key(order["near"])
    elif order["kind"] == "check":
        take_path(folder, order["take"])
    else:
        with call.desk.lock:
            sound_path(folder, call.desk.state().lesson, order["what"], order["percent"])
        if order["what"] == "backing" and order["percent"] < 50:
            raise Refusal("cannot", "a recording is not stretched below 50 %: it would not sound")
    return Created({"job": call.studio.jobs.start(call.lesson, folder, order).document()}, 202)


def _give_id(call: Call) -> None:
    """A lesson that is released has an id; where it has none, it gets one of its title."""
    from partwright.catalogue.ids_io import slug

    desk = call.desk
    with desk.lock:
        state = desk.state()
        if not state.lesson.catalogue_id:
            name = slug(state.job.credits.title or call.lesson)
            desk.edit(state.version, [{"kind": "catalogue", "values": {"id": name}}], "")


def _jobs(call: Call) -> dict[str, Any]:
    return {"jobs": [job.document() for job in call.studio.jobs.all()]}


def _job(call: Call) -> dict[str, Any]:
    return {"job": call.studio.jobs.get(call.path["job"]).document()}


def _cancel(call: Call) -> dict[str, Any]:
    return {"job": call.studio.jobs.cancel(call.path["job"]).document()}


ROWS = (
    Row(
        method="GET", path="/api/lessons/{lesson}/products", words="What a build can make.", answer=_products
    ),
    Row(
        method="POST", path="/api/lessons/{lesson}/jobs", words="Begin some work.", answer=_start, body=JOB_ORDER,
        status=202,
    ),
    Row(method="GET", path="/api/jobs", words="All work of this run.", answer=_jobs),
    Row(method="GET", path="/api/jobs/{job}", words="One piece of work.", answer=_job),
    Row(method="DELETE", path="/api/jobs/{job}", words="End it; what was finished stays.", answer=_cancel),
)  # fmt: skip
