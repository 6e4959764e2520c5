# ruff: noqa: E402 (the imports below need the path set above them)
"""What a page costs: whole parts, excerpts and charts, beside the engraving library alone in the same run.

    python bench/bench_engraving.py [--quick]

The peer is the library's own load, layout and SVG of the same music in the same kind of process; what stands above 1
is our share (reading its shapes, placing every sign, pages). Results go to bench/results/engraving.json.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests"))

from engraving_pieces import plain_bars
from partwright.engraving import (
    ChartHand,
    Heading,
    engrave_excerpt_svg,
    engrave_part_pdf,
    engrave_part_svg,
    fingerboard_chart_svg,
)
from partwright.engraving.music import library_options, render_copy
from partwright.engraving.worker import EngravingProcess, shared_process
from partwright.instrument import load_instrument

CELLO = load_instrument("cello")


def best(work: Callable[[], Any], times: int) -> float:
    """Seconds of the quickest of several runs: the one least disturbed by the rest of the machine."""
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return min(taken)


def measure(bars: int, folder: Path, times: int) -> dict[str, float]:
    """All figures for a part of so many bars, eight fingered notes each."""
    piece = plain_bars(bars)
    tune = piece.tune(folder, f"{bars}.musicxml")
    heading = Heading(title="Bench", instrument="Cello")
    process = shared_process()
    music = render_copy(tune).musicxml
    alone = best(lambda: process.draw(music, library_options(17_800.0, 1.0, "auto")), times)
    svg = best(lambda: engrave_part_svg(tune, piece.marks, heading=heading, instrument=CELLO), times)
    pdf = best(lambda: engrave_part_pdf(tune, piece.marks, heading=heading, instrument=CELLO), times)
    middle = bars // 2
    excerpt = best(
        lambda: engrave_excerpt_svg(
            tune, piece.marks, first_bar_index=middle, last_bar_index=middle + 3, width_mm=170.0, screen=False
        ),
        times,
    )
    return {
        "bars": bars,
        "library_s": alone,
        "svg_s": svg,
        "pdf_s": pdf,
        "svg_over_library": svg / alone,
        "pdf_ms_per_bar": 1000 * pdf / bars,
        "four_bar_excerpt_s": excerpt,
    }


def main() -> None:
    """Measure, print a table, keep the results."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="one run of the small part only")
    quick = parser.parse_args().quick
    with tempfile.TemporaryDirectory() as name:
        rows = [measure(bars, Path(name), 1 if quick else 3) for bars in ((64,) if quick else (64, 300))]

        def start_and_draw() -> None:
            with EngravingProcess() as process:
                process.draw(render_copy(first).musicxml, library_options(17_800.0, 1.0, "auto"))

        first = plain_bars(4).tune(Path(name), "first.musicxml")
        start = best(start_and_draw, 3)
    hand = ChartHand(frame=7, zone="neck", shape="closed")
    chart = best(lambda: fingerboard_chart_svg(CELLO, hand, screen=False), 5)
    print("bars   library s   SVG s   PDF s   SVG/library   PDF ms/bar   4-bar excerpt s")
    for row in rows:
        print(
            f"{row['bars']:>4.0f}   {row['library_s']:>9.3f}   {row['svg_s']:>5.3f}   {row['pdf_s']:>5.3f}   "
            f"{row['svg_over_library']:>11.2f}   {row['pdf_ms_per_bar']:>10.2f}   {row['four_bar_excerpt_s']:>15.3f}"
        )
    print(f"new process and first drawing: {start:.3f} s; one chart: {chart * 1000:.1f} ms")
    results = {"parts": rows, "first_drawing_s": start, "chart_s": chart}
    target = ROOT / "bench" / "results" / "engraving.json"
    target.parent.mkdir(exist_ok=True)
    target.write_text(json.dumps(results, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
