"""When each note begins, to a few milliseconds: all beginnings of a stretch chosen together.

Near each beginning found by the walk, every moment is tried. A choice is worth what the pitches on both sides of it
say (each note's log probability summed over its span), what begins there (onset strength), and how well the lengths
agree with the tempo around; the best row of choices is found exactly (dynamic programming over neighbours).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from partwright.checking.take.events import ScoreEvent

__all__ = ["FINE_HOP", "FINE_S", "at_the_foot", "place_onsets"]

FINE_HOP = 128
FINE_S = FINE_HOP / 22_050
Floats = npt.NDArray[np.float32]

_WEIGHT = 0.0625  # of a fine frame: windows overlap
_FLOOR = -3.0
_REST_FLOOR = -0.8
_ONSET_WORTH = 2.2
_LENGTH_SPREAD = 0.35  # of a note's length against its written one, in natural logarithms
_SHORTEST_S = 0.035
_FOOT = -5.5
_FOOT_ABOVE = 2.0
_FOOT_FRAMES = int(0.15 / FINE_S)


def place_onsets(
    events: Sequence[ScoreEvent],
    numbers: Sequence[int],
    coarse_s: Sequence[float],
    end_s: float,
    heard: Floats,
    columns: npt.NDArray[np.intp],
    strength: Floats,
    *,
    reach_s: float = 0.25,
    step: int = 1,
) -> list[float]:
    """Onsets in seconds of the events `numbers`, and where the last one ends: one more than there are events.

    Looked for `reach_s` around the coarse ones, every `step` fine frames. `heard`: log probabilities by fine
    frame (frames, sets); `columns`: each event's set; `strength`: from 0 to 1.
    """
    count = len(numbers)
    frames = len(heard)
    ratios = _tempo_ratios(events, numbers, coarse_s, end_s)
    windows = []
    for place in range(count + 1):
        at = coarse_s[place] if place < count else end_s
        low = max(0, int((at - reach_s) / FINE_S)) // step * step
        high = min(frames - 1, int((at + reach_s) / FINE_S))
        windows.append(np.arange(min(low, high), high + 1, step))
    best = np.zeros(len(windows[0]), dtype=np.float64) + _ONSET_WORTH * strength[windows[0]]
    came: list[npt.NDArray[np.intp]] = []
    for place in range(count):
        event = events[numbers[place]]
        begin, end = windows[place], windows[place + 1]
        low, high = int(begin[0]), int(end[-1]) + 1
        # Half a window of the note's own pitch decides; a rest after it may sound like anything.
        floor = _REST_FLOOR if event.rest_s > 0.05 or event.short else _FLOOR
        worth = np.maximum(heard[low:high, columns[numbers[place]]], floor).astype(np.float64) * _WEIGHT
        total = np.concatenate([[0.0], np.cumsum(worth)])
        gain = total[end - low][None, :] - total[begin - low][:, None]
        length = (end[None, :] - begin[:, None]) * FINE_S
        wanted = max(0.04, (event.seconds + event.rest_s) * ratios[place])
        spread = _LENGTH_SPREAD if not event.held else 1.0
        ratio = np.log(np.maximum(length, _SHORTEST_S) / wanted) / spread
        gain -= 0.5 * ratio * ratio
        gain[length < _SHORTEST_S] = -60.0
        both = best[:, None] + gain
        from_row = np.argmax(both, axis=0)
        came.append(from_row)
        best = both[from_row, np.arange(both.shape[1])]
        if place + 1 < count:
            best = best + _ONSET_WORTH * strength[end]
    at = int(np.argmax(best))
    chosen = [int(windows[count][at])]
    for place in range(count - 1, -1, -1):
        at = int(came[place][at])
        chosen.append(int(windows[place][at]))
    return [frame * FINE_S for frame in reversed(chosen)]


def at_the_foot(onset_s: float, heard: Floats) -> float:
    """The onset moved back to where the note's pitch begins to be heard at all: a bowed sound swells.

    `heard`: log probability of its pitch by fine frame, shape (frames,).
    """
    frame = round(onset_s / FINE_S)
    if float(heard[frame : frame + 12].max(initial=-9.0)) < -1.5:
        return onset_s  # the note itself is not heard: nothing to go by
    # A neighbouring pitch, shaken by vibrato, is half heard all along: the foot stands above that.
    before = heard[max(0, frame - 2 * _FOOT_FRAMES) : max(1, frame - 6)]
    foot = max(_FOOT, float(np.percentile(before, 60)) + _FOOT_ABOVE)
    first = frame
    while first > max(0, frame - _FOOT_FRAMES) and heard[first - 1] > foot:
        first -= 1
    if first in (frame, frame - _FOOT_FRAMES):
        return onset_s  # it begins at once, or what is heard before is akin to it and tells nothing
    return min(onset_s, first * FINE_S)


def _tempo_ratios(
    events: Sequence[ScoreEvent], numbers: Sequence[int], coarse_s: Sequence[float], end_s: float
) -> list[float]:
    """Played over written seconds around each event: the median over the five on either side."""
    starts = [*coarse_s, end_s]
    ratio = [
        (starts[i + 1] - starts[i]) / max(0.03, events[n].seconds + events[n].rest_s) for i, n in enumerate(numbers)
    ]
    found = []
    for place in range(len(ratio)):
        around = sorted(r for r in ratio[max(0, place - 5) : place + 6] if r > 0.05)
        found.append(min(4.0, max(0.25, around[len(around) // 2])) if around else 1.0)
    return found
