"""How many comments are told apart rightly by kind, and how many claims are brought back to the right note."""

from __future__ import annotations

import random
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "narration_eval"))

from make_comments import KINDS, Made, Viewer, load
from measure import Tune, check_lesson, make_lesson

from partwright.checking.reports import Comment, Grounds, ReportsCheck, check_reports, wished_tune


@dataclass
class Counts:
    """Counts over comments; `pairs` are (true kind, kind found)."""

    pairs: Counter[tuple[str, str]] = field(default_factory=Counter)
    claims: int = 0
    placed: int = 0
    by_how: Counter[str] = field(default_factory=Counter)
    placed_by_how: Counter[str] = field(default_factory=Counter)
    right: Counter[tuple[bool, str]] = field(default_factory=Counter)
    wishes: int = 0
    wishes_right: int = 0
    faults: list[str] = field(default_factory=list, repr=False)

    @property
    def place_share(self) -> float:
        return self.placed / max(1, self.claims)

    def f1(self) -> dict[str, float]:
        rows = {}
        for kind in KINDS:
            hit = self.pairs[kind, kind]
            wanted = sum(n for (true, _), n in self.pairs.items() if true == kind)
            found = sum(n for (_, got), n in self.pairs.items() if got == kind)
            rows[kind] = round(2 * hit / max(1, wanted + found), 4)
        return rows

    @property
    def macro_f1(self) -> float:
        rows = self.f1()
        return sum(rows.values()) / len(rows)


def made_comments(seed: int, voice: str, count: int) -> tuple[Tune, ReportsCheck, list[Made]]:
    """A lesson spoken with planted mistakes, and comments on it."""
    tune, statements, text, teacher = make_lesson(seed, "ab", error_rate=0.0, punctuation=True)
    rng = random.Random(f"comments {seed} {voice}")
    strokes = {note_id: s.direction for note_id, s in tune.bowing.by_note.items()}
    letters = [s.letter for s in tune.instrument.strings]
    viewer = Viewer(teacher.runs, statements, tune.sections, strokes, letters, load(voice), rng, _positions(tune))
    made: list[Made] = []
    turn = 0
    while len(made) < count:
        comment = viewer.comment(KINDS[turn % len(KINDS)])
        if comment is not None:
            made.append(comment)
            turn += 1
        elif rng.random() < 0.1:
            turn += 1
    comments = [Comment(row=k, text=m.text, viewer=f"v{k}") for k, m in enumerate(made)]
    check = check_lesson(tune, text)
    return tune, check_reports(comments, Grounds.of(check)), made


def _positions(tune: Tune) -> dict[int, str]:
    """Frames and the ordinal their position has in the player's own school, where it has a plain one."""
    found = {}
    for name in tune.instrument.position_names[tune.instrument.school]:
        words = name.spoken.casefold().split()
        if len(words) == 2 and words[1] == "position" and words[0] in ("first", "second", "third", "fourth"):
            found[name.frame] = words[0]
    return found


def tally(counts: Counts, seed: int, voice: str, count: int) -> None:
    _, check, made = made_comments(seed, voice, count)
    teacher_runs = _note_runs(seed)
    for m, understood, located in zip(made, check.understood, check.located, strict=True):
        counts.pairs[m.kind, understood.kind] += 1
        if m.kind != understood.kind:
            counts.faults.append(f"KIND {m.kind} as {understood.kind}: {m.text!r}")
        if m.kind == "request":
            counts.wishes += 1
            got = wished_tune(m.text)
            ok = got.casefold().replace("'", "") == m.tune.casefold().replace("'", "")
            counts.wishes_right += ok
            if not ok:
                counts.faults.append(f"WISH {m.tune!r} as {got!r}: {m.text!r}")
        if m.target < 0:
            continue
        counts.claims += 1
        counts.by_how[m.how] += 1
        stroke = located.stroke if located is not None else -1
        run = teacher_runs.get(check.grounds.notes[stroke].id, -1) if stroke >= 0 else -1
        good = run in m.accept
        counts.placed += good
        counts.placed_by_how[m.how] += good
        if not good:
            p = located.p if located is not None else 0.0
            counts.faults.append(f"PLACE {m.how} run {m.target} as {run} ({p:.2f}): {m.text!r}")
        report = next((r for r in check.reports if made.index(m) in r.rows), None)
        if report is not None:
            counts.right[m.viewer_right, report.verdict] += 1


def _note_runs(seed: int) -> dict[str, int]:
    _, _, _, teacher = make_lesson(seed, "ab", error_rate=0.0, punctuation=True)
    return {n.id: k for k, run in enumerate(teacher.runs) for n in run.notes}


def measured(seeds: Sequence[int], voices: str, count: int) -> Counts:
    counts = Counts()
    for seed in seeds:
        for voice in voices:
            tally(counts, seed, voice, count)
    return counts


def shown(counts: Counts) -> Iterator[str]:
    yield f"kind F1 (mean over kinds) {counts.macro_f1:.3f}; placed {counts.place_share:.3f} of {counts.claims}"
    yield f"wishes {counts.wishes_right}/{counts.wishes}"
    yield str(counts.f1())
    yield str({how: f"{counts.placed_by_how[how]}/{n}" for how, n in counts.by_how.items()})
    yield str(dict(counts.right))


if __name__ == "__main__":
    voices = sys.argv[1] if len(sys.argv) > 1 else "ab"
    found = measured(range(7000, 7000 + int(sys.argv[2]) if len(sys.argv) > 2 else 7006), voices, 30)
    for line in shown(found):
        print(line)
    if "c" not in voices:
        for fault in found.faults:
            print(fault)
