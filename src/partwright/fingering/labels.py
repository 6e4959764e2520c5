"""What the hand is called at each event: its frame and the name of its shape.

The search knows one opened hand where a player knows two: opened back from a frame, or forward from the one below.
And it keeps the hand open as long as that costs nothing, where a player would call it closed again. Here each opened
hand gets the name a player would give it: forward if a neighbouring closed hand has the first finger where it is; and
closed again where no note within reach needs the opening.
"""

from __future__ import annotations

from collections.abc import Sequence

from partwright.fingering.hands import NECK
from partwright.fingering.planning import Planning
from partwright.instrument import HandShape, Level

__all__ = ["hand_labels"]

_FIRST_POSITION = 2
_WITHIN_EVENTS = 3  # an opening further away than this is not what the hand is open for


def hand_labels(planning: Planning) -> dict[int, tuple[int, str]]:
    """Frame and shape name for every variable whose hand is an opened one."""
    hands, lattice, choice = planning.maker.hands, planning.lattice, planning.solution.choice
    order = [planning.variable_of[event] for event in planning.walk.order if event in planning.variable_of]
    hand_at = [int(lattice.columns[v].hand[choice[v]]) for v in order]
    labels: dict[int, tuple[int, str]] = {}
    start = 0
    while start < len(order):
        hand = hand_at[start]
        stop = start
        while stop + 1 < len(order) and hand_at[stop + 1] == hand:
            stop += 1
        if hands.opened[hand]:
            around = [hand_at[k] for k in (start - 1, stop + 1) if 0 <= k < len(order)]
            beside = [int(hands.frame[h]) for h in around if hands.zone[h] == NECK and not hands.opened[h]]
            shape, frame = _name(hands.names[hand], beside, planning.level)
            closed = [_closed(planning, v, frame) for v in order[start : stop + 1]]
            for k in range(start, stop + 1):
                near = range(max(0, k - start - _WITHIN_EVENTS), min(len(closed), k - start + _WITHIN_EVENTS + 1))
                instead = closed[k - start]
                if instead is None or any(closed[n] is None for n in near):
                    labels.setdefault(order[k], (frame, shape.name))
                else:
                    labels.setdefault(order[k], (frame, instead.name))
        start = stop + 1
    return labels


def _name(names: Sequence[tuple[HandShape, int]], beside: Sequence[int], level: Level) -> tuple[HandShape, int]:
    """Of the names an opened hand has, the one the level allows and the closed hand beside it suggests."""
    allowed = [(s, f) for s, f in names if s.name in level.shapes and level.frame_min <= f <= level.frame_max]
    for shape, frame in allowed:
        if shape.extension == "forward" and (beside[0] == frame if beside else frame == _FIRST_POSITION):
            return shape, frame
    return (allowed or names)[0]


def _closed(planning: Planning, variable: int, frame: int) -> HandShape | None:
    """The closed shape that stops this event from the same frame, if there is one."""
    column, state = planning.lattice.columns[variable], planning.solution.choice[variable]
    stopped = [(int(f), int(s)) for f, s in zip(column.finger[state], column.stop[state], strict=True) if f > 0]
    fitting = [
        shape
        for shape in planning.instrument.shapes
        if shape.zone == "neck"
        and not shape.extension
        and shape.frame_min <= frame <= shape.frame_max
        and all(finger in shape.offsets and frame + shape.offsets[finger] == place for finger, place in stopped)
    ]
    return next((shape for shape in fitting if shape.name in planning.level.shapes), next(iter(fitting), None))
