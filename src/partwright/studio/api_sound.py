"""Routes of what is heard: sounds to play along with, and when every note of them sounds."""

from __future__ import annotations

from typing import Any

from partwright.studio.addresses import file_url
from partwright.studio.calls import Call, Row
from partwright.studio.plan_state import PlanState
from partwright.studio.refusal import Refusal
from partwright.studio.shapes import PERCENT, WHAT
from partwright.studio.sound_work import sound_path, timing_of

__all__ = ["ROWS"]

_BACKING_LOWEST = 50.0


def _sound(call: Call) -> dict[str, Any]:
    desk = call.desk
    what, percent = call.query["what"], float(call.query.get("percent", 100))
    if what == "backing" and percent < _BACKING_LOWEST:
        raise Refusal("cannot", "a recording is not stretched below 50 %: it would not sound", "Choose 50 % or more.")
    with desk.lock:
        state = desk.state()
        path = sound_path(desk.folder, state.lesson, what, percent)
        accompanied = what != "accompaniment" or _has_accompaniment(state)
    if not accompanied:
        raise Refusal(
            "cannot", "there is no accompaniment to hear", "The tune has no chord symbols and no other parts."
        )
    if not path.is_file():
        order = {"kind": "sound", "what": what, "percent": percent}
        return {"ready": False, "job": call.studio.jobs.start(call.lesson, desk.folder, order).document()}
    relative = path.relative_to(desk.folder).as_posix()
    timing = _timing_document(state, percent) if what != "backing" else {"notes": [], "bars": [], "tempo_qpm": None}
    return {"ready": True, "what": what, "percent": percent, "url": file_url(call.lesson, relative), **timing}


def _has_accompaniment(state: PlanState) -> bool:
    from partwright.lesson import lesson_band
    from partwright.sound import other_voices

    return bool(state.part.chord_symbols or other_voices(state.job.tune) or lesson_band(state.job))


def _timing(call: Call) -> dict[str, Any]:
    desk = call.desk
    with desk.lock:
        state = desk.state()
        return {"version": state.version, **_timing_document(state, float(call.query.get("percent", 100)))}


def _timing_document(state: PlanState, percent: float) -> dict[str, Any]:
    timing = timing_of(state.part, state.lesson, percent)
    index = {note.id: note.index for note in state.part.notes}
    return {
        "percent": percent,
        "tempo_qpm": round(timing.tempo_qpm, 3),
        "count_in_s": round(timing.count_in_seconds, 6),
        "seconds": round(timing.seconds, 6),
        "notes": [
            {
                "n": index[note.id],
                "bar": note.bar,
                "start_s": round(note.start_seconds, 6),
                "end_s": round(note.end_seconds, 6),
                "turn": note.pass_number,
            }
            for note in timing.notes
        ],
        "bars": [
            {
                "bar_index": bar.bar_index,
                "bar": bar.bar,
                "start_s": round(bar.start_seconds, 6),
                "end_s": round(bar.end_seconds, 6),
                "turn": bar.pass_number,
            }
            for bar in timing.bars
        ],
    }


ROWS = (
    Row(
        method="GET",
        path="/api/lessons/{lesson}/sound",
        words="A sound to play along with, or the job that makes it.",
        answer=_sound,
        query={"what": WHAT, "percent": PERCENT},
        required=("what",),
    ),
    Row(
        method="GET",
        path="/api/lessons/{lesson}/timing",
        words="When every note sounds.",
        answer=_timing,
        query={"percent": PERCENT},
    ),
)
