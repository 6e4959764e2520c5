"""Charts against the shared tables: geometry.csv and harmonics.csv, computed there from x = L(1 - 2^(-n/12)) and j/k.

Also what a chart must show whatever its look: names, digits, nodes, strings in order, no colour code.
"""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest
from lxml import etree

from partwright.engraving import A4, ChartHand, ChartStop, Heading, charts_pdf, fingerboard_chart_svg, note_name
from partwright.engraving.charts import chart_scale
from partwright.instrument import load_instrument

CELLO = load_instrument("cello")
SCALE = chart_scale(CELLO)
SVG = "{http://www.w3.org/2000/svg}"


def rows(shared: Path, name: str) -> list[dict[str, str]]:
    with (shared / "reference" / name).open(encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def drawing(svg: str) -> etree._Element:
    return etree.fromstring(svg.encode())


def nut_y(root: etree._Element) -> float:
    """The heaviest line of the drawing is the nut."""
    lines = [p for p in root.iter(f"{SVG}path") if p.get("stroke-width") and p.get("class") is None]
    nut = max(lines, key=lambda p: float(p.get("stroke-width", "0")))
    return float(re.findall(r"-?\d+", nut.get("d", ""))[1])


def test_stops_lie_at_the_table_s_distances(shared: Path) -> None:
    """Stops from 1 to 24 semitones are drawn within the table's 0.1 mm of its distance, at the stated scale."""
    table = [
        r for r in rows(shared, "geometry.csv") if r["quantity"] == "stop_mm_cello_690" and int(r["semitones"]) > 0
    ]
    assert len(table) == 24
    for row in table:
        semitones, distance = int(row["semitones"]), float(row["value"])
        hand = ChartHand(
            frame=semitones,
            zone="thumb",
            shape="",
            stops=(ChartStop(string=3, semitones=semitones, finger=1, name="X"),),
        )
        root = drawing(fingerboard_chart_svg(CELLO, hand, screen=False))
        (ring,) = root.iter(f"{SVG}circle")
        drawn = (float(ring.get("cy", "0")) - nut_y(root)) / 100 / SCALE
        assert drawn == pytest.approx(distance, abs=0.08)  # the table gives 0.1 mm


def test_nodes_lie_at_the_table_s_fractions(shared: Path) -> None:
    """Open diamonds stand at the true nodes of partials 2 to 4 (harmonics.csv), not at the tempered places."""
    wanted = sorted(float(r["mm_from_nut_690"]) for r in rows(shared, "harmonics.csv") if int(r["partial"]) <= 4)
    hand = ChartHand(frame=30, zone="thumb", shape="", stops=(ChartStop(string=0, semitones=31, finger=3, name="X"),))
    root = drawing(fingerboard_chart_svg(CELLO, hand, screen=False, length_mm=690.0))
    top = nut_y(root)
    columns: dict[float, list[float]] = {}
    for node in root.iter(f"{SVG}path"):
        if node.get("class") == "node":
            x, y, half = (float(n) for n in re.findall(r"-?\d+", node.get("d", ""))[:3])
            columns.setdefault(x, []).append((y + half - top) / 100 / SCALE)
    assert len(columns) == 4
    free = sorted(columns[max(columns)])  # the A string, where no stop hides a node
    assert free == pytest.approx(wanted, abs=0.08)


def test_first_position_fingers_as_the_table_gives_them(shared: Path) -> None:
    """Spans of closed and extended first position (geometry.csv) are the bracket's lengths."""
    table = {r["quantity"]: float(r["value"]) for r in rows(shared, "geometry.csv")}
    for shape, frame, key in (
        ("closed", 2, "span_closed_I"),
        ("extended back", 2, "span_extended_back_I"),
        ("extended forward", 2, "span_extended_forward_I"),
    ):
        root = drawing(fingerboard_chart_svg(CELLO, ChartHand(frame=frame, zone="neck", shape=shape), screen=False))
        rings = sorted({float(c.get("cy", "0")) for c in root.iter(f"{SVG}circle")})
        span = (rings[-1] - rings[0]) / 100 / SCALE
        assert span == pytest.approx(table[key], abs=0.15)


def test_strings_run_from_thick_on_the_left_to_thin() -> None:
    """As the player sees the cello looking down: C on the left, A on the right (common practice, no source)."""
    root = drawing(fingerboard_chart_svg(CELLO, ChartHand(frame=2, zone="neck", shape="closed"), screen=False))
    verticals = []
    for path in root.iter(f"{SVG}path"):
        numbers = [float(n) for n in re.findall(r"-?\d+", path.get("d", ""))]
        if len(numbers) == 4 and numbers[0] == numbers[2] and numbers[3] - numbers[1] > 3000:
            verticals.append((numbers[0], float(path.get("stroke-width", "0"))))
    verticals.sort()
    assert len(verticals) == 4
    weights = [weight for _, weight in verticals]
    assert weights == sorted(weights, reverse=True) and len(set(weights)) == 4
    names = [(float(t.get("x", "0")), t.text) for t in root.iter(f"{SVG}text") if t.text in "CGDA" and len(t.text) == 1]
    top_row = [text for _, text in sorted(names)[:4]]
    assert {"C", "G", "D", "A"} >= set(top_row)


def test_nothing_is_told_by_colour() -> None:
    """Only ink, its grey and the ground occur: black and white is enough to read it."""
    hand = ChartHand(
        frame=2,
        zone="neck",
        shape="closed",
        stops=(
            ChartStop(string=0, semitones=2, finger=1, name="D", now=True),
            ChartStop(string=1, semitones=5, finger=4, name="C"),
        ),
    )
    svg = fingerboard_chart_svg(CELLO, hand, screen=False)
    colours = set(re.findall(r"#[0-9A-Fa-f]{6}", svg))
    assert colours <= {"#1F1D1A", "#5E5C58", "#FFFFFF"}
    root = drawing(svg)
    kinds = [c.get("class") for c in root.iter(f"{SVG}circle")]
    assert sorted(kinds) == ["now", "place"], "the sounding place is told by its filling"


@pytest.mark.parametrize(
    ("midi", "fifths", "name"),
    [
        # spelling by key signature: the order of sharps and flats (common practice, no source)
        (54, 1, "F♯"), (54, -5, "G♭"), (58, -1, "B♭"), (58, 5, "A♯"), (53, 6, "E♯"), (59, -6, "C♭"),
        (60, 0, "C"), (61, 0, "C♯"), (61, -2, "D♭"), (63, -3, "E♭"), (71, 7, "B"),
    ],
)  # fmt: skip
def test_names_follow_the_key(midi: int, fifths: int, name: str) -> None:
    assert note_name(midi, fifths) == name


def test_another_string_length_moves_every_place() -> None:
    """A half-size cello's chart is the full-size one's, shrunk along the string."""
    half = load_instrument("cello", string_length_mm=500.0)
    hand = ChartHand(frame=7, zone="neck", shape="closed")

    def places(instrument: object) -> list[float]:
        root = drawing(fingerboard_chart_svg(instrument, hand, screen=False, scale=SCALE))  # type: ignore[arg-type]
        return sorted({float(c.get("cy", "0")) - nut_y(root) for c in root.iter(f"{SVG}circle")})

    for full, small in zip(places(CELLO), places(half), strict=True):
        assert small / full == pytest.approx(500 / 690, rel=0.002)


def test_violin_viola_and_bass_have_charts_too() -> None:
    for name in ("violin", "viola", "double bass"):
        instrument = load_instrument(name)
        shape = instrument.shapes[0]
        hand = ChartHand(frame=max(1, shape.frame_min), zone=shape.zone, shape=shape.name)
        pdf = charts_pdf(instrument, (hand,), heading=Heading(title="Charts", instrument=name), page=A4)
        assert pdf.startswith(b"%PDF-")
