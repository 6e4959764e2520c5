"""The lesson: how well phrases are found, how fast a long score is taken apart, what a booklet's time goes into.

    python bench/bench_lesson.py

Phrases: F1 of phrase ends over the half of the Essen folk songs that the weights were never shown, beside two
baselines: an end every four bars, and an end at every rest. Speed: sections, phrases and returns of 2,000 bars against
reading them, in the same run. Booklet: the demonstration lesson's, split by who works.
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from fractions import Fraction
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "reference"))

from essen import Song, essen_folder, is_test_song, read_songs
from phrase_baselines import at_rests, every_four_bars, found_ends, scores

from partwright.engraving import A4, booklet_pdf
from partwright.engraving import pdf as pdf_module
from partwright.lesson import make_outline, page_tune, plan_drill, plan_marks, prepare, read_lesson, teach
from partwright.score import (
    Pitch,
    WrittenBar,
    WrittenEvent,
    WrittenKey,
    WrittenMetre,
    WrittenPart,
    WrittenScore,
    compose_musicxml,
    musicxml_bytes,
    read_tune,
)

ROOT = Path(__file__).resolve().parents[1]
BARS = 2000


def main() -> None:
    results = {"phrases": phrases(), "outline": outline_speed(), "booklet": booklet()}
    out = ROOT / "bench" / "results" / "lesson.json"
    out.parent.mkdir(exist_ok=True)
    out.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")
    print(f"written: {out.relative_to(ROOT)}")


def phrases() -> dict[str, object]:
    """Boundary precision, recall and F1 on the unseen half; all songs count by their boundaries."""
    folder = essen_folder()
    if folder is None:
        print("phrases: left out, music21's corpus is not installed")
        return {}
    songs = [song for song in read_songs(folder) if is_test_song(song.name)]
    ways: dict[str, Callable[[Song], Iterable[int]]] = {
        "phrase model": found_ends,
        "every four bars": every_four_bars,
        "at rests": at_rests,
    }
    print(f"phrase ends in {len(songs)} folk songs of the unseen half")
    print(f"{'':18}precision  recall     F1   mean F1 of a song")
    found = {}
    for name, way in ways.items():
        precision, recall, f1, mean = scores(songs, way)
        found[name] = {"precision": precision, "recall": recall, "f1": f1, "mean_f1": mean}
        print(f"{name:18}{precision:9.3f}{recall:8.3f}{f1:7.3f}{mean:10.3f}")
    return {"songs": len(songs), **found}


def outline_speed() -> dict[str, object]:
    """Seconds to read 2,000 bars and to take them apart; the best of three each."""
    rows = {}
    print(f"{BARS} bars, eight notes a bar{'':14}read    apart    ratio")
    for name, data in (("a tune with returns", _score(returns=True)), ("one bar over and over", _score(returns=False))):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "long.musicxml"
            path.write_bytes(data)
            part = read_tune(path).part
            reading = min(_timed(lambda path=path: read_tune(path)) for _ in range(3))
        apart = min(_timed(lambda part=part: make_outline(part)) for _ in range(3))
        outline = make_outline(part)
        rows[name] = {"read_s": reading, "outline_s": apart, "ratio": apart / reading,
                      "sections": len(outline.sections), "returns": len(outline.likenesses)}  # fmt: skip
        print(f"{name:36}{reading:7.2f} s{apart:7.2f} s{apart / reading:7.1f}")
    return rows


def booklet() -> dict[str, float]:
    """Seconds for the demonstration lesson's booklet: the whole, and what the two typesetting libraries take."""
    folder = ROOT / "src" / "partwright" / "lesson" / "data" / "demo"
    job = prepare(read_lesson(folder), folder)
    teaching = teach(job)
    from partwright.building import page_heading
    from partwright.engraving.worker import EngravingProcess

    marks = plan_marks(job, teaching.plan)
    drills = tuple(plan_drill(drill, teaching.instrument, level=job.level) for drill in teaching.drills)
    spent = {"draw": 0.0, "typeset": 0.0}
    draw, typeset = EngravingProcess.draw, pdf_module.typeset_pdf

    def timed_draw(self: EngravingProcess, *args: object, **more: object) -> object:
        began = time.perf_counter()
        try:
            return draw(self, *args, **more)  # type: ignore[arg-type]
        finally:
            spent["draw"] += time.perf_counter() - began

    def timed_typeset(*args: object) -> bytes:
        began = time.perf_counter()
        try:
            return typeset(*args)  # type: ignore[arg-type]
        finally:
            spent["typeset"] += time.perf_counter() - began

    import partwright.engraving.booklet as module

    booklet_pdf(
        teaching, page_tune(job), marks, heading=page_heading(job), page=A4, drills=drills
    )  # processes and fonts are loaded
    EngravingProcess.draw, module.typeset_pdf = timed_draw, timed_typeset  # type: ignore[method-assign,assignment]
    try:
        whole = _timed(
            lambda: booklet_pdf(teaching, page_tune(job), marks, heading=page_heading(job), page=A4, drills=drills)
        )
    finally:
        EngravingProcess.draw, module.typeset_pdf = draw, typeset  # type: ignore[method-assign]
    ours = whole - sum(spent.values())
    print(f"booklet of the demonstration lesson: {whole:.2f} s; engraving library {spent['draw']:.2f} s, "
          f"document engine {spent['typeset']:.2f} s, the rest {ours:.2f} s")  # fmt: skip
    return {"whole_s": whole, "engraving_s": spent["draw"], "document_s": spent["typeset"], "rest_s": ours}


def _timed(call: Callable[[], object]) -> float:
    began = time.perf_counter()
    call()
    return time.perf_counter() - began


def _score(*, returns: bool) -> bytes:
    """2,000 bars of eighths: 16-bar tunes that come back whole, moved, or with a note changed; or one bar only."""
    random = np.random.default_rng(5)
    steps = [Pitch(step, 0, octave) for octave in (2, 3) for step in "CDEFGAB"]
    tunes = [random.integers(0, len(steps) - 3, size=(16, 8)) for _ in range(24)]
    rows = []
    while len(rows) < BARS:
        tune = tunes[int(random.integers(len(tunes)))].copy() if returns else np.tile(tunes[0][0], (16, 1))
        if returns and random.random() < 0.3:
            tune += int(random.integers(1, 3))
        if returns and random.random() < 0.3:
            bar, place = int(random.integers(16)), int(random.integers(8))
            tune[bar, place] = (tune[bar, place] + 1) % len(steps)
        rows += list(tune)
    bars = []
    for number, row in enumerate(rows[:BARS], start=1):
        voice = tuple(WrittenEvent(duration_quarters=Fraction(1, 2), pitches=(steps[int(k)],)) for k in row)
        first = number == 1
        bars.append(
            WrittenBar(number=str(number), voices=(voice,), metre=WrittenMetre() if first else None,
                       key=WrittenKey() if first else None, clef="bass" if first else "")
        )  # fmt: skip
    return musicxml_bytes(compose_musicxml(WrittenScore(parts=(WrittenPart(name="Cello", bars=tuple(bars)),))))


if __name__ == "__main__":
    main()
