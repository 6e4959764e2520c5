"""What is said about hearing wherever sound to practise with is handed out. A reminder; the reader judges."""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files

__all__ = ["hearing_caution"]


@cache
def hearing_caution() -> str:
    """One paragraph with the sourced exposure figures of `data/cautions.csv`."""
    text = files("partwright.sound").joinpath("data", "cautions.csv").read_text(encoding="utf-8")
    rows = {row["id"]: row for row in csv.DictReader(text.splitlines())}
    limit, exchange = rows["noise"]["value"], rows["noise_exchange"]["value"]
    four, quarter = rows["noise_88"]["value"], rows["noise_100"]["value"]
    return (
        f"Hearing: the US institute for occupational safety (NIOSH) recommends no more than {limit}; every {exchange} "
        f"more halves the time ({four} at 88 dBA, {quarter} at 100 dBA). An instrument at the ear counts, and so do "
        "headphones. This is a reminder, not medical advice; how loud and how long is for you to judge."
    )
