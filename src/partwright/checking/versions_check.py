"""Can the versions of a tune be played together? Their form is compared bar by bar, their notes on the strong beats.

Units: quarter notes, semitones. A clash is a half step (or its octaves: a major seventh, a minor ninth) between two
versions struck on a strong beat, where the tune has no such note itself. Common practice, no source.
"""

from __future__ import annotations

import itertools
from collections.abc import Container, Iterator, Mapping
from fractions import Fraction

from partwright.arranging import strong_moments
from partwright.checking.finding import Finding
from partwright.score import Bar, Part, beat_text

__all__ = ["check_together"]

_CLASHES = (1, 11)


def check_together(tune: Part, versions: Mapping[str, Part]) -> tuple[Finding, ...]:
    """All findings: first where a version leaves the tune's form, then where two versions clash."""
    found = [finding for name, version in versions.items() for finding in _form(tune, name, version)]
    if not found:  # bars that do not stand under each other cannot clash
        for (one, a), (two, b) in itertools.combinations(versions.items(), 2):
            found += _clashes(tune, one, a, two, b)
    return tuple(found)


def _form(tune: Part, name: str, version: Part) -> Iterator[Finding]:
    """Bars, metre, key, repeats and the order of playing, as in the tune."""
    if len(version.bars) != len(tune.bars):
        yield Finding(
            kind="form",
            verdict="wrong",
            what=f"the {name} version has {len(version.bars)} bars, the tune {len(tune.bars)}",
            why="the versions cannot be played together",
            confidence=1.0,
        )
        return
    differing: dict[str, list[tuple[Bar, object, object]]] = {}
    for own, other in zip(tune.bars, version.bars, strict=True):
        for words, a, b in _bar_facts(own, other):
            if a != b:
                differing.setdefault(words, []).append((own, a, b))
    for words, bars in differing.items():
        first, a, b = bars[0]
        more = f", and in {len(bars) - 1} more bars" if len(bars) > 1 else ""
        yield Finding(
            kind="form",
            verdict="wrong",
            bar=first.number,
            what=f"the {name} version has another {words} here{more}",
            why=f"{b} instead of {a}",
            confidence=1.0,
        )
    order = [(bar.bar_index, bar.pass_number) for bar in tune.played_bars]
    if [(bar.bar_index, bar.pass_number) for bar in version.played_bars] != order:
        yield Finding(
            kind="form",
            verdict="wrong",
            what=f"the bars of the {name} version are played in another order",
            why="repeats, endings or jumps differ",
            confidence=1.0,
        )


def _bar_facts(own: Bar, other: Bar) -> Iterator[tuple[str, object, object]]:
    yield "number", own.number, other.number
    yield "length", own.length_quarters, other.length_quarters
    yield "metre", f"{own.beats}/{own.beat_type}", f"{other.beats}/{other.beat_type}"
    yield "key signature", own.fifths, other.fifths
    yield "start", own.start_quarters, other.start_quarters


def _clashes(tune: Part, one: str, a: Part, two: str, b: Part) -> Iterator[Finding]:
    strong = set(strong_moments(tune))
    struck_a, struck_b = _struck(a, strong), _struck(b, strong)
    own = _struck(tune, strong)
    for onset in sorted(struck_a.keys() & struck_b.keys()):
        for x, y in itertools.product(sorted(struck_a[onset]), sorted(struck_b[onset])):
            if (x - y) % 12 not in _CLASHES or {x % 12, y % 12} <= {midi % 12 for midi in own.get(onset, ())}:
                continue
            bar = tune.bar_at(onset)
            beat = 1 + (onset - bar.start_quarters + bar.beat_offset_quarters) * bar.beat_type / 4
            names = {
                note.midi: note.pitch.name for part in (a, b) for note in part.notes if note.onset_quarters == onset
            }
            yield Finding(
                kind="clash",
                verdict="check",
                bar=bar.number,
                beat=beat_text(beat),
                what=f"{names[x]} of the {one} version clashes with {names[y]} of the {two} version",
                why="a half step on a strong beat, which the tune itself does not have",
                confidence=0.8,
            )
            break


def _struck(part: Part, moments: Container[Fraction]) -> dict[Fraction, set[int]]:
    found: dict[Fraction, set[int]] = {}
    for note in part.notes:
        if not note.grace and note.tied_from is None and note.onset_quarters in moments:
            found.setdefault(note.onset_quarters, set()).add(note.midi)
    return found
