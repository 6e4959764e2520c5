"""A teacher made of tables: speaks the plan of a part in given phrasings, with planted mistakes.

Knows nothing of the checker: runs, truths and phrasings are worked out here afresh, from the part and its plans.
Times are in seconds; a place is (bar as printed, beat).
"""

from __future__ import annotations

import random
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from partwright.bowing import BowingPlan
from partwright.fingering import FingeringPlan
from partwright.instrument import Instrument
from partwright.score import Note, Part, beat_text

FOLDER = Path(__file__).parent
ORDINALS = ["", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth"]
NUMBERS = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
           "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"]  # fmt: skip
ACCIDENTALS = {-2: " double flat", -1: " flat", 0: "", 1: " sharp", 2: " double sharp"}
FIGURES = {
    Fraction(4): "whole note", Fraction(2): "half note", Fraction(1): "quarter note", Fraction(1, 2): "eighth note",
    Fraction(1, 4): "sixteenth note", Fraction(3, 2): "dotted quarter note", Fraction(3): "dotted half note",
}  # fmt: skip
CLASSES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


@dataclass
class Run:
    """Equal notes in a row."""

    notes: list[Note]
    fingers: list[int]
    string: int
    frame: int
    shape: str
    zone: str
    harmonic: bool
    substitute: int | None
    section: int

    @property
    def name(self) -> tuple[str, int]:
        return self.notes[0].pitch.step, round(self.notes[0].pitch.alter)

    @property
    def place(self) -> tuple[str, str]:
        return self.notes[0].bar, beat_text(self.notes[0].beat)


@dataclass
class Planted:
    """One mistake: its kind, the statement it is in, what was said and what is right, and the words that carry it."""

    kind: str
    statement: int
    place: tuple[str, str]
    said: str
    right: str
    crucial: str
    start_s: float = 0.0
    end_s: float = 0.0
    audible: bool = True


@dataclass
class Statement:
    text: str
    run: int | None  # index of the run of its first named note
    names: list[tuple[str, int]] = field(default_factory=list)  # (note as spoken, run) in order, for alignment
    planted: Planted | None = None
    start_s: float = 0.0
    end_s: float = 0.0
    lost: set[str] = field(default_factory=set)


def load_phrasings(*names: str) -> list[dict[str, list[str]]]:
    """The phrase lists of these voices."""
    return [tomllib.loads((FOLDER / f"phrasings_{name}.toml").read_text(encoding="utf-8")) for name in names]


def note_name(step: str, alter: int) -> str:
    return step + ACCIDENTALS[alter]


def plural(step: str, alter: int) -> str:
    return f"{step}s" if alter == 0 else f"{step}{ACCIDENTALS[alter]}s"


def times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{NUMBERS[count]} times")


def runs_of(part: Part, plan: FingeringPlan, sections: Sequence[tuple[str, int, int]]) -> list[Run]:
    """The runs of a melody, in written order. A run ends at a section's start and at repeat signs."""
    breaks = {first for _, first, _ in sections} | {b.index for b in part.bars if b.repeat_start}
    breaks |= {b.index + 1 for b in part.bars if b.repeat_end}
    found: list[Run] = []
    for note in part.notes:
        if note.tied_from is not None or note.chord or note.id not in plan.by_id:
            continue
        placed = plan.by_id[note.id].placement
        last = found[-1] if found else None
        if (
            last is not None and last.notes[-1].midi == note.midi and not note.grace and not last.notes[-1].grace
            and not any(last.notes[-1].bar_index < b <= note.bar_index for b in breaks)
        ):  # fmt: skip
            last.notes.append(note)
            last.fingers.append(placed.finger)
            continue
        section = next((k for k, (_, a, b) in enumerate(sections) if a <= note.bar_index <= b), 0)
        found.append(
            Run([note], [placed.finger], placed.string, placed.frame, placed.shape, placed.zone, placed.harmonic > 0,
                placed.substitute, section)
        )  # fmt: skip
    return found


