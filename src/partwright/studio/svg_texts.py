"""Making a drawing of the program's fit to stand inside the page: no style, the page's own colours."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from partwright.engraving import GREY, INK, PAPER, glyph_definition, sign

__all__ = ["bow_svg", "glyph_definitions", "inline_svg", "recoloured", "signs_used"]

_DEFS = re.compile(r"<defs>.*?</defs>|<style>.*?</style>", re.DOTALL)
_SIGN = re.compile(r'href="#sign-([0-9A-F]{4,5})"')
_COLOURS = {
    f'fill="{INK}"': 'fill="currentColor"',
    f' color="{INK}"': "",
    f'stroke="{INK}"': 'stroke="currentColor"',
    f'fill="{GREY}"': f'fill="var(--grey, {GREY})"',
    f' color="{GREY}"': f' color="var(--grey, {GREY})"',
    f'stroke="{GREY}"': f'stroke="var(--grey, {GREY})"',
    'fill="#FFFFFF"': f'fill="var(--paper, {PAPER})"',
    f'fill="{PAPER}"': f'fill="var(--paper, {PAPER})"',
}


def inline_svg(svg: str) -> str:
    """The drawing with the page's colours (`currentColor`, `--grey`, `--paper`); its signs are the page's own."""
    return recoloured(_DEFS.sub("", svg).strip())


def recoloured(svg: str) -> str:
    """The drawing in the page's own colours."""
    for old, new in _COLOURS.items():
        svg = svg.replace(old, new)
    return svg


def signs_used(svgs: Iterable[str]) -> frozenset[str]:
    """Codes of the music signs these drawings refer to."""
    return frozenset(code for svg in svgs for code in _SIGN.findall(svg))


def glyph_definitions(codes: Iterable[str]) -> Mapping[str, str]:
    """The definitions of music signs by code."""
    return {code: glyph_definition(code) for code in sorted(codes)}


def bow_svg(direction: str, start: float, end: float, *, retake: bool) -> str:
    """One stroke on the bow: the hair from frog to tip, the travelled stretch thick, its sign, a lift as a gap.

    `start` and `end` are places on the bow, 0 frog … 1 tip. Drawn in hundredths of a millimetre.
    """
    left, width, y = 700.0, 4600.0, 900.0
    one, two = sorted((left + width * start, left + width * end))
    two = max(two, one + 40.0)
    lift = (
        f'<path class="lift" d="M{one - 220:.0f} {y - 190:.0f}q110 -150 220 0" fill="none" stroke="currentColor" '
        'stroke-width="26"/>'
    )
    drawn = sign(f"{direction}-bow", 330.0).svg
    middle = (one + two) / 2
    after = ", after a lift" if retake else ""
    words = f"{direction}-bow from {start:.0%} to {end:.0%} of the way from frog to tip{after}"
    text = 'font-family="Source Sans Pro" font-size="300" fill="currentColor"'
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" class="bow" viewBox="0 0 6000 1500" width="60mm" height="15mm" '
        'role="img">'
        f"<title>{words}</title>"
        f'<path d="M{left:.0f} {y:.0f}H{left + width:.0f}" fill="none" stroke="currentColor" stroke-width="14"/>'
        f'<path class="stretch" d="M{one:.0f} {y:.0f}H{two:.0f}" fill="none" stroke="currentColor" stroke-width="110"/>'
        f"{lift if retake else ''}"
        f'<g transform="translate({middle:.0f},{y - 200:.0f})" fill="currentColor">{drawn}</g>'
        f'<text x="{left - 80:.0f}" y="{y + 100:.0f}" text-anchor="end" {text}>frog</text>'
        f'<text x="{left + width + 80:.0f}" y="{y + 100:.0f}" {text}>tip</text></svg>'
    )
