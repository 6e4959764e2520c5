"""Precision, recall and F1 of *wrong* on lessons with planted mistakes, per kind; and notes placed right."""

from __future__ import annotations

import random
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

from hearing_noise import transcribe
from speak import ORDINALS, Planted, Statement, Teacher, load_phrasings

from partwright.bowing import BowingPlan, plan_bowing
from partwright.checking import Finding
from partwright.checking.narration import NarrationCheck, check_narration, parse_transcript
from partwright.fingering import FingeringPlan, plan_fingering
from partwright.instrument import Instrument, load_instrument
from partwright.lesson import Section, make_outline
from partwright.score import Part, beat_text, read_tune


@dataclass
class Tune:
    name: str
    part: Part
    instrument: Instrument
    plan: FingeringPlan
    bowing: BowingPlan
    sections: list[tuple[str, int, int]]

    @property
    def lesson_sections(self) -> tuple[Section, ...]:
        bars = self.part.bars
        return tuple(Section(name=n, first_bar=bars[a].number, last_bar=bars[b].number) for n, a, b in self.sections)


@dataclass
class Tally:
    """Counts over lessons. Strict counts ask for the same kind; the others for the same statement."""

    planted: Counter[str] = field(default_factory=Counter)
    found: Counter[str] = field(default_factory=Counter)
    found_strict: Counter[str] = field(default_factory=Counter)
    false: Counter[str] = field(default_factory=Counter)
    checks: int = 0
    lessons: int = 0
    minutes: float = 0.0
    placed: int = 0
    placed_right: int = 0
    notes: int = 0
    inaudible: int = 0
    nameless: int = 0  # mistakes whose note's own name the noise took: nothing in the sentence says which note is meant
    nameless_found: int = 0
    next_door: int = 0  # mistakes that would be right of the note before or after …
    next_door_found: int = 0
    misses: list[str] = field(default_factory=list)
    alarms: list[str] = field(default_factory=list)

    def scores(self) -> dict[str, dict[str, float]]:
        rows = {}
        for kind in sorted({*self.planted, *self.false}):
            rows[kind] = _prf(self.found[kind], self.false[kind], self.planted[kind])
        rows["all"] = _prf(self.found.total(), self.false.total(), self.planted.total())
        rows["all, same kind"] = _prf(
            self.found_strict.total(),
            self.false.total() + self.found.total() - self.found_strict.total(),
            self.planted.total(),
        )
        return rows


def _prf(hit: int, false: int, planted: int) -> dict[str, float]:
    precision = hit / (hit + false) if hit + false else 1.0
    recall = hit / planted if planted else 1.0
    f1 = 2 * precision * recall / (precision + recall) if precision + recall else 0.0
    return {
        "planted": planted,
        "found": hit,
        "false": false,
        "precision": round(precision, 4),
        "recall": round(recall, 4),
        "f1": round(f1, 4),
    }


@cache
def corpus() -> tuple[Path, ...]:
    """Folk tunes in ABC that come with music21 (Ryan's Mammoth Collection, 1883, public domain)."""
    import music21

    return tuple(sorted((Path(music21.__file__).parent / "corpus" / "ryansMammoth").glob("*.abc")))


@cache
def tune_for(seed: int) -> Tune:
    """A tune, fingered and bowed: cello an octave down, or violin."""
    rng = random.Random(f"tune {seed}")
    while True:
        path = rng.choice(corpus())
        try:
            part = read_tune(path).part
        except Exception:
            continue
        if not 60 <= len(part.notes) <= 260 or any(n.chord for n in part.notes):
            continue
        name = rng.choice(["cello", "cello", "violin", "viola"])
        instrument = load_instrument(name)
        shift = {"cello": -1, "violin": 0, "viola": 0}[name]
        if shift:
            part = replace(
                part,
                notes=tuple(replace(n, pitch=replace(n.pitch, octave=n.pitch.octave + shift)) for n in part.notes),
            )
        if min(n.midi for n in part.notes) < instrument.strings[0].midi:
            continue
        level = rng.choice(["intermediate", "intermediate", "advanced"])
        plan = plan_fingering(part, instrument, level=level)
        if plan.unplayable:
            continue
        bowing = plan_bowing(part, instrument, plan, level=level, keep_source_marks=False)
        outline = make_outline(part)
        sections = [("ABCDEFGHIJKLM"[k], s.first, s.last) for k, s in enumerate(outline.sections[:12])]
        if not sections:
            continue
        sections[0] = (sections[0][0], 0, sections[0][2])
        sections[-1] = (*sections[-1][:2], len(part.bars) - 1)
        return Tune(path.stem, part, instrument, plan, bowing, sections)


