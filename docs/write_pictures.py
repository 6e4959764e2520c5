"""Draws the README's pictures from the demonstration lesson: docs/pictures/demo-part.png and demo-charts.png.

Run it by itself when the page's look has changed: `.venv/bin/python docs/write_pictures.py`.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from partwright.building import Workshop, page_heading
from partwright.engraving import charts_svg, engrave_part_svg, hands_of_plan, svg_png
from partwright.files import write_atomic
from partwright.lesson import page_instrument, page_tune, read_lesson, write_demo

PICTURES = Path(__file__).parent / "pictures"
_WIDTH_PX = 1240


def main() -> None:
    """Write both pictures."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary) / "demo"
        write_demo(folder)
        workshop = Workshop(folder, read_lesson(folder))
        job = workshop.prepared
        heading, instrument = page_heading(job), page_instrument(job)
        part = engrave_part_svg(page_tune(job), workshop.marks, heading=heading, instrument=instrument)[0]
        hands = hands_of_plan(job.part, workshop.plan, instrument)
        charts = charts_svg(instrument, hands, heading=heading, fifths=job.part.bars[0].fifths)[0]
    for name, svg in (("demo-part.png", part), ("demo-charts.png", charts)):
        write_atomic(PICTURES / name, svg_png(svg, _WIDTH_PX))


if __name__ == "__main__":
    main()
