"""Fit the weights of the narration check's verdicts on made lessons, and write them into the package.

    python bench/fit_narration.py [LESSONS]

Lessons of the seen voices (a, b, d, e) only, on other tunes and seeds than those of bench_narration.py.
Clean and noisy. A logistic sum with a ridge (Newton steps); every fifth lesson is held out and its figures are printed.
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests" / "narration_eval"))

from measure import belongs, check_lesson, make_lesson  # noqa: E402

from partwright.checking import Finding  # noqa: E402
from partwright.checking.narration.evidence import NAMES  # noqa: E402
from partwright.files import write_atomic  # noqa: E402
from partwright.score import beat_text  # noqa: E402

CONDITIONS = ((0.0, True, 1), (0.0, False, 1), (0.05, True, 1), (0.05, False, 1), (0.1, False, 2), (0.1, True, 1))
RIDGE = 2.0
FIRST_SEED = 20_000  # the measured lessons have seeds from 1,000 to 2,000
TARGET = ROOT / "src/partwright/checking/narration/data/verdicts.toml"


def rows_of(seed: int, errors: float, stops: bool) -> list[tuple[tuple[float, ...], bool]]:
    """Evidence of every doubted claim of one lesson, and whether a mistake was planted there."""
    tune, statements, text, _ = make_lesson(seed, "abde", error_rate=errors, punctuation=stops)
    check = check_lesson(tune, text)
    planted = [s.planted for s in statements if s.planted is not None]
    found = []
    for item in check.judged:
        if not item.evidence:
            continue
        note = check.places[item.place].first
        finding = Finding(
            kind=item.kind, verdict="wrong", what="", bar=note.bar, beat=beat_text(note.beat),
            time_s=check.words[item.first_word].start_s,
        )  # fmt: skip
        here = [p for p in planted if belongs(finding, p)]
        if any(p.kind == item.kind and p.audible for p in here):
            found.append((item.evidence, True))
        elif not here:
            found.append((item.evidence, False))
    return found


def _rows(job: tuple[int, float, bool]) -> list[tuple[tuple[float, ...], bool]]:
    return rows_of(*job)


def fit(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Ridge logistic regression by Newton's method; the first column is not drawn to zero."""
    scale = np.maximum(x.std(axis=0), 1e-9)
    scale[0] = 1.0
    z = x / scale
    penalty = np.full(z.shape[1], RIDGE)
    penalty[0] = 1e-6
    w = np.zeros(z.shape[1])
    for _ in range(50):
        p = 1 / (1 + np.exp(-z @ w))
        gradient = z.T @ (p - y) + penalty * w
        hessian = (z * (p * (1 - p))[:, None]).T @ z + np.diag(penalty)
        step = np.linalg.solve(hessian, gradient)
        w -= step
        if np.abs(step).max() < 1e-8:
            break
    return np.asarray(w / scale)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 150
    jobs = [
        (FIRST_SEED + 10 * k + again, errors, stops)
        for k in range(count)
        for errors, stops, times in CONDITIONS
        for again in range(times)
    ]
    x, y, held = [], [], []
    with ProcessPoolExecutor() as pool:
        for (seed, _, _), rows in zip(jobs, pool.map(_rows, jobs, chunksize=8), strict=True):
            for row, wrong in rows:
                x.append(row)
                y.append(wrong)
                held.append((seed - FIRST_SEED) // 10 % 5 == 4)
    table, truth, out = np.array(x), np.array(y, dtype=float), np.array(held)
    weights = fit(table[~out], truth[~out])
    p = 1 / (1 + np.exp(-table[out] @ weights))
    for least in (0.4, 0.5, 0.6, 0.7, 0.8):
        hit = float(((p >= least) & (truth[out] == 1)).sum())
        said = float((p >= least).sum())
        print(f"from {least}: precision {hit / max(1, said):.3f}, of the doubted {hit / truth[out].sum():.3f}")
    weights = fit(table, truth)
    lines = [
        "# Weights of the evidence for a slip of the tongue (see evidence.py), a logistic sum.",
        f"# Fitted by bench/fit_narration.py on {count * 7} made lessons, {len(truth):.0f} doubted claims, "
        "voices a, b, d, e.",
        "[weights]",
        *(f"{name} = {weight:.4f}" for name, weight in zip(NAMES, weights, strict=True)),
        "",
    ]
    write_atomic(TARGET, "\n".join(lines))
    print(f"{TARGET.name} written from {len(truth)} claims, {truth.sum():.0f} of them planted")


if __name__ == "__main__":
    main()
