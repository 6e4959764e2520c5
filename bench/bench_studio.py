# ruff: noqa: E402 (the imports below need the path set above them)
"""The studio: an edit beside planning and engraving all anew, its memory over many edits, and the page in a browser.

    python bench/bench_studio.py [--quick] [--no-browser]

The peer is the plain way in the same run: plan the part afresh and engrave all of it. Ratios travel; times are given in
processor milliseconds beside the clock's, as the machine may be busy. Results go to bench/results/studio.json.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests"))
sys.path.insert(0, str(ROOT / "bench"))

import studio_browser
from bench_fingering import line
from partwright.engraving import EngravingProcess, Heading, engrave_part_svg
from partwright.lesson import page_instrument, page_tune
from partwright.studio.desk import Desk
from partwright.studio.documents import edit_document, leaf_document
from partwright.studio.history_io import read_texts
from partwright.studio.plan_state import plan_state
from studio_server import StudioServer

RESULTS = ROOT / "bench" / "results" / "studio.json"
NAMES = ("C", "C", "D", "E", "E", "F", "F", "G", "G", "A", "B", "B")
ALTERS = (0, 1, 0, -1, 0, 0, 1, 0, 1, 0, -1, 0)


def study(bars: int) -> bytes:
    """Eight quavers to the bar that go nowhere twice: no phrase returns, so every note is planned by itself."""
    pitches = line(8 * bars)
    text = [
        '<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0"><part-list><score-part id="P1">'
        '<part-name>Cello</part-name></score-part></part-list><part id="P1">'
    ]
    for bar in range(bars):
        text.append(f'<measure number="{bar + 1}">')
        if bar == 0:
            text.append(
                "<attributes><divisions>2</divisions><key><fifths>2</fifths></key><time><beats>4</beats><beat-type>4"
                "</beat-type></time><clef><sign>F</sign><line>4</line></clef></attributes><direction><direction-type>"
                "<metronome><beat-unit>quarter</beat-unit><per-minute>96</per-minute></metronome></direction-type>"
                '<sound tempo="96"/></direction>'
            )
        for place in range(8):
            midi = pitches[8 * bar + place]
            alter = f"<alter>{ALTERS[midi % 12]}</alter>" if ALTERS[midi % 12] else ""
            slur = {0: "start", 1: "stop"}.get(place % 4)
            marks = f'<notations><slur type="{slur}" number="1"/></notations>' if slur else ""
            beam = ("begin", "continue", "continue", "end")[place % 4]
            text.append(
                f"<note><pitch><step>{NAMES[midi % 12]}</step>{alter}<octave>{midi // 12 - 1}</octave></pitch>"
                f'<duration>1</duration><voice>1</voice><type>eighth</type><beam number="1">{beam}</beam>{marks}</note>'
            )
        text.append("</measure>")
    text.append("</part></score-partwise>")
    return "".join(text).encode()


def lesson_with(folder: Path, tune: bytes) -> Path:
    folder.mkdir()
    (folder / "tune.musicxml").write_bytes(tune)
    (folder / "lesson.toml").write_text('format = 1\n[instrument]\nlevel = "advanced"\n')
    return folder


def timed(work: Callable[[], Any]) -> tuple[Any, float, float]:
    """What it gave, seconds by the clock, seconds of the processor."""
    clock, processor = time.perf_counter(), time.process_time()
    found = work()
    return found, time.perf_counter() - clock, time.process_time() - processor


def edits_beside_all_anew(folder: Path, edits: int) -> dict[str, Any]:
    """One edit with its redrawn systems, and the whole part planned and engraved again, turn about."""
    chance = random.Random(5)
    clock: list[float] = []
    processor: list[float] = []
    peer_clock: list[float] = []
    peer_processor: list[float] = []
    redrawn: list[int] = []
    with EngravingProcess() as process:
        desk = Desk(folder, process)
        state = desk.state()
        score = desk.score(state)
        for turn in range(edits):
            note = state.part.notes[chance.randrange(len(state.part.notes))]
            leaf = score.leaf_of(note.bar_index)
            leaf_document(state, score, desk.facts(state), leaf, 180, ())
            from partwright.studio.note_view import note_document

            others = note_document(state, desk.facts(state), note, pictures=False)["alternatives"]
            if not others:
                continue
            pick = {"kind": "pin", "n": state.head_of(note).index, "value": others[0]["value"]}

            def change(pick: dict[str, Any] = pick, leaf: int = leaf, version: str = state.version) -> Any:
                done = desk.edit(version, [pick], "bench")
                return done, edit_document(desk, done, width_mm=180, leaves=[leaf])

            try:
                (done, document), seconds, cpu = timed(change)
            except Exception as error:
                print(f"  passed over: {error}")
                continue
            state = done.after
            clock.append(seconds * 1000)
            processor.append(cpu * 1000)
            redrawn.append(sum(system["svg"] is not None for system in document["systems"]))
            if turn % 40 == 0:

                def anew() -> None:
                    fresh = plan_state(folder, read_texts(folder))
                    engrave_part_svg(
                        page_tune(fresh.job), fresh.marks, heading=Heading(title="x"),
                        instrument=page_instrument(fresh.job), process=process,
                    )  # fmt: skip

                _, seconds, cpu = timed(anew)
                peer_clock.append(seconds * 1000)
                peer_processor.append(cpu * 1000)
    return {
        "notes": len(state.part.notes),
        "edits": len(clock),
        "edit_ms": spread(clock),
        "edit_processor_ms": spread(processor),
        "all_anew_ms": spread(peer_clock),
        "all_anew_processor_ms_without_the_library": spread(peer_processor),
        "times_cheaper_by_the_clock": round(statistics.median(peer_clock) / statistics.median(clock), 1),
        "systems_redrawn": {"median": statistics.median(redrawn), "most": max(redrawn)},
    }


def spread(values: list[float]) -> dict[str, float]:
    ordered = sorted(values)
    return {
        "median": round(statistics.median(ordered), 1),
        "p95": round(ordered[min(len(ordered) - 1, int(0.95 * len(ordered)))], 1),
    }


def memory_over_edits(folder: Path, edits: int) -> dict[str, Any]:
    """Resident memory of the server, in MB, over picks and undos all over the part."""
    chance = random.Random(9)
    seen = []
    with StudioServer(folder.parent) as server, server.client() as client:
        address = f"/api/lessons/{folder.name}"
        lesson = client.get(address).json()
        version = lesson["version"]
        leaves = [leaf["leaf"] for leaf in client.get(f"{address}/score").json()["leaves"]]
        for leaf in leaves:
            client.get(f"{address}/score/{leaf}")
        done = 0
        while done < edits:
            n = chance.randrange(lesson["notes"])
            others = client.get(f"{address}/notes/{n}").json()["alternatives"]
            if not others:
                continue
            body = {
                "version": version,
                "shown": {"width_mm": 180, "leaves": [chance.choice(leaves)]},
                "edits": [{"kind": "pin", "n": n, "value": chance.choice(others)["value"]}],
            }
            answer = client.post(f"{address}/edits", json=body)
            if answer.status_code == 200:
                version = answer.json()["version"]
                done += 1
                if chance.random() < 0.9:
                    version = client.post(f"{address}/undo", json={"version": version}).json()["version"]
                    done += 1
            if done % max(1, edits // 10) < 2:
                assert server.process is not None
                seen.append(round(_resident_mb(server.process.pid), 1))
        history = (folder / "history.jsonl").stat().st_size
    return {"edits": done, "resident_mb": seen, "history_bytes_an_edit": round(history / done)}


def _resident_mb(pid: int) -> float:
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def first_page(folder: Path) -> dict[str, float]:
    """From typing the command to the first leaf, and from the first request to it once the address is shown."""
    began = time.perf_counter()
    with StudioServer(folder.parent, folder.name) as server, server.client() as client:
        shown = time.perf_counter()
        client.get("/")
        client.get(f"/api/lessons/{folder.name}")
        client.get(f"/api/lessons/{folder.name}/score")
        client.get(f"/api/lessons/{folder.name}/score/0")
        drawn = time.perf_counter()
    return {"address_shown_s": round(shown - began, 2), "first_leaf_after_that_s": round(drawn - shown, 2)}


def in_a_browser(bars: int, edits: int) -> dict[str, Any] | None:
    if studio_browser.CHROMIUM is None:
        print("no Chromium: the browser's part is left out")
        return None
    return studio_browser.measure(bars, edits)


def main() -> None:
    """Measure, print, keep the results."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="a tenth of the edits")
    parser.add_argument("--no-browser", action="store_true", help="leave the browser out")
    given = parser.parse_args()
    edits = 12 if given.quick else 120
    found: dict[str, Any] = {"load_at_start": round(os.getloadavg()[0], 1), "cores": os.cpu_count()}
    with tempfile.TemporaryDirectory() as name:
        home = Path(name)
        for bars in (200, 1000):
            folder = lesson_with(home / f"study-{bars}", study(bars))
            found[f"study of {bars} bars"] = edits_beside_all_anew(folder, edits if bars == 200 else edits // 8)
            print(json.dumps(found, indent=1))
        folder = lesson_with(home / "tune-200", studio_browser.long_tune(200))
        found["tune of 200 bars that returns"] = edits_beside_all_anew(folder, edits)
        found["first page"] = first_page(lesson_with(home / "first-200", study(200)))
        found["memory"] = memory_over_edits(lesson_with(home / "memory-200", study(200)), 100 if given.quick else 1000)
        print(json.dumps(found, indent=1))
    if not given.quick:  # kept already, should the browser fail
        RESULTS.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    if not given.no_browser:
        found["browser"] = in_a_browser(200, 4 if given.quick else 12)
    found["load_at_end"] = round(os.getloadavg()[0], 1)
    print(json.dumps(found, indent=1))
    if not given.quick:
        RESULTS.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