class Teacher:
    """Speaks one lesson."""

    def __init__(
        self, part: Part, plan: FingeringPlan, bowing: BowingPlan | None, instrument: Instrument,
        sections: Sequence[tuple[str, int, int]], voices: Sequence[dict[str, list[str]]], rng: random.Random,
    ) -> None:  # fmt: skip
        self.part, self.plan, self.bowing, self.instrument = part, plan, bowing, instrument
        self.sections, self.rng = list(sections), rng
        self.voice = rng.choice(list(voices))
        self.voices = list(voices)
        self.runs = runs_of(part, plan, sections)
        self.statements: list[Statement] = []
        self.wanted = 0
        self.planted = 0
        self.budget = 0
        self.kinds_left: list[str] = []

    def lesson(self, mistakes: int) -> list[Statement]:
        """A whole lesson with about this many mistakes."""
        order = list(range(len(self.sections)))
        if len(order) > 2 and self.rng.random() < 0.3:
            a, b = self.rng.sample(range(1, len(order)), 2)
            order[a], order[b] = order[b], order[a]
        kinds = ["note", "finger", "finger", "count", "string", "position", "order", "bow", "rhythm", "extension",
                 "harmonic", "structure", "note", "finger"]  # fmt: skip
        self.kinds_left = [self.rng.choice(kinds) for _ in range(mistakes * 3)]
        total = sum(sum(r.section == k for r in self.runs) for k in order)
        rounds = 2 if total < 110 else 1
        self.rate = mistakes / max(1.0, 0.62 * total * rounds)
        self.left = mistakes
        self._chat(0.8)
        for round_number in range(rounds):
            for k in order:
                self._intro(k, again=round_number > 0)
                self._section(k)
                if self.rng.random() < 0.25:
                    self._structure(k)
                if self.rng.random() < 0.2:
                    self._recap(k)
        self._chat(1.0)
        return self.statements

    # Pieces of a lesson

    def _say(self, form: str) -> str:
        if self.rng.random() < 0.75 and form in self.voice:
            return self.rng.choice(self.voice[form])
        return self.rng.choice([p for v in self.voices for p in v.get(form, [])])

    def _chat(self, chance: float) -> None:
        if self.rng.random() < chance:
            self.statements.append(Statement(self._say("chatter"), None))

    def _intro(self, k: int, *, again: bool) -> None:
        form = "recap" if again else "section_intro"
        self.statements.append(Statement(self._fill(self._say(form), section=self.sections[k][0]), None))

    def _recap(self, k: int) -> None:
        self.statements.append(Statement(self._fill(self._say("recap"), section=self.sections[k][0]), None))
        inside = [i for i, r in enumerate(self.runs) if r.section == k]
        self._walk(inside[: self.rng.randint(3, 8)])

    def _section(self, k: int) -> None:
        self._walk([i for i, r in enumerate(self.runs) if r.section == k])

    def _walk(self, indices: list[int]) -> None:
        at = 0
        while at < len(indices):
            if self.rng.random() < 0.05:
                self._chat(1.0)
            if self.rng.random() < 0.03 and at + 1 < len(indices):
                at += 1  # a note passed over
            taken = self._talk(indices, at)
            at += taken

    def _talk(self, indices: list[int], at: int) -> int:
        rng = self.rng
        i = indices[at]
        run = self.runs[i]
        after = [self.runs[j] for j in indices[at + 1 : at + 6]]
        mistake = self.left > 0 and rng.random() < self.rate * 1.35
        kind = rng.choice(self.kinds_left) if mistake and self.kinds_left else ""
        for attempt in ([kind] if kind else []) + ["note", "finger"]:
            if not kind:
                break
            made = self._mistake(attempt, i, run, after)
            if made:
                self.left -= 1
                return made
        return self._truth(i, run, after)

    def _truth(self, i: int, run: Run, after: list[Run]) -> int:
        rng = self.rng
        note = note_name(*run.name)
        finger = run.fingers[0]
        uniform = len(set(run.fingers)) == 1
        forms: list[tuple[float, str]] = [(1.2, "note_only"), (0.4, "note_string")]
        if 1 <= finger <= 4 and uniform:
            forms += [(6.0, "note_finger"), (0.8, "note_string_finger"), (0.4, "correction_finger"), (0.3, "negation"),
                      (0.3, "correction_note"), (0.3, "offer")]  # fmt: skip
            if self._ordinal(run) and (i == 0 or self.runs[i - 1].frame != run.frame):
                forms += [(6.0, "position_note"), (1.0, "back_position")]
            if i and self.runs[i - 1].fingers[-1] == finger and self.runs[i - 1].notes[0].midi != run.notes[0].midi:
                forms.append((2.0, "same_finger"))
            if len(run.notes) > 1:
                forms += [(8.0, "count_finger")]
            if "extended" in run.shape:
                forms.append((1.5, "extension"))
            if run.harmonic:
                forms.append((6.0, "harmonic"))
        if finger == 0 and uniform:
            forms += [(7.0, "open")]
        if len(run.notes) > 1:
            forms += [(6.0, "count")]
        if run.substitute is not None:
            forms.append((8.0, "substitution"))
        many = [r for r in after if r.section == run.section]
        if len(many) >= 2:
            forms += [(1.6, "list_notes")]
            if all(0 < f <= 4 for r in [run, *many[:2]] for f in r.fingers[:1]) and all(
                len(r.notes) == 1 for r in [run, *many[:2]]
            ):
                forms += [(2.5, "list_fingers"), (0.8, "finger_run")]
        if len(many) >= 3 and run.name == many[1].name and many[0].name == many[2].name and run.name != many[0].name:
            forms.append((8.0, "alternation"))
        if self._direction(run) is not None:
            forms.append((0.5, "bow"))
        if many and self._slurred(run, many[0]) is True:
            forms.append((0.7, "slur"))
        if (
            many
            and self._slurred(run, many[0]) is False
            and not run.notes[0].slur_stops
            and not many[0].notes[-1].slurred_to_next
        ):
            forms.append((0.4, "separate"))
        if len(run.notes) == 1 and self._beats(run):
            forms.append((0.5, "hold"))
        if len(run.notes) == 1 and self._figure(run):
            forms.append((0.3, "value"))
        if run.notes[0].beat.denominator == 1 and run.notes[0].beat <= 8:
            forms.append((0.3, "on_beat"))
        if self._rest_after(run):
            forms.append((4.0, "rest"))
        if (
            run.notes[0].beat == 1
            and run.notes[0].bar.isdigit()
            and int(run.notes[0].bar) < 100
            and not run.notes[0].grace
        ):
            forms.append((0.5, "bar_note"))
        marks = self._articulation(run)
        if marks:
            forms.append((1.0, "articulation"))
        form = rng.choices([f for _, f in forms], [w for w, _ in forms])[0]
        if form in ("list_notes", "list_fingers", "finger_run"):
            most = min(len(many), 4 if form == "list_notes" else 3)
            size = rng.randint(2, most)
            chosen = [run, *many[:size]]
            if form != "list_notes":
                while not all(0 < r.fingers[0] <= 4 and len(r.notes) == 1 for r in chosen):
                    chosen.pop()
            self._add(
                form, i, chosen, list_=[note_name(*r.name) for r in chosen], digits=[r.fingers[0] for r in chosen]
            )
            return len(chosen)
        if form == "alternation":
            self._add(form, i, [run, many[0]])
            size = 2
            while size < len(many) + 1 and [run, *many][size].name == [run, *many][size - 2].name:
                size += 1
            return size
        if form in ("slur", "separate"):
            self._add(form, i, [run, many[0]])
            return 2
        self._add(form, i, [run], note=note)
        return 1

    # Mistakes: each returns how many runs it took, 0 where it cannot be made here

    def _mistake(self, kind: str, i: int, run: Run, after: list[Run]) -> int:
        rng = self.rng
        finger = run.fingers[0]
        uniform = len(set(run.fingers)) == 1
        many = [r for r in after if r.section == run.section]
        fingered = 1 <= finger <= 4 and uniform and run.substitute is None
        if kind == "note":
            wrong = self._other_note(run, many)
            name = note_name(*wrong)
            if len(many) >= 2 and rng.random() < 0.3:
                chosen = [run, *many[:2]]
                spot = rng.randrange(3)
                wrong = self._other_note(chosen[spot], self.runs[max(0, i - 2) : i + 5])
                name = note_name(*wrong)
                spoken = [note_name(*r.name) if k != spot else name for k, r in enumerate(chosen)]
                return self._plant(
                    "note",
                    "list_notes",
                    i,
                    chosen,
                    name,
                    note_name(*chosen[spot].name),
                    name,
                    list_=spoken,
                    at=chosen[spot],
                )
            form = "note_finger" if fingered and rng.random() < 0.8 else "note_only"
            return self._plant("note", form, i, [run], name, note_name(*run.name), name, note=name)
        if kind == "finger":
            if not uniform or run.substitute is not None:
                return 0
            wrong_f = rng.choice([f for f in (1, 2, 3, 4) if f not in run.fingers])
            if (
                fingered
                and len(many) >= 2
                and rng.random() < 0.3
                and all(len(r.notes) == 1 and 0 < r.fingers[0] <= 4 for r in [run, *many[:2]])
            ):
                chosen = [run, *many[:2]]
                spot = rng.randrange(3)
                wrong_f = rng.choice([f for f in (1, 2, 3, 4) if f != chosen[spot].fingers[0]])
                digits = [r.fingers[0] if k != spot else wrong_f for k, r in enumerate(chosen)]
                return self._plant(
                    "finger",
                    "list_fingers",
                    i,
                    chosen,
                    ORDINALS[wrong_f],
                    ORDINALS[chosen[spot].fingers[0]],
                    NUMBERS[wrong_f],
                    list_=[note_name(*r.name) for r in chosen],
                    digits=digits,
                    at=chosen[spot],
                )
            form = "count_finger" if len(run.notes) > 1 and rng.random() < 0.5 else "note_finger"
            return self._plant(
                "finger",
                form,
                i,
                [run],
                ORDINALS[wrong_f],
                "open" if finger == 0 else ORDINALS[finger],
                ORDINALS[wrong_f],
                finger=wrong_f,
            )
        if kind == "count":
            actual = len(run.notes)
            bars = {}
            for n in run.notes:
                bars[n.bar] = bars.get(n.bar, 0) + 1
            tied = any(n.tied_to for n in run.notes)
            options = [c for c in (2, 3, 4) if c != actual and c not in bars.values()]
            if not options or tied:
                return 0
            said = min(options, key=lambda c: (abs(c - actual), rng.random()))
            return self._plant("count", "count", i, [run], times(said), times(actual), "", count=said)
        if kind == "string":
            if not fingered:
                return 0
            others = [s.letter for k, s in enumerate(self.instrument.strings) if k != run.string]
            letter = rng.choice(others)
            form = rng.choice(["note_string", "note_string_finger"])
            return self._plant(
                "string", form, i, [run], letter, self.instrument.strings[run.string].letter, "string", string=letter
            )
        if kind == "position":
            label = self._ordinal(run)
            if not fingered or label is None or "extended" in run.shape:
                return 0
            said = rng.choice([o for o in ("first", "third", "fourth", "second", "fifth") if o != label])
            return self._plant("position", "position_note", i, [run], said, label, said, position=said)
        if kind == "order":
            if len(many) < 3:
                return 0
            chosen = [run, *many[:2]]
            rest = [run, *many]
            if len({r.name for r in rest[:4]}) < 4:
                return 0
            spot = rng.randrange(2)
            spoken = [note_name(*r.name) for r in chosen]
            spoken[spot], spoken[spot + 1] = spoken[spot + 1], spoken[spot]
            return self._plant(
                "order",
                "list_notes",
                i,
                chosen,
                f"{spoken[spot]} {spoken[spot + 1]}",
                f"{spoken[spot + 1]} {spoken[spot]}",
                spoken[spot],
                list_=spoken,
                at=chosen[spot],
            )
        if kind == "bow":
            if (
                many
                and self._slurred(run, many[0]) is False
                and not run.notes[-1].slur_stops
                and not many[0].notes[0].slurred_to_next
                and rng.random() < 0.5
                and run.name != many[0].name
            ):
                return self._plant("bow", "slur", i, [run, many[0]], "slur", "separate", "")
            if many and self._slurred(run, many[0]) is True and run.name != many[0].name and rng.random() < 0.7:
                return self._plant("bow", "separate", i, [run, many[0]], "separate", "slur", "separate")
            way = self._direction(run)
            if way is None:
                return 0
            other = "up" if way == "down" else "down"
            return self._plant("bow", "bow", i, [run], other, way, other, direction=other)
        if kind == "rhythm":
            if len(run.notes) == 1 and run.notes[0].tied_to is None and not run.notes[0].grace:
                if rng.random() < 0.4 and run.notes[0].beat.denominator == 1:
                    beat = int(run.notes[0].beat)
                    bar = self.part.bars[run.notes[0].bar_index]
                    if bar.beats <= 4 and bar.beats >= 2:
                        said_b = rng.choice([b for b in range(1, bar.beats + 1) if b != beat])
                        return self._plant(
                            "rhythm", "on_beat", i, [run], ORDINALS[said_b], ORDINALS[beat], "", beat=said_b
                        )
                if self._beats(run) and self.part.bars[run.notes[0].bar_index].beat_type == 4:
                    actual_b = self._beats(run)
                    said_b = rng.choice([b for b in (2, 3, 4) if b != actual_b])
                    return self._plant("rhythm", "hold", i, [run], f"{said_b} beats", str(actual_b), "", beats=said_b)
            return 0
        if kind == "extension":
            around = self.runs[max(0, i - 1) : i + 2]
            if not fingered or run.zone != "neck" or any(r.shape != "closed" for r in around):
                return 0
            return self._plant("extension", "extension", i, [run], "extended", "closed", "")
        if kind == "harmonic":
            if not fingered or run.harmonic:
                return 0
            return self._plant("harmonic", "harmonic", i, [run], "harmonic", "stopped", "harmonic")
        if kind == "structure":
            return 0
        return 0

    def _structure(self, k: int) -> None:
        """A true or false statement about the form."""
        others = [j for j in range(len(self.sections)) if j != k]
        if not others:
            return
        j = self.rng.choice(others)
        same, last = self._alike(k, j)
        form = self.rng.choice(["structure_same", "structure_last", "structure_times"])
        name, name2 = self.sections[k][0], self.sections[j][0]
        bar = self.part.bars[self.sections[k][1]]
        if form == "structure_times":
            played = self._played(k)
            if played is None:
                return
            said = played
            if self.rng.random() < 0.5 and self.left > 0:
                said = self.rng.choice([c for c in (1, 2, 3) if c != played])
            text = self._fill(self._say(form), section=name, times=times(said))
            statement = Statement(text, None)
            if said != played:
                self.left -= 1
                statement.planted = Planted(
                    "structure", len(self.statements), (bar.number, "1"), times(said), times(played), ""
                )
            self.statements.append(statement)
            return
        true = same if form == "structure_same" else last
        if not true and (self.left <= 0 or self.rng.random() < 0.3):
            return
        statement = Statement(self._fill(self._say(form), section=name, section2=name2), None)
        if not true:
            self.left -= 1
            statement.planted = Planted(
                "structure", len(self.statements), (bar.number, "1"), f"{name} like {name2}", "not alike", ""
            )
        self.statements.append(statement)

    def _alike(self, k: int, j: int) -> tuple[bool, bool]:
        def bars(n: int) -> list[list[tuple[Fraction, int, Fraction]]]:
            _, first, last = self.sections[n]
            found = []
            for b in range(first, last + 1):
                start = self.part.bars[b].start_quarters
                found.append(
                    [
                        (x.onset_quarters - start, x.midi, x.duration_quarters)
                        for x in self.part.notes
                        if x.bar_index == b
                    ]
                )
            return found

        one, two = bars(k), bars(j)
        same = one == two
        last = len(one) == len(two) and one[:-1] == two[:-1] and one[-1] != two[-1]
        return same, last

    def _played(self, k: int) -> int | None:
        _, first, last = self.sections[k]
        counts: dict[int, int] = {}
        for b in self.part.played_bars:
            counts[b.bar_index] = counts.get(b.bar_index, 0) + 1
        found = {counts.get(b, 0) for b in range(first, last + 1) if not self.part.bars[b].endings}
        return found.pop() if len(found) == 1 else None

    # Helpers

    def _other_note(self, run: Run, near: list[Run]) -> tuple[str, int]:
        """Another note, not the same key, nor that of a neighbour."""
        taken = {(CLASSES[s] + a) % 12 for s, a in [run.name, *(r.name for r in near[:2])]}
        i = self.runs.index(run)
        if i:
            taken.add((CLASSES[self.runs[i - 1].name[0]] + self.runs[i - 1].name[1]) % 12)
        unusual = (("E", 1), ("B", 1), ("C", -1), ("F", -1))
        options = [
            (s, a)
            for s in "ABCDEFG"
            for a in (0, 0, 1, -1)
            if (CLASSES[s] + a) % 12 not in taken and s != run.name[0] and (s, a) not in unusual
        ]
        options = [(s, a) for s, a in options if (s, 0) != (run.name[0], 0)]
        return self.rng.choice(options)

    def _ordinal(self, run: Run) -> str | None:
        if run.zone != "neck":
            return None
        words = self.instrument.position(run.frame, "neck").spoken.split()
        if len(words) != 2 or words[0] == "half" or words[0] not in ORDINALS:
            return "half" if words[:1] == ["half"] else None
        return words[0]

    def _direction(self, run: Run) -> str | None:
        if self.bowing is None:
            return None
        strokes = {self.bowing.by_note[n.id].direction for n in run.notes if n.id in self.bowing.by_note}
        return strokes.pop() if len(strokes) == 1 else None

    def _slurred(self, one: Run, two: Run) -> bool | None:
        if one.notes[-1].grace or two.notes[0].grace:
            return None
        return one.notes[-1].slurred_to_next

    def _beats(self, run: Run) -> int | None:
        note = run.notes[0]
        if note.tied_to is not None or note.grace:
            return None
        length = note.duration_quarters / Fraction(4, self.part.bars[note.bar_index].beat_type)
        return (
            int(length)
            if length.denominator == 1 and 1 <= length <= 4 and self.part.bars[note.bar_index].beat_type == 4
            else None
        )

    def _figure(self, run: Run) -> str | None:
        note = run.notes[0]
        if note.tied_to is not None or note.grace:
            return None
        return FIGURES.get(note.duration_quarters)

    def _rest_after(self, run: Run) -> bool:
        last = run.notes[-1]
        following = [n for n in self.part.notes if n.onset_quarters > last.onset_quarters]
        return (
            last.tied_to is None
            and not last.grace
            and bool(following)
            and following[0].onset_quarters > last.end_quarters
        )

    def _articulation(self, run: Run) -> str | None:
        names = run.notes[0].articulations & {"staccato", "tenuto"}
        return sorted(names)[0] if names else "accented" if "accent" in run.notes[0].articulations else None

    def _plant(
        self, kind: str, form: str, i: int, runs: list[Run], said: str, right: str, crucial: str, *,
        at: Run | None = None, **slots: object,
    ) -> int:  # fmt: skip
        self._add(form, i, runs, **slots)
        where = (at or runs[0]).place
        self.statements[-1].planted = Planted(kind, len(self.statements) - 1, where, said, right, crucial)
        return len(runs)

    def _add(self, form: str, i: int, runs: list[Run], **slots: object) -> None:
        run = runs[0]
        rng = self.rng
        finger = int(slots.get("finger", run.fingers[0]))  # type: ignore[arg-type]
        note = str(slots.get("note", note_name(*run.name)))
        count = int(slots.get("count", len(run.notes)))  # type: ignore[arg-type]
        wrong_finger = rng.choice([f for f in (1, 2, 3, 4) if f != finger])
        wrong_note = self._other_note(run, [])
        other = rng.choice([f for f in (1, 2, 3, 4) if f != finger])
        list_ = slots.get("list_")
        digits = slots.get("digits")
        comma = rng.random() < 0.4
        values: dict[str, str] = {
            "note": note,
            "notes": plural(*run.name) if "note" not in slots else note + "s",
            "finger": ORDINALS[finger] if 0 < finger < 5 else "first",
            "digit": NUMBERS[finger] if 0 < finger < 5 else "one",
            "finger2": ORDINALS[run.substitute] if run.substitute and run.substitute < 5 else "second",
            "string": str(slots.get("string", self.instrument.strings[run.string].letter)),
            "position": str(slots.get("position", self._ordinal(run) or "first")),
            "count": NUMBERS[count], "times": times(count),
            "list": ((", " if comma else " ").join(list_)) if isinstance(list_, list) else "",
            "digits": (" ".join(NUMBERS[d] for d in digits)) if isinstance(digits, list) else "",
            "note2": note_name(*runs[1].name) if len(runs) > 1 else "",
            "dir": str(slots.get("direction", self._direction(run) or "down")),
            "articulation": self._articulation(run) or "staccato",
            "beats": _beat_words(int(slots.get("beats", self._beats(run) or 1))),  # type: ignore[arg-type]
            "value": self._figure(run) or "quarter note",
            "beat": ORDINALS[int(slots.get("beat", min(8, max(1, int(run.notes[0].beat)))))],  # type: ignore[arg-type]
            "beatnumber": NUMBERS[int(slots.get("beat", min(19, max(1, int(run.notes[0].beat)))))],  # type: ignore[arg-type]
            "bar": _bar_words(run.notes[0].bar),
            "wrong_finger": ORDINALS[wrong_finger], "wrong_note": note_name(*wrong_note),
            "other_finger": ORDINALS[other],
        }  # fmt: skip
        template = self._say(form)
        while form in ("count", "count_finger") and count < 2 and "{notes}" in template:
            template = self._say(form)
        text = self._fill(template, **values)
        if rng.random() < 0.25:
            text = f"{rng.choice(self.voice['joiner'])} {text}"
        if rng.random() < 0.1:
            text = f"{rng.choice(self.voice['filler'])} {text}"
        named = runs if form in ("list_notes", "list_fingers") else runs[:1]
        names = [(note_name(*r.name), self.runs.index(r)) for r in named]
        if form in ("finger_run",):
            names = []
        self.statements.append(Statement(text, i, names))

    @staticmethod
    def _fill(template: str, **values: str) -> str:
        return re.sub(r"\{(\w+)\}", lambda m: values[m[1]], template)


def _beat_words(beats: int) -> str:
    return "one beat" if beats == 1 else f"{NUMBERS[beats]} beats"


def _bar_words(bar: str) -> str:
    if not bar.isdigit():
        return bar
    number = int(bar)
    if number < 20:
        return NUMBERS[number]
    tens = ["", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"][number // 10]
    return f"{tens} {NUMBERS[number % 10]}" if number % 10 else tens
