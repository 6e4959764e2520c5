"""The video: how many times real time, beside drawing every picture with a plotting library; footage; overlays; memory.

    python bench/bench_video.py

Demonstration: the lesson of `partwright demo`, whole, picture and sound coded, at constant and at variable rate. Peer:
matplotlib draws every picture of the same scene and hands it to the same encoder with the same settings, a few seconds
of it. On a machine that is busy with other things, what a processor second yields says more than the clock. Footage: a
test card with grain, 1920 × 1080, with three pieces on it all the time, beside decoding and coding it with nothing on
it. Memory: the most that a process of its own takes, for a short and a long stretch.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import av
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from partwright.video import (
    Overlay,
    Piece,
    burn_in,
    demonstration_captions,
    demonstration_chapters,
    frame_times,
    picture_format,
    read_footage,
    timeline_pieces,
    write_demonstration,
    write_overlay,
    write_pictures,
)
from video_pieces import RATE_HZ, demonstration, ready

ROOT = Path(__file__).resolve().parents[1]
PEER_SECONDS, FOOTAGE_SECONDS, OVERLAY_SECONDS = 2.0, 20.0, 8.0


def main() -> None:
    if len(sys.argv) > 2 and sys.argv[1] == "--memory":
        print(memory_of(float(sys.argv[2])))
        return
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        results: dict[str, object] = {
            "cores": len(os.sched_getaffinity(0)),
            "load_before": round(os.getloadavg()[0], 1),
        }
        results["demonstration"] = shown = demonstrations(folder)
        results["peer"] = other = peer(folder)
        for row in shown:
            print(f"  {row['what']}: {row['times_real_time'] / other['times_real_time']:.0f} x the peer")  # type: ignore[operator]
        results["overlays"] = overlays(folder)
        results["footage"] = burning(folder)
    results["memory_mb"] = {
        f"{seconds} s": int(
            subprocess.run(
                [sys.executable, __file__, "--memory", str(seconds)], capture_output=True, text=True, check=True
            ).stdout
        )
        for seconds in (10, 80)
    }
    print(f"memory: {results['memory_mb']}")
    out = ROOT / "bench" / "results" / "video.json"
    out.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")
    print(f"written: {out.relative_to(ROOT)}")


def demonstrations(folder: Path) -> list[dict[str, Any]]:
    """Times real time from the engraved bars to the finished file; the sound is there, and is coded with it."""
    seconds = ready().timeline.seconds
    rng = np.random.default_rng(3)
    samples = (0.1 * rng.standard_normal((2, round(seconds * RATE_HZ)))).astype(np.float32)
    rows = []
    for layout, variable, stretch in (
        ("wide", True, seconds),
        ("wide", False, seconds),
        ("upright", True, seconds),
        ("wide-2160", True, 30.0),
    ):
        show = demonstration(layout, stretch)
        path = folder / "demonstration.mp4"
        began, began_working = time.perf_counter(), time.process_time()
        pictures = write_demonstration(
            path,
            show,
            samples=samples[:, : round(stretch * RATE_HZ)],
            rate_hz=RATE_HZ,
            captions=demonstration_captions(show.timeline),
            chapters=demonstration_chapters(show.timeline),
            variable=variable,
        )
        took, worked = time.perf_counter() - began, time.process_time() - began_working
        row = {
            "what": f"{layout}, {'variable' if variable else 'constant'} rate",
            "seconds_of_video": round(stretch, 1),
            "pictures": pictures,
            "took_seconds": round(took, 2),
            "times_real_time": round(stretch / took, 2),
            "processor_seconds": round(worked, 2),
            "seconds_of_video_per_processor_second": round(stretch / worked, 2),
            "megabytes": round(path.stat().st_size / 1e6, 2),
        }
        print(
            f"{row['what']:26} {row['times_real_time']:6.1f} x real time "
            f"({row['seconds_of_video_per_processor_second']:.1f} s a processor second), "
            f"{pictures} pictures, {row['megabytes']} MB"
        )
        rows.append(row)
    return rows


def peer(folder: Path) -> dict[str, Any]:
    """The obvious way: a plotting library draws each picture anew."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    show = demonstration("wide", PEER_SECONDS)
    layout = picture_format("wide")
    line, timeline = show.line, show.timeline
    path = folder / "peer.mp4"
    began = time.perf_counter()
    with av.open(str(path), "w") as opened:
        container: Any = opened
        stream = container.add_stream("libx264", rate=30)
        stream.width, stream.height, stream.pix_fmt = layout.width, layout.height, "yuv420p"
        stream.options = {"preset": "ultrafast", "crf": "19", "bf": "0", "threads": "2"}
        for number in range(round(PEER_SECONDS * 30)):
            at = number / 30
            played, notes = timeline.notes.at(at)
            figure = pyplot.figure(figsize=(layout.width / 100, layout.height / 100), dpi=100, facecolor="#FCFAF5")
            staff = figure.add_axes((0.23, 0.33, 0.75, 0.55))
            staff.imshow(line.picture(line.window_of(played), notes))
            staff.axis("off")
            figure.text(0.03, 0.93, timeline.title.at(at), fontsize=30)
            figure.text(0.25, 0.28, timeline.words.at(at)[0], fontsize=30)
            board = figure.add_axes((0.02, 0.03, 0.2, 0.85))
            for string in range(4):
                board.plot([string, string], [0, 300], color="#1F1D1A", lw=3)
            for stop in timeline.board.at(at).stops:
                board.plot([stop.string], [ready().job.instrument.stop_mm(stop.semitones)], "o", ms=20)
            board.invert_yaxis()
            board.axis("off")
            stroke = timeline.stroke_at(at)
            bow = figure.add_axes((0.3, 0.05, 0.65, 0.12))
            bow.plot([0, 1], [0, 0], color="#1F1D1A")
            if stroke is not None:
                bow.plot([stroke.start, stroke.end], [0, 0], color="#0F5A8A", lw=12)
            bow.axis("off")
            figure.canvas.draw()
            pixels = np.asarray(figure.canvas.buffer_rgba())  # type: ignore[attr-defined]
            pyplot.close(figure)
            frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(pixels), format="rgba")
            container.mux(stream.encode(frame.reformat(format="yuv420p")))
        container.mux(stream.encode(None))
    took = time.perf_counter() - began
    row = {"what": "matplotlib, every picture", "took_seconds": round(took, 2)}
    print(f"{row['what']:26} {PEER_SECONDS / took:6.2f} x real time")
    return {**row, "times_real_time": round(PEER_SECONDS / took, 3)}


