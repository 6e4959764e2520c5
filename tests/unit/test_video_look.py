"""The picture's look: contrast by WCAG 2.2, lettering by its pixels, places; tracks by definition."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from partwright.engraving import GREY, INK, PAPER
from partwright.engraving.drawings import NUMBER_SIZE
from partwright.engraving.typefaces import CAP_HEIGHT
from partwright.errors import InputError
from partwright.video import FORMATS, Overlay, Piece, contrast_ratio, frame_times, picture_format
from partwright.video.ahead import ahead
from partwright.video.demonstration import text_drawing
from partwright.video.look import ACCENT, LEAST_GLYPH
from partwright.video.raster import Canvas, patch_of, svg_rgb
from video_pieces import demonstration, ready

AA = 4.5  # WCAG 2.2, success criterion 1.4.3


def test_contrast_is_that_of_the_standard() -> None:
    """21 : 1 for black on white by the formula; #767676 on white is the known grey just above 4.5 (from memory)."""
    assert contrast_ratio("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert contrast_ratio("#767676", "#FFFFFF") == pytest.approx(4.54, abs=0.01)
    assert contrast_ratio("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.01)


@pytest.mark.parametrize("colour", [INK, GREY, ACCENT])
def test_every_colour_of_lettering_can_be_read_on_paper(colour: str) -> None:
    assert contrast_ratio(colour, PAPER) >= AA


@pytest.mark.parametrize("footage", [0, 128, 255])
def test_a_plaque_can_be_read_over_any_footage(footage: int) -> None:
    """Composited over black, grey and white footage, ink and accent keep their contrast to the plaque's paper."""
    overlay = Overlay(640, 360, (Piece(start_seconds=0, end_seconds=1, kind="line", words="A"),))
    (placed,) = overlay.placed(overlay.state_at(0.5))
    paper, alpha = placed.pixels[3, 3, :3].astype(float), placed.pixels[3, 3, 3] / 255
    ground = "#" + "".join(f"{round(c * alpha + footage * (1 - alpha)):02X}" for c in paper)
    assert contrast_ratio(INK, ground) >= AA
    assert contrast_ratio(ACCENT, ground) >= AA


@pytest.mark.parametrize("name", FORMATS)
def test_lettering_is_high_enough_for_a_phone(name: str) -> None:
    """At least 3 % of the shorter side, measured in the pixels of a drawn H, and by the strip's smallest figures."""
    layout = picture_format(name)
    least = LEAST_GLYPH * layout.shorter
    for spaced in (False, True):
        svg = text_drawing([("H", INK, True)], layout.title, layout, spaced=spaced)
        pixels = svg_rgb(svg, layout.title.width, layout.title.height, PAPER)
        rows = np.flatnonzero((pixels[..., 1] < 128).any(axis=1))
        assert rows[-1] - rows[0] + 1 >= least
    assert NUMBER_SIZE * CAP_HEIGHT / 100 * layout.px_per_mm >= least
    assert layout.least_glyph_px >= least


@pytest.mark.parametrize("name", FORMATS)
def test_every_place_is_in_the_picture_and_none_over_another(name: str) -> None:
    layout = picture_format(name)
    places = (layout.title, layout.staff, layout.board, layout.hand, layout.bow)
    for place in places:
        assert place.x >= 0 and place.y >= 0 and place.right <= layout.width and place.bottom <= layout.height
        assert place.x % 2 == place.y % 2 == place.width % 2 == place.height % 2 == 0
    for one, other in combinations(places, 2):
        apart = one.right <= other.x or other.right <= one.x or one.bottom <= other.y or other.bottom <= one.y
        assert apart
    if layout.width > layout.height:
        assert layout.staff.bottom <= 0.68 * layout.height  # the upper two thirds


def test_an_unknown_format_is_named_with_the_nearest() -> None:
    with pytest.raises(InputError, match="upright"):
        picture_format("uprigth")


@pytest.mark.parametrize("name", ["wide-720", "square", "upright"])
def test_nothing_is_cropped_and_the_bars_ahead_are_seen(name: str) -> None:
    """Every window is drawn inside its place, each played bar once, and where music goes on a bar ahead is shown."""
    show = demonstration(name)
    line, place = show.line, show.layout.staff
    assert line.shrunk == ()
    ahead_shown = 0
    for index, window in enumerate(line.windows):
        strip, scale = window.strip, line.scale(index)
        assert strip.width_mm * scale <= place.width + 1
        assert strip.height_mm * scale <= place.height
        shown = strip.last_bar_index - strip.first_bar_index + 1
        ahead_shown += shown > window.last_played - window.first_played + 1
        for boxes in strip.heads.values():
            assert all(b[0] >= 0 and b[2] <= strip.width_mm and b[1] >= 0 and b[3] <= strip.height_mm for b in boxes)
    played = [b for w in line.windows for b in range(w.first_played, w.last_played + 1)]
    assert played == list(range(len(ready().timing.bars)))
    assert ahead_shown >= 0.85 * len(line.windows)


@settings(max_examples=60, deadline=None)
@given(st.floats(0, 90))
def test_tracks_say_what_sounds_by_definition(seconds: float) -> None:
    """Checked against every note of the timing map, and the plan, one by one."""
    made = ready()
    edges = [t for n in made.timing.notes for t in (n.start_seconds, n.end_seconds)]
    if min(abs(seconds - t) for t in edges) < 1e-4:
        return
    played, ids = made.timeline.notes.at(seconds)
    wanted = {n.id for n in made.timing.notes if n.start_seconds <= seconds < n.end_seconds}
    assert set(ids) == wanted
    bar = made.timing.bar_at(seconds)
    assert made.timing.bars[played] is (bar or made.timing.bars[0])
    stops = {(s.string, s.semitones, s.finger) for s in made.timeline.board.at(seconds).stops}
    placements = [made.work.plan.by_id[i].placement for i in wanted]
    assert stops == {(p.string, p.semitones, p.finger) for p in placements}
    if wanted:
        stroke = made.work.bowing.by_note[next(iter(wanted))]
        span = made.timeline.stroke_at(seconds)
        assert span is not None
        assert (span.start, span.end) == (stroke.start, stroke.end)
        assert made.timeline.bow.at(seconds).direction == stroke.direction


def test_the_next_hand_is_announced_before_it_comes() -> None:
    """Every change of the hand has been announced by name and by its place, at most four seconds before."""
    line = ready().timeline
    changes = 0
    for (_, before), (at, after) in pairwise(zip(line.board.times, line.board.states, strict=True)):
        if before.hand != after.hand and before.hand is not None:
            changes += 1
            assert before.coming == after.hand
            assert line.words.at(at - 1e-3)[1].startswith("next: ")
    assert changes > 5


def test_a_changed_part_is_all_that_changes() -> None:
    """Drawing forwards by what has changed gives the same picture as drawing the moment afresh."""
    times = [t for t in frame_times(demonstration(seconds=9.0), variable=True) if t > 2.5]
    show = demonstration(seconds=9.0)
    for number, at in enumerate(times):
        show.draw(at)
        if number % 7 == 0:
            fresh = demonstration(seconds=9.0)
            fresh.draw(at)
            assert (fresh.canvas.planes == show.canvas.planes).all(), at


def test_planes_are_those_of_the_standard() -> None:
    """BT.709, limited range: black 16, white 235, pure colours by its matrix (from memory: red 63, 102, 240)."""
    for rgb, wanted in (((0, 0, 0), (16, 128, 128)), ((255, 255, 255), (235, 128, 128)), ((255, 0, 0), (63, 102, 240))):
        patch = patch_of(np.full((2, 2, 3), rgb, dtype=np.uint8))
        assert (int(patch.luma[0, 0]), int(patch.blue[0, 0]), int(patch.red[0, 0])) == wanted
    canvas = Canvas(8, 8, "#FFFFFF")
    canvas.fill(2, 2, 4, 4, "#000000")
    assert canvas.luma[2:6, 2:6].max() == 16 and canvas.luma[0].min() == 235 and canvas.luma[:, 6:].min() == 235


def test_ahead_keeps_order_and_passes_errors_on() -> None:
    def some() -> Iterator[int]:
        yield from range(20)
        raise ValueError("broken")

    made, seen = ahead(some()), []
    with pytest.raises(ValueError, match="broken"):
        while True:
            seen.append(next(made))
    assert seen == list(range(20))
    early = ahead(iter(range(10**9)))
    assert next(early) == 0
    early.close()