def make_lesson(
    seed: int, voices: Sequence[str], *, error_rate: float, punctuation: bool
) -> tuple[Tune, list[Statement], str, Teacher]:
    tune = tune_for(seed)
    rng = random.Random(f"lesson {seed} {voices}")
    teacher = Teacher(tune.part, tune.plan, tune.bowing, tune.instrument, tune.sections, load_phrasings(*voices), rng)
    statements = teacher.lesson(rng.randint(10, 20))
    text = transcribe(statements, rng, error_rate=error_rate, punctuation=punctuation)
    return tune, statements, text, teacher


def check_lesson(tune: Tune, text: str) -> NarrationCheck:
    return check_narration(
        parse_transcript(text.encode()),
        tune.part,
        tune.instrument,
        plan=tune.plan,
        bowing=tune.bowing,
        sections=tune.lesson_sections,
    )


def tally_lesson(
    tally: Tally, tune: Tune, statements: list[Statement], text: str, teacher: Teacher, tag: str = ""
) -> None:
    check = check_lesson(tune, text)
    tally.lessons += 1
    tally.minutes += statements[-1].end_s / 60
    wrongs = [(j, f) for j, f in enumerate(check.findings) if f.verdict == "wrong"]
    tally.checks += sum(f.verdict == "check" for f in check.findings)
    planted = [s.planted for s in statements if s.planted is not None]
    tally.inaudible += sum(not p.audible for p in planted)
    used: set[int] = set()
    for p in planted:
        inside = [(j, f) for j, f in wrongs if j not in used and f.time_s is not None and belongs(f, p)]
        same = [(j, f) for j, f in inside if f.kind == p.kind]
        chosen = (same or inside)[:1]
        if not p.audible:
            used |= {j for j, _ in inside}
            continue
        tally.planted[p.kind] += 1
        nameless, next_door = _nameless(statements[p.statement]), _true_next_door(p, teacher)
        tally.nameless += nameless
        tally.next_door += next_door and not nameless
        if chosen:
            tally.nameless_found += nameless
            tally.next_door_found += next_door and not nameless
            used.add(chosen[0][0])
            tally.found[p.kind] += 1
            if same:
                tally.found_strict[p.kind] += 1
            else:
                tally.alarms.append(
                    f"{tag} OTHER KIND {p.kind} as {chosen[0][1].kind}: {statements[p.statement].text!r}"
                )
        else:
            heard = _heard(check, p.start_s, p.end_s)
            tally.misses.append(
                f"{tag} {p.kind} {p.start_s:.0f}s bar {p.place} said {p.said!r} right {p.right!r}: "
                f"{statements[p.statement].text!r} heard {heard!r} {_verdicts(check, p)}"
            )
    for j, f in wrongs:
        if j not in used:
            tally.false[f.kind] += 1
            near = next((s for s in statements if s.start_s - 0.7 <= (f.time_s or 0) <= s.end_s + 0.2), None)
            told = f"{near.text!r} heard {_heard(check, near.start_s, near.end_s)!r}" if near else "nothing"
            planted_here = f" PLANTED {near.planted.kind}" if near and near.planted else ""
            tally.alarms.append(
                f"{tag} FALSE {f.kind} {f.time_s:.0f}s bar {f.bar}:{f.beat} observed {f.observed!r} right {f.right!r} "
                f"({f.confidence:.2f}): {told}{planted_here}"
            )
    _tally_places(tally, check, statements, teacher)


def _nameless(statement: Statement) -> bool:
    """Whether the note that a mistake is about lost its name, or the letter of it, in the noise."""
    planted = statement.planted
    assert planted is not None
    if planted.kind in ("note", "order", "structure") or not statement.names:
        return False
    letters = {name.split()[0].lower() for name, _ in statement.names}
    return bool(letters & (statement.lost - {"a"}))


