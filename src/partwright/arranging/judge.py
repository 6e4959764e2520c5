"""The level judge: the lowest level whose limits hold a whole part, proven by the plan."""

from __future__ import annotations

from partwright.fingering import plan_fingering
from partwright.instrument import Instrument
from partwright.score import Part

__all__ = ["judge_level"]


def judge_level(part: Part, instrument: Instrument) -> str | None:
    """The name of the lowest level, in the order of the instrument's table, at which no limit has to give way.

    None where even the highest one does not hold the part. Raises NoPlan where not a single note can be played.
    """
    for name in instrument.levels:
        plan = plan_fingering(part, instrument, level=name)
        if not plan.relaxed and not plan.unplayable:
            return name
    return None
