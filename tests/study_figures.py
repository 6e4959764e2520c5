"""Study-like lines for any bowed instrument: figures of technical studies walked through a key, from a seed."""

from __future__ import annotations

import numpy as np

__all__ = ["study"]

_MAJOR, _MINOR = (0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 8, 11)
_TONICS = (0, 7, 2, 9, 4, 5, 10, 3, 8, 0, 7, 2, 5, 10)  # pitch classes, the keys of most studies more often
# Scale steps above the note the figure stands on.
_FIGURES = (
    (0, 1, 2, 3, 4, 3, 2, 1),
    (0, 1, 2, 0),
    (0, 2, 1, 3),
    (0, 1, 2, 3),
    (0, 2, 4, 2),
    (0, 2, 4, 7, 9, 7, 4, 2),
    (0, -1, 0, 2),
    (0, 5, 1, 6),
    (0, 4, 2, 4),
    (0, 7, 5, 4),
    (0, 2, 4, 6, 4, 2),
    (0, 4, 1, 4, 2, 4, 3, 4),
    (0, 1, 2, 3, 4, 5, 6, 7),
    (7, 6, 5, 4, 3, 2, 1, 0),
)


def study(seed: int, *, lowest_midi: int = 36, bars: int = 24) -> list[int]:
    """Pitches (MIDI), eight to a bar, from the lowest string up to between two and three octaves above it."""
    random = np.random.default_rng(seed)
    tonic, major = int(random.choice(_TONICS)), random.random() < 0.65
    low = lowest_midi + (0 if random.random() < 0.5 else 7)
    high = lowest_midi + int(random.choice((28, 31, 33, 33, 36)))
    scale = [m for m in range(low, high + 1) if (m - tonic) % 12 in (_MAJOR if major else _MINOR)]
    figures = [_FIGURES[k] for k in random.choice(len(_FIGURES), 3, replace=False)]
    here = int(random.integers(3, max(4, len(scale) - 9)))
    line: list[int] = []
    while len(line) < 8 * bars:
        figure = figures[int(random.choice(3, p=(0.5, 0.3, 0.2)))]
        way, step = int(random.choice((-1, 1))), int(random.choice((1, 1, 1, 2)))
        for _ in range(int(random.choice((2, 4, 4)))):
            here = min(max(here, -min(figure)), len(scale) - 1 - max(figure))
            line += [scale[here + k] for k in figure]
            here += way * step
            if here + max(figure) >= len(scale) or here + min(figure) < 0:
                way = -way
                here += 2 * way * step
    return line[: 8 * bars]
