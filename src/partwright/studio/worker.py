"""A worker of the studio: one order on standard input, how it goes on standard output, one JSON line each.

Run as `python -m partwright.studio.worker`; the studio ends it when it is no longer wanted.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from partwright.errors import PartwrightError
from partwright.studio.refusal import error_document

__all__: list[str] = []

Tell = Callable[[Mapping[str, Any]], None]


def main() -> int:
    """Do what the order says."""
    answers = os.fdopen(os.dup(1), "wb")
    quiet = os.open(os.devnull, os.O_RDWR)
    os.dup2(quiet, 1)  # what a library prints must not get between the answers
    line = sys.stdin.buffer.readline()

    def tell(document: Mapping[str, Any]) -> None:
        answers.write((json.dumps(document, allow_nan=False) + "\n").encode("ascii"))
        answers.flush()

    try:
        order = json.loads(line)
        result = _DOERS[order["kind"]](Path(order["folder"]), order, tell)
        tell({"result": result})
    except PartwrightError as error:
        tell({"error": error_document(error)})
    except BrokenPipeError:
        return 1
    except Exception as error:  # the page gets a sentence, whatever happened
        words = f"This could not be done, through a fault in the program ({type(error).__name__})."
        tell({"error": {"code": "fault", "words": words, "what": words, "todo": "", "place": {}}})
        return 1
    return 0


def _build(folder: Path, order: Mapping[str, Any], tell: Tell) -> dict[str, Any]:
    from partwright.building import Ran, Step, build_lesson

    count = 0

    def started(step: Step, number: int, total: int) -> None:
        nonlocal count
        count = total
        tell({"words": step.words, "done": number - 1, "total": total})

    def finished(ran: Ran) -> None:
        tell({"words": f"{ran.words}: {ran.why}"})

    ran = build_lesson(folder, only=order.get("only", ()), started=started, finished=finished)
    tell({"words": "all is made", "done": count, "total": count})
    return {
        "steps": [
            {
                "name": r.step,
                "words": r.words,
                "made": r.made,
                "why": r.why,
                "files": list(r.files),
                "seconds": round(r.seconds, 3),
                "remarks": list(r.remarks),
            }
            for r in ran
        ]
    }


def _release(folder: Path, order: Mapping[str, Any], tell: Tell) -> dict[str, Any]:
    import datetime

    from partwright.building import Ran, Step
    from partwright.catalogue import release

    def started(step: Step, number: int, total: int) -> None:
        tell({"words": step.words, "done": number - 1, "total": total})

    def finished(ran: Ran) -> None:
        tell({"words": f"{ran.words}: {ran.why}"})

    done = release(
        folder,
        today=datetime.datetime.now().astimezone().date(),
        even_if_unchanged=bool(order.get("anyway", False)),
        started=started,
        finished=finished,
    )
    return {
        "number": done.edition.number,
        "imprint": done.edition.imprint,
        "changes": list(done.edition.changes),
        "gaps": [str(gap) for gap in done.gaps],
        "mended": [erratum.words for erratum in done.mended],
        "unmended": [erratum.words for erratum in done.unmended],
        "remarks": list(done.remarks),
    }


def _keys(folder: Path, order: Mapping[str, Any], tell: Tell) -> dict[str, Any]:
    from partwright.studio.keys_work import rank

    return rank(folder, order.get("near"), tell)


def _check(folder: Path, order: Mapping[str, Any], tell: Tell) -> dict[str, Any]:
    from partwright.studio.check_work import check_one

    return check_one(folder, str(order["take"]), tell)


def _sound(folder: Path, order: Mapping[str, Any], tell: Tell) -> dict[str, Any]:
    from partwright.studio.sound_work import make_sound

    return make_sound(folder, str(order["what"]), float(order["percent"]), tell)


_DOERS: Mapping[str, Callable[[Path, Mapping[str, Any], Tell], dict[str, Any]]] = {
    "build": _build,
    "release": _release,
    "keys": _keys,
    "check": _check,
    "sound": _sound,
}

if __name__ == "__main__":
    raise SystemExit(main())
