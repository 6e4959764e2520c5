"""What the hand is called at each event: its frame and the name of its shape.

The search knows one opened hand where a player knows two: opened back from a frame, or forward from the one below.
And it keeps the hand open as long as that costs nothing, where a player would call it closed again. Here each opened
hand gets the name a player would give it: forward if a neighbouring closed hand has the first finger where it is; and
closed again where no note within reach needs the opening.
"""

from __future__ import annotations

import numpy as np

from partwright.fingering.hands import NECK
from partwright.fingering.planning import Planning

__all__ = ["hand_labels"]

_WITHIN_EVENTS = 3  # an opening further away than this is not what the hand is open for


def hand_labels(planning: Planning) -> dict[int, tuple[int, str]]:
    """Frame and shape name for every variable whose hand is an opened one."""
    hands, lattice, choice = planning.maker.hands, planning.lattice, planning.solution.choice
    closed = next((s for s in planning.instrument.shapes if s.zone == "neck" and not s.extension), None)
    forward = next((s for s in planning.instrument.shapes if s.extension == "forward"), None)
    if closed is None:
        return {}
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
            frame = int(hands.frame[hand])
            around = [hand_at[k] for k in (start - 1, stop + 1) if 0 <= k < len(order)]
            beside = [int(hands.frame[h]) for h in around if hands.zone[h] == NECK and not hands.opened[h]]
            is_forward = (
                forward is not None
                and forward.name in planning.level.shapes
                and forward.frame_min <= frame - 1 <= forward.frame_max
                and (beside[0] == frame - 1 if beside else frame - 1 == 2)
            )
            named = (frame - 1, forward.name) if is_forward and forward else (frame, hands.shapes[hand].name)
            fingers = [lattice.columns[v].finger[choice[v]] for v in order[start : stop + 1]]
            needs = [_needs_opening(f, is_forward) for f in fingers]
            for k in range(start, stop + 1):
                near = range(max(0, k - start - _WITHIN_EVENTS), min(len(needs), k - start + _WITHIN_EVENTS + 1))
                if any(needs[n] for n in near):
                    labels.setdefault(order[k], named)
                elif closed.frame_min <= named[0] <= closed.frame_max:
                    labels.setdefault(order[k], (named[0], closed.name))
        start = stop + 1
    return labels


def _needs_opening(fingers: np.ndarray, is_forward: bool) -> bool:
    """Opened back, the first finger lies where a closed hand has none; opened forward, the others do."""
    stopped = fingers[fingers > 0]
    return bool((stopped > 1).any() if is_forward else (stopped == 1).any())
