"""The narration check measured: how many planted mistakes it finds, how many it invents, and how long it takes.

Run it by itself: `python bench/bench_narration.py [LESSONS]` (200 if not said). A made teacher (tests/narration_eval)
speaks lessons on folk tunes that come with music21, with 10 to 20 mistakes each, in phrasings kept apart from the
grammar: voices a and b were looked at while it was tuned, voice c was not. Then free talks by hands that had not seen
the grammar, those that were used to mend it and those that never were. Writes bench/results/narration.json.

What counts as a mistake of the transcript: those whose words survived the noise. A finding counts as found if it stands
in the statement of the mistake and at its bar; every other *wrong* is false.
"""

from __future__ import annotations

import json
import platform
import random
import resource
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests" / "narration_eval"))

from measure import Tally, lessons, tally_lesson  # noqa: E402
from talks import check_talk, outcome, talks  # noqa: E402

CONDITIONS = (
    # name, voices, share of wrong words, capitals and stops
    ("seen phrasings, clean", "ab", 0.0, True),
    ("seen phrasings, no capitals or stops", "ab", 0.0, False),
    ("seen phrasings, 10 % word errors, no capitals or stops", "ab", 0.1, False),
    ("unseen phrasings, clean", "c", 0.0, True),
    ("unseen phrasings, no capitals or stops", "c", 0.0, False),
    ("unseen phrasings, 10 % word errors, with capitals and stops", "c", 0.1, True),
    ("unseen phrasings, 10 % word errors, no capitals or stops", "c", 0.1, False),
)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    results: dict[str, object] = {
        "machine": f"{platform.machine()}, Python {platform.python_version()}", "lessons": count,
        "date": time.strftime("%Y-%m-%d"), "accuracy": {}, "speed": {},
    }  # fmt: skip
    accuracy: dict[str, object] = {}
    print(f"{'condition':58} {'P':>6} {'R':>6} {'F1':>6} {'false/15 min':>13} {'placed':>7}")
    for name, voices, errors, stops in CONDITIONS:
        tally = Tally()
        seeds = range(1000, 1000 + count)
        for lesson in lessons(seeds, voices, error_rate=errors, punctuation=stops):
            tally_lesson(tally, *lesson)
        scores = tally.scores()
        false = sum(tally.false.values()) / max(1e-9, tally.minutes) * 15
        placed = tally.placed_right / max(1, tally.notes)
        row = scores["all"]
        print(f"{name:58} {row['precision']:6.3f} {row['recall']:6.3f} {row['f1']:6.3f} {false:13.2f} {placed:7.3f}")
        accuracy[name] = {
            "kinds": scores, "false_wrong_per_15_min": round(false, 3), "placed_right": round(placed, 4),
            "checks_per_lesson": round(tally.checks / tally.lessons, 2),
            "mistakes_lost_to_noise": tally.inaudible, "of_those_counted": ceiling(tally),
            "minutes": round(tally.minutes, 1),
        }  # fmt: skip
    results["accuracy"] = accuracy
    results["free_talks"] = free_talks()
    results["speed"] = speed()
    target = ROOT / "bench" / "results" / "narration.json"
    target.parent.mkdir(exist_ok=True)
    target.write_text(json.dumps(results, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    print(f"{target.relative_to(ROOT)} written")


def free_talks() -> dict[str, object]:
    """Talks by other hands, used to mend the check or kept back: slips told and right things called wrong, by kind."""
    found: dict[str, object] = {}
    for title, hands in (("free talks, used to mend", "hand"), ("free talks, kept back", "kept")):
        for captions, clear in (("with capitals and stops", True), ("without", False)):
            planted, told, false = Counter[str](), Counter[str](), Counter[str]()
            minutes = 0.0
            for talk in talks(hands):
                if talk.clear != clear:
                    continue
                check = check_talk(talk)
                slips, wrong = outcome(check, talk)
                planted.update(slip.kind for slip in talk.slips)
                told.update(slip.kind for slip in slips)
                false.update(finding.kind for finding in wrong)
                minutes += (check.words[-1].start_s or 0.0) / 60
            precision = told.total() / max(1, told.total() + false.total())
            recall = told.total() / max(1, planted.total())
            row = {
                "planted": planted.total(), "told": told.total(), "false": false.total(),
                "precision": round(precision, 3), "recall": round(recall, 3),
                "f1": round(2 * precision * recall / max(1e-9, precision + recall), 3),
                "false_wrong_per_15_min": round(15 * false.total() / max(1e-9, minutes), 2), "minutes": round(minutes),
                "kinds": {kind: [planted[kind], told[kind], false[kind]] for kind in sorted({*planted, *false})},
            }  # fmt: skip
            found[f"{title}, {captions}"] = row
            print(
                f"{title + ', ' + captions:58} {precision:6.3f} {recall:6.3f} {row['f1']:6.3f} "
                f"{row['false_wrong_per_15_min']:13.2f}"
            )
    return found


def ceiling(tally: Tally) -> dict[str, float]:
    """Mistakes that are counted and that noise or a lost full stop makes one with a true claim; how many were told.

    A finger that is wrong here and right of the next note is a mistake only for who knows where the sentence ended.
    `recall_of_the_rest`: of all other mistakes. `best_f1_without_them`: for who tells just the rest, and invents none.
    """
    planted = max(1, tally.planted.total())
    rest = planted - tally.nameless - tally.next_door
    told = tally.found.total() - tally.nameless_found - tally.next_door_found
    return {
        "note_not_named": tally.nameless, "note_not_named_told": tally.nameless_found,
        "true_of_the_note_beside": tally.next_door, "true_of_the_note_beside_told": tally.next_door_found,
        "recall_of_the_rest": round(told / max(1, rest), 4),
        "best_f1_without_them": round(2 * rest / (planted + rest), 4),
    }  # fmt: skip


def speed() -> dict[str, object]:
    """Seconds from bytes to findings, reading and planning the tune included, and beside it the planning alone."""
    from partwright.bowing import plan_bowing
    from partwright.checking.narration import check_narration, parse_transcript
    from partwright.fingering import plan_fingering
    from partwright.instrument import load_instrument
    from partwright.score import read_tune

    found: dict[str, object] = {}
    cello = load_instrument("cello")
    for minutes, bars in ((15, 120), (30, 120), (60, 120), (60, 1000)):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "tune.abc"
            path.write_text(_long_tune(bars), encoding="utf-8")
            began = time.perf_counter()
            part = read_tune(path).part
            plan = plan_fingering(part, cello, level="intermediate")
            bowing = plan_bowing(part, cello, plan, level="intermediate")
            planned = time.perf_counter()
            text = _long_talk(part, minutes)
            started = time.perf_counter()
            check = check_narration(parse_transcript(text.encode()), part, cello, plan=plan, bowing=bowing)
            checked = time.perf_counter() - started
        name = f"{minutes} min, {bars} bars"
        whole = planned - began + checked
        megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        found[name] = {
            "whole_s": round(whole, 2), "planning_s": round(planned - began, 2), "check_s": round(checked, 2),
            "check_to_planning": round(checked / (planned - began), 2), "words": len(check.words),
            "peak_mb_so_far": round(megabytes),
        }  # fmt: skip
        print(
            f"{name:24} {whole:6.2f} s whole, of it the check {checked:6.2f} s; "
            f"{len(check.words)} words, peak {megabytes:.0f} MB"
        )
    return found


def _long_tune(bars: int) -> str:
    rng = random.Random(bars)
    notes = ["D,", "E,", "F,", "G,", "A,", "B,", "C", "D", "E", "F", "G", "A"]
    at, lines = 5, []
    for _ in range(bars):
        bar = []
        for _ in range(4):
            at = max(0, min(len(notes) - 1, at + rng.choice([-2, -1, -1, 0, 1, 1, 2])))
            bar.append(notes[at])
        lines.append(" ".join(bar) + " |")
    return "X:1\nT:Long\nM:4/4\nL:1/4\nK:G\n" + "\n".join(lines) + "\n"


def _long_talk(part: object, minutes: int) -> str:
    """A plain telling of the tune, over and over, at 150 words a minute."""
    words: list[str] = []
    notes = part.notes  # type: ignore[attr-defined]
    k = 0
    while len(words) < minutes * 150:
        note = notes[k % len(notes)]
        name = f"{note.pitch.step} sharp" if note.pitch.alter else note.pitch.step
        words += f"then the {name}, listen to it,".split()
        k += 1
    lines = ["WEBVTT", ""]
    for at in range(0, len(words), 8):
        start = at * 0.4
        stamps = [f"{int(s) // 3600:02}:{int(s) // 60 % 60:02}:{s % 60:06.3f}" for s in (start, start + 3.2)]
        lines += [f"{stamps[0]} --> {stamps[1]}", " ".join(words[at : at + 8]), ""]
    return "\n".join(lines)


if __name__ == "__main__":
    main()