def _true_next_door(planted: Planted, teacher: Teacher) -> bool:
    """Whether a wrong finger, string or stroke is right of the note before or after: one lost word makes it true."""
    here = next((k for k, run in enumerate(teacher.runs) if run.place == planted.place), None)
    if here is None:
        return False
    beside = [teacher.runs[k] for k in (here - 1, here + 1) if 0 <= k < len(teacher.runs)]
    if planted.kind == "finger":
        return any(ORDINALS.index(planted.said) in run.fingers for run in beside)
    if planted.kind == "string":
        return any(teacher.instrument.strings[run.string].letter == planted.said for run in beside)
    if planted.kind == "bow" and planted.said in ("up", "down"):
        return any(teacher._direction(run) == planted.said for run in beside)
    return False


def belongs(finding: Finding, planted: Planted) -> bool:
    """In the statement by its time; or near it (captions are timed by the cue, not by the word) and in its bar."""
    assert finding.time_s is not None
    if planted.start_s - 0.5 <= finding.time_s <= planted.end_s + 0.2 and finding.bar == planted.place[0]:
        return True
    near = planted.start_s - 6.0 <= finding.time_s <= planted.end_s + 4.0
    return (near and (finding.bar, finding.beat) == planted.place) or (
        near and planted.kind == "structure" == finding.kind
    )


def _verdicts(check: NarrationCheck, planted: Planted) -> str:
    """What was made of the words around a missed mistake."""
    rows = []
    for item in check.judged:
        at = check.words[item.first_word].start_s or 0.0
        if planted.start_s - 3.0 <= at <= planted.end_s + 2.0:
            place = check.places[item.place].first if item.place >= 0 else None
            where = f"{place.bar}:{beat_text(place.beat)}" if place else "-"
            rows.append(
                f"{item.claimed}={item.verdict}@{where}({item.confidence:.2f},p{check.mentions[item.mention].p:.2f})"
            )
    return " | ".join(rows)


def _heard(check: NarrationCheck, start: float, end: float) -> str:
    return " ".join(w.text for w in check.words if w.start_s is not None and start - 0.6 <= w.start_s <= end + 0.3)


def _tally_places(tally: Tally, check: NarrationCheck, statements: list[Statement], teacher: Teacher) -> None:
    """Named notes at the right written note, or at an equally valid repetition: same pitches around it."""
    midis = [r.notes[0].midi for r in teacher.runs]
    by_note = {n.id: k for k, r in enumerate(teacher.runs) for n in r.notes}
    for statement in statements:
        named = [
            (name, run)
            for name, run in statement.names
            if not (statement.planted and statement.planted.kind in ("note", "order"))
        ]
        inside = [
            (m, int(check.following.path[k]))
            for k, m in enumerate(check.mentions)
            if m.note is not None
            and statement.start_s - 0.3 <= (check.words[m.first_word].start_s or 0) <= statement.end_s + 0.05
        ]
        for name, run in named:
            match = next(((m, p) for m, p in inside if _spelled(m.note) == name), None)
            if match is None:
                continue
            inside.remove(match)
            tally.notes += 1
            place = match[1]
            if place < 0:
                continue
            tally.placed += 1
            got = by_note.get(check.places[place].first.id)
            if got is not None and _alike(midis, got, run):
                tally.placed_right += 1


def _spelled(note: tuple[str, int | None] | None) -> str:
    from speak import note_name

    return "" if note is None else note_name(note[0], note[1] or 0)


def _alike(midis: list[int], a: int, b: int) -> bool:
    if a == b:
        return True
    return midis[max(0, a - 2) : a + 3] == midis[max(0, b - 2) : b + 3]


def lessons(
    seeds: Sequence[int], voices: Sequence[str], **how: object
) -> Iterator[tuple[Tune, list[Statement], str, Teacher]]:
    for seed in seeds:
        yield make_lesson(seed, voices, **how)  # type: ignore[arg-type]


WORDS = re.compile(r"\w+")
