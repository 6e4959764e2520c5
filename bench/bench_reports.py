"""Viewers' reports measured: comments told apart by kind, claims brought back to the note, and the time it takes.

Run it by itself: `python bench/bench_reports.py [LESSONS]` (14 if not said). Comments are made from phrase lists
(tests/reports_eval) on lessons spoken by the made teacher of the narration's evaluation, 30 for each lesson and list,
misspelled, with emoji. Lists a and b were looked at while the parser was made; list c only as totals.
Writes bench/results/reports.json.
"""

from __future__ import annotations

import json
import platform
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT / "tests" / "narration_eval"), str(ROOT / "tests" / "reports_eval")]

from make_comments import load  # noqa: E402
from measure_reports import Counts, made_comments, measured  # noqa: E402

EACH = 30


def main() -> None:
    lessons = int(sys.argv[1]) if len(sys.argv) > 1 else 14
    results: dict[str, object] = {
        "machine": f"{platform.machine()}, Python {platform.python_version()}", "date": time.strftime("%Y-%m-%d"),
        "accuracy": {}, "speed": speed(),
    }  # fmt: skip
    accuracy: dict[str, object] = {}
    for name, voices in (("seen phrasings (a, b)", "ab"), ("unseen phrasings (c)", "c")):
        counts = measured(range(9000, 9000 + lessons), voices, EACH)
        accuracy[name] = row(counts)
        print(
            f"{name:24} {sum(counts.pairs.values()):5} comments, kind F1 {counts.macro_f1:.3f}, "
            f"placed {counts.place_share:.3f} of {counts.claims}, wishes {counts.wishes_right}/{counts.wishes}"
        )
    results["accuracy"] = accuracy
    target = ROOT / "bench" / "results" / "reports.json"
    target.parent.mkdir(exist_ok=True)
    target.write_text(json.dumps(results, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    print(f"{target.relative_to(ROOT)} written")


def row(counts: Counts) -> dict[str, object]:
    believed = {"right": True, "wrong": False}
    return {
        "comments": sum(counts.pairs.values()),
        "kind_f1": {**counts.f1(), "mean": round(counts.macro_f1, 4)},
        "claims": counts.claims,
        "placed_right": round(counts.place_share, 4),
        "placed_right_by": {h: round(counts.placed_by_how[h] / n, 4) for h, n in sorted(counts.by_how.items())},
        "wishes_right": f"{counts.wishes_right}/{counts.wishes}",
        "verdicts": {
            verdict: {"of viewers who are right": counts.right[True, verdict], "who err": counts.right[False, verdict]}
            for verdict in ("right", "check", "wrong")
        },
        "believed_wrongly": sum(counts.right[not true, verdict] for verdict, true in believed.items() if true),
    }


def speed() -> dict[str, object]:
    """Seconds a comment, and the growth from 1000 to 4000 comments (4 where it is linear)."""
    from partwright.checking.reports import Comment, check_reports

    _, check, _ = made_comments(9000, "a", EACH)
    texts = [says for kind in load("a").values() for rows in kind.values() for says in rows]
    grounds = check.grounds
    took = {}
    for size in (1000, 4000):
        filled = [
            texts[k % len(texts)].replace("{at}", f"bar {1 + k % 30}").replace("{time}", f"{k % 9}:{k % 60:02}")
            .replace("{obs}", "second").replace("{prop}", "third").replace("{who}", "ABCDEFG"[k % 7])
            for k in range(size)
        ]  # fmt: skip
        comments = [Comment(row=k, text=text, viewer=f"v{k}") for k, text in enumerate(filled)]
        began = time.perf_counter()
        check_reports(comments, grounds)
        took[size] = time.perf_counter() - began
    print(f"{took[4000] / 4:.2f} ms a comment; growth {took[4000] / took[1000]:.1f} for four times")
    return {"ms_a_comment": round(took[4000] / 4, 3), "growth_for_4_times": round(took[4000] / took[1000], 2)}


if __name__ == "__main__":
    main()
