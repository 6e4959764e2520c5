"""What changed between two states of a lesson, in a player's words: "Bar 12, beat 3: F sharp instead of F."

Method. Bars are laid side by side: by their place where there are as many as before and no fewer agree so, else by the
longest common sequence of equal bars. In bars that stand side by side every event is compared at its place in the bar;
of notes that are the same, finger and string and stroke are compared too. Neighbouring bars with the same kind of
change are told as one stretch.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from fractions import Fraction

from partwright.lesson import bars_printed, listed
from partwright.lesson.bar_content import BarEvent, Bars
from partwright.lesson.saying import beat_words, capital, pitch_said
from partwright.score import Note, Part, Pitch

__all__ = ["State", "changes_between", "musical_changes"]

_MOST_IN_A_BAR = 4
"""Changes that are told one by one in a bar; with more the bar is told to be rewritten."""

_VALUES = {
    Fraction(6): "a dotted whole note", Fraction(4): "a whole note", Fraction(3): "a dotted half",
    Fraction(2): "a half note", Fraction(3, 2): "a dotted quarter", Fraction(1): "a quarter",
    Fraction(3, 4): "a dotted eighth", Fraction(1, 2): "an eighth", Fraction(1, 4): "a sixteenth",
}  # fmt: skip
_FINGERS = {
    "0": "open",
    "1": "first finger",
    "2": "second finger",
    "3": "third finger",
    "4": "fourth finger",
    "T": "thumb",
}
_MANY = ("sections", "versions", "practice tempi")
_OCTAVES = {1: "an octave higher", -1: "an octave lower"}


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """A lesson at one moment. `fingers` and `strokes` are by note id: ("3", "D", 4) and ("down", …)."""

    part: Part
    fingers: Mapping[str, tuple[object, ...]] = field(default_factory=dict)
    strokes: Mapping[str, tuple[object, ...]] = field(default_factory=dict)
    settings: Mapping[str, str] = field(default_factory=dict)  # words -> value, as in {"title": "Waltz"}
    products: Mapping[str, str] = field(default_factory=dict)  # step -> what it is, in words


def changes_between(was: State, now: State) -> tuple[str, ...]:
    """Everything that changed, one sentence each: settings first, then the music in order, then fingers and bows.

    Empty where nothing did that a player would see.
    """
    told = [*_settings(was.settings, now.settings), *musical_changes(was, now), *_products(was.products, now.products)]
    return tuple(dict.fromkeys(told))


def musical_changes(was: State, now: State) -> tuple[str, ...]:
    """The changes of notes, signs, fingers and bows."""
    before, after = Bars(was.part), Bars(now.part)
    pairs, gone, new = _side_by_side(before, after)
    told: list[tuple[int, str]] = []
    told += [(_after(pairs, first), _gone(before, first, last)) for first, last in gone]
    told += [(first, f"{capital(_stretch(after, first, last))} {_are(first, last)} new.") for first, last in new]
    rewritten: list[int] = []
    same: list[tuple[Note, Note]] = []
    for one, two in pairs:
        found, kept = _bar_changes(was.part, now.part, before.by_bar[one], after.by_bar[two])
        same += kept
        if len(found) > _MOST_IN_A_BAR:
            rewritten.append(two)
        else:
            number = now.part.bars[two].number
            told += [(two, f"{_place(number, beat)}: {words}.") for beat, words in found]
    told += [(first, f"{capital(_stretch(after, first, last))} {_are(first, last)} rewritten.")
             for first, last in _runs(rewritten)]  # fmt: skip
    told += _sign_changes(was.part, now.part, pairs, same, after)
    told += _hand_changes(was, now, same, after)
    return tuple(text for _, text in sorted(told, key=lambda item: item[0]))


# Bars side by side ---------------------------------------------------------------------------------------------------

Pairs = list[tuple[int, int]]
Runs = list[tuple[int, int]]


def _side_by_side(before: Bars, after: Bars) -> tuple[Pairs, Runs, Runs]:
    """Bars that belong together, stretches that are gone, stretches that are new; by index."""
    one = [_signature(before, k) for k in range(len(before.by_bar))]
    two = [_signature(after, k) for k in range(len(after.by_bar))]
    steps = SequenceMatcher(None, one, two, autojunk=False).get_opcodes()
    if len(one) == len(two):
        in_place = sum(a == b for a, b in zip(one, two, strict=True))
        moved = sum(b - a for kind, a, b, _, _ in steps if kind == "equal")
        if moved <= in_place + 1:  # one bar less here and one more there is more likely than two bars rewritten
            return [(k, k) for k in range(len(two))], [], []
    pairs: Pairs = []
    gone: Runs = []
    new: Runs = []
    for kind, a, b, c, d in steps:
        shared = min(b - a, d - c) if kind != "equal" else b - a
        pairs += [(a + k, c + k) for k in range(shared)]
        if b - a > shared:
            gone.append((a + shared, b - 1))
        if d - c > shared:
            new.append((c + shared, d - 1))
    return pairs, gone, new


def _signature(bars: Bars, index: int) -> tuple[object, ...]:
    return tuple(
        (event.offset_quarters, event.duration_quarters, event.midi, event.grace_midi) for event in bars.by_bar[index]
    )


def _after(pairs: Pairs, gone: int) -> int:
    """Where a bar that is gone is told of: after the last bar before it that is still there."""
    return max((two for one, two in pairs if one < gone), default=-1)


def _gone(before: Bars, first: int, last: int) -> str:
    were = "was" if first == last else "were"
    return f"What {were} {_stretch(before, first, last)} is left out."


# Notes ---------------------------------------------------------------------------------------------------------------


def _bar_changes(
    was: Part, now: Part, one: Sequence[BarEvent], two: Sequence[BarEvent]
) -> tuple[list[tuple[Fraction, str]], list[tuple[Note, Note]]]:
    """What differs in a bar, with its beat; and the notes that are the same, old and new."""
    before = {event.offset_quarters: event for event in one}
    after = {event.offset_quarters: event for event in two}
    found: list[tuple[Fraction, str]] = []
    same: list[tuple[Note, Note]] = []
    for offset in sorted(before.keys() | after.keys()):
        old, new = before.get(offset), after.get(offset)
        if old is None and new is not None:
            found.append((new.beat, f"{_names(now, new)} is new"))
        elif new is None and old is not None:
            found.append((old.beat, f"{_names(was, old)} is left out"))
        elif old is not None and new is not None:
            words = _event_change(was, now, old, new)
            if words:
                found.append((new.beat, words))
            same += _matched(was, now, old, new)
    return found, same


def _event_change(was: Part, now: Part, old: BarEvent, new: BarEvent) -> str:
    told = []
    pitches_old, pitches_new = _pitches(was, old), _pitches(now, new)
    if [p.name for p in pitches_old] != [p.name for p in pitches_new]:
        told.append(_pitch_change(pitches_old, pitches_new))
    if old.duration_quarters != new.duration_quarters:
        told.append(f"{_value(new.duration_quarters)} instead of {_value(old.duration_quarters)}")
    if old.grace_midi != new.grace_midi:
        one, two = len(old.grace_midi), len(new.grace_midi)
        told.append("a grace note is new" if two > one else "a grace note is left out" if one > two
                    else "another grace note")  # fmt: skip
    return listed(told)


def _pitch_change(old: Sequence[Pitch], new: Sequence[Pitch]) -> str:
    names_old, names_new = [pitch_said(p) for p in old], [pitch_said(p) for p in new]
    if names_old == names_new and len(old) == 1:
        octaves = new[0].octave - old[0].octave
        far = f"{abs(octaves)} octaves {'higher' if octaves > 0 else 'lower'}"
        return f"{names_new[0]} {_OCTAVES.get(octaves, far)}"
    if names_old == names_new:
        return f"{listed(names_new)} in another octave"
    return f"{listed(names_new)} instead of {listed(names_old)}"


def _pitches(part: Part, event: BarEvent) -> list[Pitch]:
    return sorted((part.by_id[note_id].pitch for note_id in event.note_ids), key=lambda p: (p.midi, p.step))


def _names(part: Part, event: BarEvent) -> str:
    return listed([pitch_said(pitch) for pitch in _pitches(part, event)])


def _matched(was: Part, now: Part, old: BarEvent, new: BarEvent) -> list[tuple[Note, Note]]:
    """Notes of the same sound in two events."""
    left = {was.by_id[i].midi: was.by_id[i] for i in old.note_ids}
    return [(left[now.by_id[i].midi], now.by_id[i]) for i in new.note_ids if now.by_id[i].midi in left]


def _value(quarters: Fraction) -> str:
    return _VALUES.get(quarters, f"{quarters} quarters")


# Signs ---------------------------------------------------------------------------------------------------------------


def _sign_changes(
    was: Part, now: Part, pairs: Pairs, same: Sequence[tuple[Note, Note]], after: Bars
) -> list[tuple[int, str]]:
    told: list[tuple[int, str]] = []
    for words, sign in (("slurred differently", _slurs), ("with other articulation", _articulations)):
        bars = {two.bar_index for one, two in same if sign(one) != sign(two)}
        told += [(first, f"{capital(_stretch(after, first, last))}: {words}.") for first, last in _runs(bars)]
    for two, words in _bar_signs(was, now, pairs):
        told.append((two, f"Bar {now.bars[two].number}: {words}."))
    for words, of in (("chord symbols", _chords), ("dynamics and words", _directions)):
        old, new = of(was), of(now)
        bars = {two for one, two in pairs if old.get(one, ()) != new.get(two, ())}
        told += [(first, f"{capital(_stretch(after, first, last))}: other {words}.") for first, last in _runs(bars)]
    return told


def _slurs(note: Note) -> tuple[object, ...]:
    return bool(note.slur_starts), bool(note.slur_stops)


def _articulations(note: Note) -> tuple[object, ...]:
    return tuple(sorted(note.articulations | note.ornaments)), note.fermata, note.pizzicato, note.tremolo


def _bar_signs(was: Part, now: Part, pairs: Pairs) -> Iterable[tuple[int, str]]:
    for one, two in pairs:
        old, new = was.bars[one], now.bars[two]
        first = two == 0
        if (old.beats, old.beat_type) != (new.beats, new.beat_type) and (
            first or new.metre_changes or old.metre_changes
        ):
            yield two, f"the metre is {new.beats}/{new.beat_type} instead of {old.beats}/{old.beat_type}"
        if old.fifths != new.fifths and (first or new.key_changes or old.key_changes):
            yield two, f"the key signature has {_signature_words(new.fifths)} instead of {_signature_words(old.fifths)}"
        if old.clef != new.clef and old.clef and new.clef and (first or now.bars[two - 1].clef != new.clef):
            yield two, f"{new.clef} clef instead of {old.clef} clef"
        if (old.repeat_start, old.repeat_end, old.endings) != (new.repeat_start, new.repeat_end, new.endings):
            yield two, "the repeat signs changed"


def _signature_words(fifths: int) -> str:
    if fifths == 0:
        return "no accidentals"
    kind = "sharp" if fifths > 0 else "flat"
    return f"{abs(fifths)} {kind}{'' if abs(fifths) == 1 else 's'}"


def _chords(part: Part) -> dict[int, tuple[object, ...]]:
    return _by_bar((c.bar_index, (c.onset_quarters - part.bars[c.bar_index].start_quarters, c.text))
                   for c in part.chord_symbols)  # fmt: skip


def _directions(part: Part) -> dict[int, tuple[object, ...]]:
    return _by_bar((d.bar_index, (d.onset_quarters - part.bars[d.bar_index].start_quarters, d.kind, d.text))
                   for d in part.directions)  # fmt: skip


def _by_bar(rows: Iterable[tuple[int, tuple[object, ...]]]) -> dict[int, tuple[object, ...]]:
    found: dict[int, tuple[object, ...]] = {}
    for bar, row in rows:
        found[bar] = (*found.get(bar, ()), row)
    return found


# The hand ------------------------------------------------------------------------------------------------------------


def _hand_changes(was: State, now: State, same: Sequence[tuple[Note, Note]], after: Bars) -> list[tuple[int, str]]:
    return [
        *_planned_changes(same, was.fingers, now.fingers, after, _finger_words, "refingered"),
        *_planned_changes(same, was.strokes, now.strokes, after, _stroke_words, "bowed differently"),
    ]


def _planned_changes(
    same: Sequence[tuple[Note, Note]],
    was: Mapping[str, tuple[object, ...]],
    now: Mapping[str, tuple[object, ...]],
    after: Bars,
    said: Callable[[tuple[object, ...]], str],
    many: str,
) -> list[tuple[int, str]]:
    """One changed note in a stretch of bars is told as itself; more as the stretch."""
    changed: dict[int, list[tuple[Note, str]]] = {}
    for one, two in same:
        old, new = was.get(one.id), now.get(two.id)
        if old is None or new is None or old == new or two.tied_from is not None:
            continue
        changed.setdefault(two.bar_index, []).append((two, f"{said(new)} instead of {said(old)}"))
    told = []
    for first, last in _runs(changed):
        notes = [item for bar in range(first, last + 1) for item in changed[bar]]
        if len(notes) == 1:
            note, words = notes[0]
            told.append((first, f"{_place(note.bar, note.beat)}: {words}."))
        else:
            told.append((first, f"{capital(_stretch(after, first, last))} {many}."))
    return told


def _finger_words(placed: tuple[object, ...]) -> str:
    finger, string = str(placed[0]), str(placed[1])
    words = " then ".join(_FINGERS.get(digit, digit) for digit in finger.split("-"))
    return f"open {string} string" if finger == "0" else f"{words} on the {string} string"


def _stroke_words(stroke: tuple[object, ...]) -> str:
    return f"{stroke[0]} bow"


# Settings and products -----------------------------------------------------------------------------------------------


def _settings(was: Mapping[str, str], now: Mapping[str, str]) -> list[str]:
    told = []
    for name in dict.fromkeys([*was, *now]):
        old, new = was.get(name, ""), now.get(name, "")
        if old != new:
            verb = "are" if name in _MANY else "is"
            what = f'"{new}" instead of "{old}"' if old and new else f'"{new}", new' if new else "left out"
            told.append(f"The {name} {verb} {what}.")
    return told


def _products(was: Mapping[str, str], now: Mapping[str, str]) -> list[str]:
    new = [words for name, words in now.items() if name not in was]
    gone = [words for name, words in was.items() if name not in now]
    return [f"New: {words}." for words in new] + [f"No longer with it: {words}." for words in gone]


# Words ---------------------------------------------------------------------------------------------------------------


def _place(bar: str, beat: Fraction) -> str:
    return f"Pick-up, beat {beat_words(beat)}" if bar == "0" else f"Bar {bar}, beat {beat_words(beat)}"


def _stretch(bars: Bars, first: int, last: int) -> str:
    return bars_printed((bars.part.bars[first].number, bars.part.bars[last].number))


def _are(first: int, last: int) -> str:
    return "is" if first == last else "are"


def _runs(bars: Iterable[int]) -> Runs:
    """Indices as stretches without gaps.

    >>> _runs([3, 4, 5, 9])
    [(3, 5), (9, 9)]
    """
    runs: Runs = []
    for bar in sorted(set(bars)):
        if runs and bar == runs[-1][1] + 1:
            runs[-1] = (runs[-1][0], bar)
        else:
            runs.append((bar, bar))
    return runs
