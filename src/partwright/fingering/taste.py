"""A taste: how a teacher's own hand weighs the cost terms, beside the table. Small, readable, by instrument.

Units: `times` without unit, beside the default weight; `added` in cost per unit of the term (a plain shift costs about
1). Reading is in `read_tastes`, learning in `learning`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from partwright.errors import InputError
from partwright.files import content_hash
from partwright.fingering.terms import Term, default_weights, term_table
from partwright.instrument import Instrument

__all__ = [
    "TASTE_FORMAT",
    "HandTaste",
    "Taste",
    "hand_taste",
    "table_mark",
    "taste_lines",
    "taste_text",
    "term_label",
    "with_taste",
]

TASTE_FORMAT = 1
"""The version of the file this program writes, and the newest it reads."""

_SHOWS = 0.05  # what lies nearer to the default than this is left out
_ADDED_SHOWS = 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class HandTaste:
    """The taste for one instrument, and what it was learned from.

    `times` multiplies the default weight of a term; `added` is for terms that the table prices at nothing or likes.
    `learned_from` names the pinned places ("BAR:BEAT") of each lesson, told apart by the hash of its tune; `let_stand`
    says how each lesson stood then, a word a note (`learning.standing`).
    """

    instrument: str
    times: Mapping[str, float]
    added: Mapping[str, float]
    decisions: int = 0
    corrections: int = 0
    lessons: int = 0
    table: str = ""  # the mark of the defaults it stands beside
    learned_from: Mapping[str, tuple[str, ...]]
    let_stand: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Taste:
    """A named taste; one hand for each instrument it was learned on."""

    name: str
    made: str = ""  # the day, as 2026-11-28
    hands: tuple[HandTaste, ...] = ()

    def hand(self, instrument: str) -> HandTaste | None:
        """The taste for an instrument, by its name; None where there is none."""
        return next((hand for hand in self.hands if hand.instrument == instrument), None)

    def with_hand(self, hand: HandTaste) -> Taste:
        """This taste with one instrument's hand put in or replaced."""
        kept = tuple(other for other in self.hands if other.instrument != hand.instrument)
        return replace(self, hands=tuple(sorted((*kept, hand), key=lambda one: one.instrument)))


def with_taste(instrument: Instrument, taste: Taste) -> Instrument:
    """The instrument with its costs weighed as the taste has it, at every level; unchanged where the taste does not
    know the instrument. Raises InputError where a cost would fall below nothing.
    """
    hand = taste.hand(instrument.name)
    if hand is None:
        return instrument
    plain = dict(default_weights(instrument).values)
    touched = [*hand.times, *(name for name in hand.added if name not in hand.times)]
    levels = {
        key: replace(level, weights={name: _moved(hand, name, value) for name, value in level.weights.items()})
        for key, level in instrument.levels.items()
    }
    weights = {**instrument.weights, **{name: _moved(hand, name, plain[name]) for name in touched}}
    return replace(instrument, weights=weights, levels=levels)


def _moved(hand: HandTaste, name: str, value: float) -> float:
    moved = value * hand.times.get(name, 1.0) + hand.added.get(name, 0.0)
    if value > 0 and moved < 0:
        raise InputError(
            f'the taste makes "{name}" on the {hand.instrument} cost less than nothing ({moved:.2g})',
            "Mend the line in the taste file, or learn the taste again.",
        )
    return moved


def hand_taste(
    instrument: Instrument,
    times: Sequence[float],
    added: Sequence[float],
    *,
    decisions: int,
    corrections: int,
    lessons: int,
    learned_from: Mapping[str, tuple[str, ...]],
    let_stand: Mapping[str, str],
) -> HandTaste:
    """A taste from what was learned for each term, in the table's order: what differs visibly, rounded.

    `instrument` is the one without any taste.
    """
    names = [term.name for term in term_table()]
    return HandTaste(
        instrument=instrument.name,
        times={name: round(float(t), 2) for name, t in zip(names, times, strict=True) if abs(t - 1) >= _SHOWS},
        added={name: round(float(a), 3) for name, a in zip(names, added, strict=True) if abs(a) >= _ADDED_SHOWS},
        decisions=decisions,
        corrections=corrections,
        lessons=lessons,
        table=table_mark(instrument),
        learned_from=learned_from,
        let_stand=let_stand,
    )


