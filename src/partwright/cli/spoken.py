"""What the checks of a recorded lesson have in common: transcripts, the check of the words, bars drawn for a page."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from partwright.checking.narration import NarrationCheck, Transcript
    from partwright.lesson import Prepared

__all__ = ["TAKES", "check_words", "clock", "drawn_bars", "takes_transcripts", "write_told"]

TAKES = "takes"
_TRANSCRIPTS = (".vtt", ".srt", ".sbv", ".txt")
_EXCERPT_MM = 150


def takes_transcripts(folder: Path) -> list[Path]:
    """The transcripts in a lesson folder's takes/, by name; none where there is no such folder."""
    takes = folder / TAKES
    return sorted(p for p in takes.glob("*") if p.suffix.casefold() in _TRANSCRIPTS) if takes.is_dir() else []


def check_words(job: Prepared, transcript: Transcript) -> NarrationCheck:
    """What is said against score, plan and strokes; where the bow pins contradict each other, that is said."""
    from partwright.checking.narration import check_narration
    from partwright.cli.output import remark
    from partwright.cli.read_job import plan_prepared
    from partwright.errors import PinConflict
    from partwright.lesson import lesson_bowing

    plan = plan_prepared(job)
    try:
        bowing = lesson_bowing(job, plan)
    except PinConflict as conflict:
        bowing = None
        remark(f"remark: strokes are checked by the printed signs only: {conflict}")
    return check_narration(transcript, job.part, job.instrument, plan=plan, bowing=bowing, sections=job.lesson.sections)


@contextmanager
def drawn_bars(job: Prepared) -> Iterator[Callable[[int, int], str | None]]:
    """Draws bars (first and last bar index) with the plan's marks as SVG; None where they cannot be drawn."""
    from functools import cache

    from partwright.cli.read_job import plan_prepared
    from partwright.engraving import EngravingProcess, engrave_excerpt_svg
    from partwright.errors import EngravingError
    from partwright.lesson import plan_marks

    with EngravingProcess() as process:
        marks = plan_marks(job, plan_prepared(job))

        @cache
        def excerpt(first: int, last: int) -> str | None:
            try:
                return engrave_excerpt_svg(
                    job.tune, marks, first_bar_index=first, last_bar_index=last, width_mm=_EXCERPT_MM,
                    instrument=job.instrument, process=process,
                )  # fmt: skip
            except EngravingError:
                return None

        yield excerpt


def write_told(target: str | None, make: Callable[[], str]) -> None:
    """Write a file that was asked for, made only then, and say so."""
    from partwright.cli.output import remark
    from partwright.files import write_atomic

    if target is not None:
        write_atomic(Path(target), make())
        remark(f"{target}: written.")


def clock(seconds: float | None) -> str:
    """Minutes and seconds before a place in a line of findings; nothing where there is no time.

    >>> clock(222.4), clock(None)
    ('3:42  ', '')
    """
    return "" if seconds is None else f"{int(seconds) // 60}:{int(seconds) % 60:02}  "
