"""How exact the take check is, on rendered takes with planted slips; its speed; its pitch against librosa's pYIN.

The takes are made by voices that are not the guide's (tests/take_sounds.py): a General MIDI sound font played by
FluidSynth (Debian packages fluidsynth, fluid-soundfont-gm) and an additive voice of the bench's own. The truth is what
was asked of the voice. A bowed sound starts slowly, so an onset is measured twice: against the moment the note was
asked for, and against the moment that very note, rendered alone, reaches 15 % of its steady level (-16 dB).

    python bench/bench_take.py            all
    python bench/bench_take.py --quick    no hour, no four minutes
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
import wave
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.signal import butter, hilbert, sosfiltfilt

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "tests"))

import take_sounds as ts  # noqa: E402
from partwright.checking.take import ScoreEvent, check_take, pitch_track, recording_of, score_events  # noqa: E402
from partwright.score import Part, read_tune, tune_from_bytes  # noqa: E402
from partwright.sound import make_timing  # noqa: E402

RESULT = HERE / "results" / "take.json"
DEMO = HERE.parent / "src" / "partwright" / "lesson" / "data" / "demo" / "tune.musicxml"

# Invented for this bench: a slow air, and a study in quavers and triplets with a repeat.
AIR = b"""X:1
T:Slow air for a bench
M:4/4
L:1/4
Q:1/4=72
K:Gm
G,2 B, D | G3 F | E2 D C | D4 | F2 G A | B3 A | G2 ^F A | G4 |
B,2 D G | F3 E | D2 C B, | A,4 | C2 E G | B2 A G | F E D ^F | G4 |
"""
STUDY = b"""X:1
T:Study for a bench
M:3/4
L:1/8
Q:1/4=92
K:D
|: D2 F2 A2 | dc BA GF | E2 G2 B2 | A4 z2 | (3DEF (3GAB (3cde | f2 e2 d2 | c2 A2 E2 | D4 z2 :|
A,2 C2 E2 | G4 F2 | E2 D2 C2 | D3 E FG | A2 a2 g2 | f2 d2 A2 | B2 G2 E2 | D6 |]
"""


@dataclass(frozen=True)
class Case:
    name: str
    tune: str
    voice: str  # cello, viola, violin: the sound font's; additive
    options: dict[str, object]
    tuning_cents: float = 0.0
    noise_db: float | None = None
    echo: bool = False
    backing_db: float | None = None
    talk: bool = False

    @property
    def group(self) -> str:
        return "backing" if self.backing_db is not None else "clean"


SEEDS = (11, 211)
SLIPS: dict[str, object] = {"wrong": 4, "missed": 3, "cents": 8}
CASES: tuple[Case, ...] = (
    Case("drift of 15 %", "demo", "cello", {**SLIPS, "drift": 0.15}),
    Case("drift of 15 %", "demo", "additive", {**SLIPS, "drift": 0.15}),
    Case("rubato", "air", "viola", {**SLIPS, "rubato": 0.12}),
    Case("rubato", "air", "additive", {**SLIPS, "rubato": 0.12}),
    Case("slower by a third", "study", "cello", {**SLIPS, "tempo": 0.67, "drift": 0.05}),
    Case("uneven by 15 ms", "study", "additive", {**SLIPS, "jitter_s": 0.015}),
    Case("noise at 20 dB", "demo", "cello", {**SLIPS, "drift": 0.08}, noise_db=20),
    Case("room echo", "demo", "additive", {**SLIPS, "drift": 0.08}, echo=True),
    Case("40 cents high", "air", "cello", dict(SLIPS), tuning_cents=40),
    Case("40 cents low", "study", "additive", dict(SLIPS), tuning_cents=-40),
    Case("talk before and after", "demo", "viola", {**SLIPS, "drift": 0.1}, talk=True),
    Case(
        "a section, begun again",
        "demo",
        "additive",
        {**SLIPS, "first": 26, "last": 80, "restart_after": 40, "restart_from": 33},
    ),
    Case("backing at -12 dB", "demo", "cello", {**SLIPS, "drift": 0.1}, backing_db=-12),
    Case("backing at -12 dB", "demo", "additive", {**SLIPS, "drift": 0.1}, backing_db=-12),
    Case("backing at -12 dB", "air", "viola", {**SLIPS, "rubato": 0.1}, backing_db=-12),
    Case(
        "backing, room, noise, talk, low",
        "study",
        "additive",
        {**SLIPS, "rubato": 0.08, "tempo": 0.9},
        -25,
        24,
        True,
        -12,
        True,
    ),
)


def parts() -> dict[str, Part]:
    return {
        "demo": read_tune(DEMO).part,
        "air": tune_from_bytes(AIR, source=Path("air.abc")).part,
        "study": tune_from_bytes(STUDY, source=Path("study.abc")).part,
    }


def render(
    performance: ts.Performance, case: Case, events: Sequence[ScoreEvent], seed: int
) -> tuple[np.ndarray, float]:
    """The take's samples, and by how much everything in it is later than the performance says."""
    if case.voice == "additive":
        sound = ts.additive(performance, seed=seed, tuning_cents=case.tuning_cents)
    else:
        program = {"cello": ts.CELLO, "viola": 41, "violin": ts.VIOLIN}[case.voice]
        sound = ts.fluid(performance, program=program, tuning_cents=case.tuning_cents)
    if case.backing_db is not None:
        sound = ts.mixed(sound, ts.backing(events, performance, seed=seed), case.backing_db)
    if case.echo:
        sound = ts.room(sound, seed=seed)
    if case.noise_db is not None:
        sound = ts.noisy(sound, case.noise_db, seed=seed)
    later = 0.0
    if case.talk:
        level = 0.7 * float(np.sqrt(np.mean(sound**2)))
        later = 6.0
        sound = np.concatenate([ts.talk(6.0, seed=seed, level=level), sound, ts.talk(5.0, seed=seed + 1, level=level)])
    return (0.3 * sound / np.abs(sound).max()).astype(np.float32), later


_LAGS: dict[tuple[str, int], float] = {}


def lag(voice: str, midi: int) -> float:
    """When a note of this voice, alone, reaches 15 % of its steady level, after it was asked for."""
    if (voice, midi) not in _LAGS:
        alone = ts.Performance((ts.Heard(0, 0.5, 1.2, (midi,)),), 2.5)
        if voice == "additive":
            sound = ts.additive(alone, vibrato_cents=0)
        else:
            sound = ts.fluid(alone, program={"cello": ts.CELLO, "viola": 41, "violin": ts.VIOLIN}[voice])
        level = np.sqrt(np.convolve(sound**2, np.ones(221) / 221, "same"))
        steady = float(np.percentile(level[round(0.6 * ts.RATE) : round(1.6 * ts.RATE)], 90))
        _LAGS[voice, midi] = float(np.argmax(level > 0.15 * steady)) / ts.RATE - 0.5
    return _LAGS[voice, midi]


_OWN: dict[tuple[str, int, float], float] = {}


def own_cents(voice: str, midi: int, seconds: float) -> float:
    """By how much the sound font's own recording of a note, held so long, is out of tune.

    Another method than the check's: the instantaneous frequency (the analytic signal's phase) of each of the first five
    partials, cut out by a band-pass; their medians over the note, weighed by strength.
    """
    if voice == "additive":
        return 0.0
    seconds = round(seconds, 1)
    if (voice, midi, seconds) not in _OWN:
        alone = ts.Performance((ts.Heard(0, 0.3, seconds, (midi,)),), seconds + 1.0)
        sound = ts.fluid(alone, program={"cello": ts.CELLO, "viola": 41, "violin": ts.VIOLIN}[voice])
        hz = 440 * 2 ** ((midi - 69) / 12)
        inside = slice(round(0.36 * ts.RATE), round((0.27 + seconds) * ts.RATE))
        found = []
        for n in range(1, 6):
            band = butter(2, [n * hz * 0.96, n * hz * 1.04], btype="band", fs=ts.RATE, output="sos")
            signal = hilbert(sosfiltfilt(band, sound))
            speed = np.diff(np.unwrap(np.angle(signal)))[inside] * ts.RATE / (2 * np.pi)
            found.append((1200 * np.log2(np.median(speed) / (n * hz)), float(np.mean(np.abs(signal[inside])))))
        values, weights = np.array(found).T
        order = np.argsort(values)
        total = np.cumsum(weights[order])
        _OWN[voice, midi, seconds] = float(values[order][np.searchsorted(total, total[-1] / 2)])
    return _OWN[voice, midi, seconds]


def run_case(case: Case, part: Part, seed: int) -> dict[str, object]:
    events = score_events(part, make_timing(part))
    performance = ts.perform(events, seed=seed, **case.options)  # type: ignore[arg-type]
    sound, later = render(performance, case, events, seed)
    started = time.perf_counter()
    check = check_take(recording_of(sound, ts.RATE), part)
    seconds = time.perf_counter() - started
    truth = {note.event: note for note in performance.notes if note.event >= 0}  # the last time counts
    slips = {event: (kind, value) for kind, event, value in performance.slips}
    near_slip = {e + d for e, (kind, _) in slips.items() if kind == "missed" for d in (0,)}
    asked, sounding, cents = [], [], []
    for note in check.counted:
        heard = truth.get(note.event)
        if heard is None or note.kind == "missed" or note.event in near_slip:
            continue
        asked.append(note.time_s - heard.onset_s - later)
        sounding.append(asked[-1] - lag(case.voice, heard.midis[0]))
        if note.cents is not None and note.kind != "wrong note" and len(heard.midis) == 1:
            cents.append(note.cents - heard.cents - own_cents(case.voice, heard.midis[0], heard.seconds))
    loud = {(n.event): n for n in check.counted if n.kind in ("wrong note", "missed")}
    gross = {e for e, (kind, _) in slips.items() if kind in ("wrong", "missed")}
    found = sum(e in loud for e in gross)
    false = [e for e in loud if e not in gross]
    # What is to be found is what sounds: the planted error and the sound font's own.
    tuned = {
        e: v for e, (kind, v) in slips.items()
        if kind == "cents" and abs(v + own_cents(case.voice, truth[e].midis[0], truth[e].seconds)) >= 15
    }  # fmt: skip
    called = {n.event for n in check.counted if n.kind == "intonation"}
    timing_false = sum(n.timing == "check" for n in check.counted)
    # A deviation the performance holds by its own spread and that is over the threshold is no false alarm.
    cents_false = [
        n
        for n in check.counted
        if n.kind == "intonation"
        and n.event not in tuned
        and n.event in truth
        and abs(truth[n.event].cents + own_cents(case.voice, truth[n.event].midis[0], truth[n.event].seconds)) < 9
    ]
    return {
        "name": case.name,
        "tune": case.tune,
        "voice": case.voice,
        "group": case.group,
        "seed": seed,
        "notes": len(check.counted),
        "audio_s": round(len(sound) / ts.RATE, 1),
        "check_s": round(seconds, 2),
        "asked": asked,
        "sounding": sounding,
        "cents": cents,
        "gross": len(gross),
        "gross_found": found,
        "gross_false": len(false),
        "missed_slips": sorted(str((e, slips[e])) for e in gross if e not in loud),
        "cents_planted": len(tuned),
        "cents_found": sum(e in called for e in tuned),
        "cents_false": len(cents_false),
        "timing_false": timing_false,
        "reference_hz": round(check.reference_hz, 2),
        "true_hz": round(440 * 2 ** (case.tuning_cents / 1200), 2),
        "false_events": sorted(false),
    }


def summed(rows: Sequence[dict[str, object]]) -> dict[str, float]:
    def all_of(key: str) -> np.ndarray:
        return np.concatenate([np.asarray(row[key], dtype=float) for row in rows])

    def total(key: str) -> float:
        return float(sum(row[key] for row in rows))  # type: ignore[misc]

    asked, sounding, cents = np.abs(all_of("asked")), np.abs(all_of("sounding")), all_of("cents")
    notes = total("notes")
    return {
        "takes": len(rows),
        "notes": notes,
        "onset_ms_median": round(1000 * float(np.median(sounding)), 1),
        "onset_ms_95": round(1000 * float(np.percentile(sounding, 95)), 1),
        "onset_from_asked_ms_median": round(1000 * float(np.median(asked)), 1),
        "onset_from_asked_ms_95": round(1000 * float(np.percentile(asked, 95)), 1),
        "cents_median": round(float(np.median(np.abs(cents))), 2),
        "cents_95": round(float(np.percentile(np.abs(cents), 95)), 2),
        "gross_planted": total("gross"),
        "gross_recall": round(total("gross_found") / max(1, total("gross")), 4),
        "gross_false_per_100": round(100 * total("gross_false") / notes, 3),
        "cents_planted": total("cents_planted"),
        "cents_recall": round(total("cents_found") / max(1, total("cents_planted")), 4),
        "cents_false_per_100": round(100 * total("cents_false") / notes, 3),
        "timing_false_per_100": round(100 * total("timing_false") / notes, 3),
    }


def pitch_against_library() -> dict[str, object]:
    """Synthetic tones with noise and vibrato: our tracker and librosa.pyin, errors and speed in the same run."""
    import librosa

    rng = np.random.default_rng(5)
    rate = 22_050
    ours, theirs = [], []
    our_s = their_s = 0.0
    length = 3.0
    for hz in (65.4, 82.4, 110.0, 146.8, 196.0, 261.6, 349.2, 440.0, 587.3):
        for vibrato in (0.0, 15.0):
            t = np.arange(round(length * rate)) / rate
            true = hz * 2 ** (vibrato * np.sin(2 * np.pi * 5.5 * t) / 1200)
            phase = 2 * np.pi * np.cumsum(true) / rate
            tone = sum(np.sin(n * phase + n * n) / n for n in range(1, int(min(20, 10_000 / hz)) + 1))
            tone = (tone + 10 ** (-25 / 20) * np.std(tone) * rng.standard_normal(len(t))).astype(np.float32)
            started = time.perf_counter()
            track = pitch_track(tone)
            our_s += time.perf_counter() - started
            ours.append(1200 * np.log2(track.hz / np.interp(track.time_s, t, true)))
            started = time.perf_counter()
            f0, voiced, _ = librosa.pyin(tone, fmin=55, fmax=1760, sr=rate, frame_length=2048, hop_length=256)
            their_s += time.perf_counter() - started
            at = librosa.times_like(f0, sr=rate, hop_length=256)
            inside = voiced & (at > 0.1) & (at < length - 0.1)
            theirs.append(1200 * np.log2(f0[inside] / np.interp(at[inside], t, true)))
    audio = length * 18
    mine, other = np.abs(np.concatenate(ours)), np.abs(np.concatenate(theirs))
    return {
        "library": f"librosa {librosa.__version__} pyin",
        "ours_cents_median": round(float(np.median(mine)), 3),
        "ours_cents_90": round(float(np.percentile(mine, 90)), 3),
        "library_cents_median": round(float(np.median(other)), 3),
        "library_cents_90": round(float(np.percentile(other, 90)), 3),
        "ours_times_real_time": round(audio / our_s, 1),
        "library_times_real_time": round(audio / their_s, 2),
        "ratio": round(their_s / our_s, 1),
    }


def long_takes(part: Part) -> dict[str, object]:
    """A take of four minutes, and an hour of takes and talk through the command line, with the memory it needed."""
    events = score_events(part, make_timing(part))
    pieces = []
    for seed in range(3):
        performance = ts.perform(events, seed=seed, tempo=0.92, drift=0.05, **SLIPS)  # type: ignore[arg-type]
        pieces.append(ts.additive(performance, seed=seed))
    four = np.concatenate(pieces)[: 240 * ts.RATE]
    four = (0.3 * four / np.abs(four).max()).astype(np.float32)
    started = time.perf_counter()
    check_take(recording_of(four, ts.RATE), part)
    four_s = time.perf_counter() - started
    folder = Path(tempfile.mkdtemp())
    out = folder / "hour.wav"
    data = (np.clip(four[::2], -1, 1) * 32767).astype(np.int16)
    chat = (ts.talk(60, level=0.05)[::2] * 32767).astype(np.int16)
    with wave.open(str(out), "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(ts.RATE // 2)
        for _ in range(12):
            sound.writeframes(data.tobytes())
            sound.writeframes(chat.tobytes())
    started = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "partwright", "check", "take", str(DEMO), str(out), "--json"],
        capture_output=True,
        check=False,
        timeout=1800,
    )
    hour_s = time.perf_counter() - started
    out.unlink()
    folder.rmdir()
    return {
        "four_minutes_s": round(four_s, 2),
        "hour_s": round(hour_s, 1),
        "hour_peak_mb": round(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024),
    }


def main() -> None:
    known = parts()
    rows = []
    chosen = [a for a in sys.argv[1:] if not a.startswith("-")]
    for number, case in enumerate(CASES):
        if case.voice != "additive" and ts.sound_font() is None:
            print(f"{case.name}: no sound font on this machine (Debian: fluidsynth, fluid-soundfont-gm)")
            continue
        if chosen and str(number) not in chosen:
            continue
        seeds = SEEDS[:1] if chosen else SEEDS
        rows += [shown(run_case(case, known[case.tune], seed=number + seed), number, case) for seed in seeds]
    report(rows, chosen, known)


def shown(row: dict[str, object], number: int, case: Case) -> dict[str, object]:
    """The row, printed."""
    one = summed([row])
    print(
        f"{number:2} {case.name:32} {case.tune:6} {case.voice:9}"
        f" onset {one['onset_ms_median']:5}/{one['onset_ms_95']:6} ms"
        f" (asked {one['onset_from_asked_ms_median']:5}/{one['onset_from_asked_ms_95']:6})"
        f"  cents {one['cents_median']:5}/{one['cents_95']:5}"
        f"  gross {row['gross_found']}/{row['gross']} false {row['gross_false']}"
        f"  out {row['cents_found']}/{row['cents_planted']} false {row['cents_false']}  late? {row['timing_false']}"
        f"  {row['check_s']} s  {row['missed_slips'] or ''} {row['false_events'] or ''}",
        flush=True,
    )
    return row


def report(rows: list[dict[str, object]], chosen: list[str], known: dict[str, Part]) -> None:
    """Sums, the tracker against the library, long takes; written where all was run."""
    groups: dict[str, Callable[[dict[str, object]], bool]] = {
        "clean": lambda r: r["group"] == "clean",
        "backing": lambda r: r["group"] == "backing",
        "all": lambda r: True,
    }
    result: dict[str, object] = {
        name: summed(chosen_rows) for name, test in groups.items() if (chosen_rows := [r for r in rows if test(r)])
    }
    for name, value in result.items():
        print(name, json.dumps(value))
    if chosen:
        return
    result["pitch"] = pitch_against_library()
    print("pitch", json.dumps(result["pitch"]))
    if "--quick" not in sys.argv:
        result["long"] = long_takes(known["demo"])
        print("long", json.dumps(result["long"]))
    result["takes"] = [
        {key: value for key, value in row.items() if key not in ("asked", "sounding", "cents")} for row in rows
    ]
    if "--quick" not in sys.argv:
        RESULT.write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