def table_mark(instrument: Instrument) -> str:
    """A short mark of an instrument's default weights: another one says that the table has changed since."""
    rows = [f"{name}={value!r}" for name, value in default_weights(instrument).values]
    rows += [f"{key} {sorted(level.weights.items())}" for key, level in sorted(instrument.levels.items())]
    return content_hash(*rows)[:8]


def term_label(term: Term) -> str:
    """A term as a heading: its words, and for a factor what it multiplies ("shift under a slur")."""
    return f"{term.name.split('_')[0]} {term.words}" if term.kind == "factor" else term.words


def taste_lines(hand: HandTaste) -> tuple[str, ...]:
    """The taste in words, what is farthest from the usual first."""
    rows: list[tuple[float, str]] = []
    for term in term_table():
        if term.name in hand.times:
            rows.append(_times_words(term, hand.times[term.name]))
        elif term.name in hand.added:
            added = hand.added[term.name]
            rows.append((5 * abs(added), f"{term_label(term)}: {'avoided' if added > 0 else 'liked'} ({added:+.2g})"))
    return tuple(words for _, words in sorted(rows, key=lambda row: -row[0]))


def _times_words(term: Term, times: float) -> tuple[float, str]:
    """How far from the usual, and the words."""
    label = term_label(term)
    far = abs(math.log(max(abs(times), 0.05))) + (1.0 if times < 0 else 0.0)
    if term.weight >= 0:
        return far, f"{label}: matters {times:.2g} × as much to you"
    return far, f"{label}: liked {times:.2g} × as much" if times >= 0 else f"{label}: avoided instead of liked"


def taste_text(taste: Taste) -> str:
    """The file, as TOML that a person can read."""
    lines = [
        f"# How {taste.name or 'a teacher'} fingers, beside the table of costs. Learned by: partwright learn LESSON...",
        "# [times]: 1.4 matters 1.4 times as much as usual, 0.5 half as much; of what is liked, below 0 avoids it.",
        "# [added]: for what the table prices at nothing; above 0 avoided. Take a line out and that term is as usual.",
        f"format = {TASTE_FORMAT}",
        f"name = {_quoted(taste.name)}",
        f"made = {_quoted(taste.made)}",
    ]
    terms = {term.name: term for term in term_table()}
    for hand in taste.hands:
        key = _quoted(hand.instrument)
        lines += [
            "",
            f"[hands.{key}]",
            f"decisions = {hand.decisions}",
            f"corrections = {hand.corrections}",
            f"lessons = {hand.lessons}",
            f'table = "{hand.table}"',
            "",
            f"[hands.{key}.times]",
            *(f"{name} = {value:g}  # {term_label(terms[name])}" for name, value in _sorted(hand.times, terms)),
            "",
            f"[hands.{key}.added]",
            *(f"{name} = {value:g}  # {term_label(terms[name])}" for name, value in _sorted(hand.added, terms)),
            "",
            f"[hands.{key}.learned_from]",
            *(f"{_quoted(tune)} = [{', '.join(map(_quoted, at))}]" for tune, at in hand.learned_from.items()),
            "",
            f"[hands.{key}.let_stand]  # how each lesson stood when it was learned from, note by note",
            *(f"{_quoted(tune)} = {_quoted(words)}" for tune, words in hand.let_stand.items()),
        ]
    return "\n".join(lines) + "\n"


def _sorted(values: Mapping[str, float], terms: Mapping[str, Term]) -> Sequence[tuple[str, float]]:
    """In the order of the table."""
    return [(name, values[name]) for name in terms if name in values]


def _quoted(text: str) -> str:
    import json

    return json.dumps(text, ensure_ascii=False)
