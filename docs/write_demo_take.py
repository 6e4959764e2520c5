"""Make the demonstration lesson's take afresh: bars 18 to 34 as a person might play them, with known slips.

    python docs/write_demo_take.py

The voice is the additive one of the tests, not the guide's; everything in it is made by this script. What is planted:

- it stops in bar 20 and begins again at the pick-up to bar 19;
- the first finger in fourth position is flat each time, most of all in bar 22, beat 3 (32 cents);
- C natural in bar 26, beat 1, where C sharp is written;
- the A of bar 28 comes late by about 0.17 s;
- the E of bar 33, beat 2 is not played.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests"))

import take_sounds as ts  # noqa: E402
from partwright.checking.take import score_events  # noqa: E402
from partwright.files import write_atomic  # noqa: E402
from partwright.score import read_tune  # noqa: E402
from partwright.sound import FORMATS, encode_audio, make_timing  # noqa: E402

DEMO = ROOT / "src" / "partwright" / "lesson" / "data" / "demo"
FLAT = {("18", "3"): -15.0, ("19", "3"): -18.0, ("22", "3"): -32.0}
LATE = ("28", "1")
MISSED = ("33", "2")
NATURAL = ("26", "1")
SPEED = 0.94  # of the tempo in the tune


def main() -> None:
    part = read_tune(DEMO / "tune.musicxml").part
    events = score_events(part, make_timing(part, tempo_qpm=100))
    rng = np.random.default_rng(34)
    place = {(e.bar, str(e.beat)): e.index for e in events}
    first, last = place["18", "3"], place["34", "1"]
    order = [*range(first, place["20", "2"] + 1), -1, *range(first, last + 1)]
    notes, now, quarter_s = [], 1.6, 60 / 100 / SPEED
    for at in order:
        if at < 0:
            now += 1.7
            continue
        event = events[at]
        here = (event.bar, str(event.beat))
        pace = SPEED * (1 + 0.05 * np.sin(2 * np.pi * event.start_quarters / 12))
        length = event.seconds / pace
        cents = FLAT.get(here, float(rng.normal(0, 3.5)))
        midis = tuple(m - 1 for m in event.midis) if here == NATURAL else event.midis
        late = 0.17 if here == LATE else float(rng.normal(0, 0.008))
        if here != MISSED:
            notes.append(ts.Heard(at, now + late, 0.96 * length - max(0.0, late), midis, cents, "", event.slurred))
        now += (event.seconds + event.rest_s) / pace
    performance = ts.Performance(tuple(notes), now + 2 * quarter_s)
    dry = ts.additive(performance, seed=8, tuning_cents=1200 * np.log2(441.5 / 440), vibrato_cents=13)
    sound = ts.noisy(ts.room(dry, seconds=0.6, wet=0.3, seed=4), 38, seed=5)
    sound = (0.35 * sound / np.abs(sound).max()).astype(np.float32)
    data = encode_audio(sound[None, :], ts.RATE, FORMATS[".opus"])
    target = DEMO / "takes" / "bars-18-to-34.opus"
    write_atomic(target, data)
    print(f"{target.relative_to(ROOT)}: {len(data) / 1000:.0f} kB, {len(sound) / ts.RATE:.0f} s")


if __name__ == "__main__":
    main()
