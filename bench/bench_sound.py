"""How fast the sound is made, in times real time on one core, and what a long recording costs in memory.

    python bench/bench_sound.py

Processor time of this process is measured, the least of several runs; each figure stands beside a peer of the same
run (SciPy's `sosfilt` of one section over the same samples) so that it travels between machines. First use is said
apart. Results go to bench/results/sound.json.
"""

from __future__ import annotations

import datetime
import json
import os
import platform
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from partwright.bowing import plan_bowing
from partwright.files import write_atomic
from partwright.fingering import plan_fingering
from partwright.instrument import load_instrument
from partwright.lesson import write_demo
from partwright.score import read_tune

HERE = Path(__file__).parent
RATE = 48_000
HOUR_S = 3600
Row = dict[str, object]
# The process says itself how much it held at most: what getrusage says of a child counts its parent's memory too.
_SLOW_AND_SAY = """
import sys
from partwright.cli import run
assert run(["slow", sys.argv[1], "--speed", "0.75", "--out", sys.argv[2]]) == 0
with open("/proc/self/status") as status:
    print(next(line.split()[1] for line in status if line.startswith("VmHWM")))
"""


def least(work: Callable[[], object], runs: int = 5) -> float:
    taken = []
    for _ in range(runs):
        began = time.process_time()
        work()
        taken.append(time.process_time() - began)
    return min(taken)


def rows_of_synthesis(folder: Path) -> list[Row]:
    """Guide, accompaniment, loudness and coding of the demonstration tune."""
    from scipy.signal import butter, sosfilt

    from partwright.sound import (
        Music,
        Temperament,
        bowed_voice,
        encode_audio,
        format_of,
        integrated_lufs,
        make_timing,
        mix,
        perform,
        render_guide,
        render_stems,
        stereo_stems,
        true_peak_dbtp,
    )  # fmt: skip

    part = read_tune(folder / "tune.musicxml").part
    cello = load_instrument("cello")
    plan = plan_fingering(part, cello, level="intermediate")
    bowing = plan_bowing(part, cello, plan, level="intermediate")
    timing = make_timing(part, count_in_bars=1)
    runs = perform(part, timing, Temperament(), instrument=cello, plan=plan, bowing=bowing)
    voice = bowed_voice(cello)
    seconds = timing.seconds + 1.2
    began = time.process_time()
    render_guide(runs, voice, seconds=seconds)
    first = time.process_time() - began
    music = Music(part=part, instrument=cello, plan=plan, bowing=bowing)
    stems = render_stems(music, timing)
    placed = stereo_stems(stems, "with guide")
    whole, _ = mix(placed, RATE)
    section = butter(1, 0.1, output="sos")
    signal = np.random.default_rng(1).standard_normal(round(seconds * RATE))
    peer = least(lambda: sosfilt(section, signal))
    flac, mp3 = format_of(Path("a.flac")), format_of(Path("a.mp3"))
    rows: list[Row] = []
    for what, work, wanted in (
        ("guide voice", lambda: render_guide(runs, voice, seconds=seconds), 60),
        ("all stems, with their room", lambda: render_stems(music, timing), None),
        ("a mix at its loudness", lambda: mix(placed, RATE), None),
        ("loudness", lambda: integrated_lufs(whole.samples, RATE), None),
        ("true peak", lambda: true_peak_dbtp(whole.samples), None),
        ("FLAC", lambda: encode_audio(whole.samples, RATE, flac, bits=16), None),
        ("MP3", lambda: encode_audio(whole.samples, RATE, mp3), None),
    ):
        taken = least(work, 3)
        rows.append({"what": what, "times_real_time": round(seconds / taken, 1), "peer_ratio": round(taken / peer, 1),
                     "wanted_at_least": wanted})  # fmt: skip
    rows.append({"what": "guide voice, first use", "times_real_time": round(seconds / first, 1),
                 "peer_ratio": round(first / peer, 1), "wanted_at_least": None})  # fmt: skip
    return rows


def row_of_stretch(folder: Path) -> Row:
    """An hour in stereo slowed to 75 %, in a process of its own: processor time and the most memory it held."""
    import av

    path = folder / "hour.flac"
    minute = (0.3 * np.random.default_rng(2).standard_normal((2, 60 * 44_100))).astype(np.float32)
    from partwright.sound import encode_stream, format_of

    with path.open("w+b") as target:
        encode_stream(target, (minute for _ in range(HOUR_S // 60)), 44_100, format_of(path), channels=2, bits=16)
    with av.open(str(path)) as file:
        assert file.duration is not None
    began = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [sys.executable, "-c", _SLOW_AND_SAY, str(path), str(folder / "slow.flac")],
        check=True, capture_output=True, encoding="utf-8", env={**os.environ, "OMP_NUM_THREADS": "1"},
    )  # fmt: skip
    ended = resource.getrusage(resource.RUSAGE_CHILDREN)
    taken = ended.ru_utime + ended.ru_stime - began.ru_utime - began.ru_stime
    return {"what": "slow: an hour in stereo", "times_real_time": round(HOUR_S / taken, 1),
            "most_memory_mb": round(int(done.stdout.split()[-1]) / 1024), "wanted_below_mb": 300}  # fmt: skip


def row_of_build(folder: Path) -> Row:
    """The demonstration's whole sound folder, on all cores, by the clock on the wall and by the processors."""
    names = ("timing", "midi", "stems", "mixes", "practice")
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    began = time.monotonic()
    subprocess.run(
        [sys.executable, "-m", "partwright", "build", str(folder), *(w for n in names for w in ("--only", n))],
        check=True, capture_output=True,
    )  # fmt: skip
    wall = time.monotonic() - began
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    processors = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
    audio = 0.0
    for file in (folder / "build" / "sound").rglob("*.json"):
        document = json.loads(file.read_text(encoding="utf-8"))
        audio += sum(item["seconds"] for item in document.get("files", []))
    return {"what": "the demo's sound folder", "audio_seconds": round(audio), "wall_seconds": round(wall, 1),
            "processor_seconds": round(processors, 1), "cores": os.cpu_count(),
            "load_average": round(os.getloadavg()[0], 1)}  # fmt: skip


def main() -> None:
    """Measure, print a table, keep the results."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        write_demo(folder / "demo")
        rows = [*rows_of_synthesis(folder / "demo"), row_of_stretch(folder), row_of_build(folder / "demo")]
    for row in rows:
        print("  ".join(f"{key}: {value}" for key, value in row.items() if value is not None))
    document = {
        "made": datetime.datetime.now(datetime.UTC).date().isoformat(),
        "python": platform.python_version(),
        "machine": platform.machine(),
        "rows": rows,
    }
    write_atomic(HERE / "results" / "sound.json", json.dumps(document, indent=1) + "\n")


if __name__ == "__main__":
    main()
