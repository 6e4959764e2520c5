"""From a lesson to what its report needs: which bars each drill is for, and the bars of the two spots drawn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from partwright.checking.marked import marked_image
from partwright.checking.take.note import TakeCheck
from partwright.checking.take.page import take_page
from partwright.engraving import EngravingProcess, engrave_excerpt_svg
from partwright.errors import EngravingError
from partwright.fingering import FingeringPlan
from partwright.lesson import Prepared, Teaching, plan_marks

__all__ = ["drill_bars", "phrase_ends", "take_report"]

_EXCERPT_MM = 130.0


def drill_bars(teaching: Teaching | None) -> tuple[tuple[str, frozenset[int]], ...]:
    """Each drill's id with the bars (indices) its spot lies in, returns included."""
    if teaching is None:
        return ()
    order = {bar.number: bar.index for bar in teaching.part.bars}
    bars: dict[int, frozenset[int]] = {}
    for spot in teaching.spots:
        first, last = order[spot.bars[0]], order[spot.bars[1]]
        bars[spot.rank] = frozenset({*range(first, last + 1), *(order[b] for b in spot.also_bars if b in order)})
    return tuple((drill.id, bars.get(drill.spot, frozenset())) for drill in teaching.drills)


def phrase_ends(teaching: Teaching | None) -> tuple[tuple[str, str], ...]:
    """Ids of the first and last note of each phrase of the lesson."""
    if teaching is None:
        return ()
    return tuple((phrase.first_note_id, phrase.last_note_id) for phrase in teaching.outline.phrases)


def take_report(
    job: Prepared,
    check: TakeCheck,
    *,
    plan: FingeringPlan | None = None,
    teaching: Teaching | None = None,
    earlier: Sequence[Mapping[str, object]] | None = None,
    drill_links: Mapping[str, str] | None = None,
) -> str:
    """The page of a take of this lesson. `drill_links`: where the page finds each drill, by id."""
    words = {drill.id: f"Drill {drill.id}: {drill.title}" for drill in teaching.drills} if teaching else {}
    marks = plan_marks(job, plan) if plan is not None else ()
    with EngravingProcess() as process:

        def excerpt(first: int, last: int, ids: Sequence[str]) -> str | None:
            try:
                svg = engrave_excerpt_svg(
                    job.tune,
                    marks,
                    first_bar_index=max(0, first - 1),
                    last_bar_index=min(len(job.part.bars) - 1, last + 1),
                    width_mm=_EXCERPT_MM,
                    instrument=job.instrument,
                    process=process,
                )
            except EngravingError:
                return None
            return marked_image(svg, ids)

        return take_page(
            job.credits.title or job.tune_path.stem,
            check,
            earlier=earlier,
            drill_words=words,
            drill_links=drill_links,
            excerpt=excerpt,
        )