def overlays(folder: Path) -> list[dict[str, Any]]:
    """Times real time of each kind of file with alpha, 1920 × 1080 at 30 pictures a second."""
    made = ready()
    pieces = timeline_pieces(made.timeline, made.job.instrument)
    rows = []
    for kind, seconds in (("animation", OVERLAY_SECONDS), ("webm", OVERLAY_SECONDS), ("prores", 1.0)):
        shifted = [replace(p, start_seconds=p.start_seconds - 5, end_seconds=p.end_seconds - 5) for p in pieces]
        overlay = Overlay(1920, 1080, [p for p in shifted if p.start_seconds >= 0])
        path = folder / f"overlay.{'webm' if kind == 'webm' else 'mov'}"
        began = time.perf_counter()
        write_overlay(path, overlay, kind=kind, seconds=seconds)
        took = time.perf_counter() - began
        rows.append({"kind": kind, "times_real_time": round(seconds / took, 2)})
        print(f"overlay, {kind:17} {seconds / took:6.2f} x real time")
    return rows


def burning(folder: Path) -> dict[str, Any]:
    """Footage with something on it all the time, beside the same decoded and coded with nothing on it."""
    source = folder / "footage.mp4"
    _grainy(source, FOOTAGE_SECONDS)
    made = read_footage(source)
    pieces = (
        Piece(
            start_seconds=0, end_seconds=1e6, kind="caption", words="then the open D, and the E with the\n1st finger"
        ),
        Piece(start_seconds=0, end_seconds=1e6, kind="line", words="Bar 12  F♯  3  D string"),
        Piece(start_seconds=0, end_seconds=1e6, kind="card", words="Correction\nBar 4: 1st finger, not 2nd"),
    )
    took = {"bare": 1e9, "burnt": 1e9}
    for _ in range(2):
        for name, shown in (("bare", ()), ("burnt", pieces)):
            began = time.perf_counter()
            burn_in(made, folder / f"{name}.mp4", Overlay(made.width, made.height, shown))
            took[name] = min(took[name], time.perf_counter() - began)
    share = took["bare"] / took["burnt"]
    print(
        f"footage: {FOOTAGE_SECONDS / took['burnt']:.2f} x real time with pieces on it, "
        f"{FOOTAGE_SECONDS / took['bare']:.2f} x without: {share:.0%} of the encoder's own speed"
    )
    return {
        "times_real_time": round(FOOTAGE_SECONDS / took["burnt"], 2),
        "encoder_alone": round(FOOTAGE_SECONDS / took["bare"], 2),
        "share": round(share, 3),
    }


def _grainy(path: Path, seconds: float) -> None:
    rng = np.random.default_rng(1)
    grain = rng.integers(0, 24, (8, 1080 * 3 // 2, 1920), dtype=np.uint8)
    slope = (np.mgrid[0 : 1080 * 3 // 2, 0:1920].sum(axis=0) // 16 % 160).astype(np.uint8)

    def pictures() -> Iterator[tuple[float, Any]]:
        for number in range(round(seconds * 30)):
            yield number / 30, np.roll(slope, 4 * number, axis=1) + grain[number % 8] + np.uint8(40)

    sound = (0.1 * rng.standard_normal((2, round(seconds * RATE_HZ)))).astype(np.float32)
    write_pictures(path, pictures(), width=1920, height=1080, seconds=seconds, samples=sound, rate_hz=RATE_HZ)


def memory_of(seconds: float) -> int:
    """The most memory (MB) this process has taken when it has written so much of the demonstration's pictures."""
    show = demonstration("wide", seconds)

    def pictures() -> Iterator[tuple[float, Any]]:
        for at in frame_times(show, variable=True):
            show.draw(at)
            yield at, show.canvas.planes

    with tempfile.TemporaryDirectory() as name:
        write_pictures(Path(name) / "x.mp4", pictures(), width=1920, height=1080, seconds=seconds, variable=True)
    # The high-water mark of this process alone: what getrusage says is inherited from the one that started it.
    status = Path("/proc/self/status").read_text()
    return int(next(line for line in status.splitlines() if line.startswith("VmHWM")).split()[1]) // 1024


if __name__ == "__main__":
    main()
