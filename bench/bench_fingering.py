# ruff: noqa: E402 (the imports below need the path set above them)
"""How fast the fingering search is, beside a general graph library in the same run.

    python bench/bench_fingering.py [--quick]

Ratios travel from machine to machine, seconds don't. Results go to bench/results/fingering.json.
"""

from __future__ import annotations

import argparse
import json
import re
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import networkx as nx
import numpy as np

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests"))

from made_parts import part_of
from partwright.fingering import Pin, plan_of, prepare, replan
from partwright.fingering.columns import ColumnMaker
from partwright.fingering.events import hurry
from partwright.fingering.features import CostModel
from partwright.fingering.lattice import Lattice, MovePrices, Transition, build_lattice
from partwright.fingering.search import solve, state_prices
from partwright.fingering.terms import default_weights
from partwright.instrument import load_instrument

CELLO = load_instrument("cello")
LEVEL = CELLO.levels["advanced"]


def best(work: Callable[[], Any], times: int = 5) -> float:
    """Seconds of the quickest of several runs: the one least disturbed by the rest of the machine."""
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return min(taken)


def line(count: int, seed: int = 1) -> list[int]:
    """A tune that moves by steps and small leaps within four octaves."""
    random = np.random.default_rng(seed)
    here, notes = 50, []
    for step in random.choice((-7, -5, -4, -3, -2, -2, -1, -1, 1, 1, 2, 2, 3, 4, 5, 7), count):
        here = here + int(step) if 38 <= here + int(step) <= 72 else here - int(step)
        notes.append(here)
    return notes


def tune_of(bars: int) -> list[int]:
    """A tune in D major as tunes are: four-bar phrases A A B A, over and over, eight quavers to the bar."""
    scale = [2 + 12 * octave + step for octave in range(3, 6) for step in (0, 2, 4, 5, 7, 9, 11)]
    random = np.random.default_rng(3)
    phrases = []
    for _ in range(2):
        here, phrase = 5, []
        for step in random.choice((-2, -1, -1, 1, 1, 2), 32):
            here = min(13, max(0, here + int(step)))
            phrase.append(scale[here])
        phrases.append(phrase)
    a, b = phrases
    return ((a + a + b + a) * (bars // 16 + 1))[: 8 * bars]


def laid_out(pitches: Sequence[int]) -> Lattice:
    """The lattice of a line of quavers, every fourth pair slurred, without the objects of a score around it."""
    maker = ColumnMaker(CELLO, LEVEL)
    prices = MovePrices(CostModel(CELLO, maker.hands, default_weights()), LEVEL)
    seconds = 0.2
    steps = [
        Transition(a=i, b=i + 1, hurry=hurry(seconds), slurred=i % 4 == 0, seconds=seconds)
        for i in range(len(pitches) - 1)
    ]
    columns = [maker.within((midi,)) for midi in pitches]
    return build_lattice(columns, steps, prices, plays=[1] * len(pitches))


def graph_of(lattice: Lattice) -> tuple[nx.DiGraph, float]:
    """The same lattice as a graph, and what was added to every edge so that none is negative."""
    lift = -min(0.0, *(float(p.min()) for p in (*lattice.note_price, *lattice.branch[1:]))) * 2
    graph = nx.DiGraph()
    graph.add_weighted_edges_from(
        ("start", (0, k), float(price) + lift) for k, price in enumerate(lattice.note_price[0])
    )
    for v in range(1, len(lattice.columns)):
        price = lattice.branch[v] + lattice.note_price[v][None, :] + lift
        for a, row in enumerate(price):
            graph.add_weighted_edges_from(((v - 1, a), (v, b), float(cost)) for b, cost in enumerate(row))
    last = len(lattice.columns) - 1
    graph.add_weighted_edges_from(((last, k), "end", 0.0) for k in range(len(lattice.columns[last])))
    return graph, lift


def against_a_graph_library(notes: int) -> dict[str, Any]:
    lattice = laid_out(line(notes))
    graph, lift = graph_of(lattice)
    ours = best(lambda: solve(lattice), 9)
    theirs = best(lambda: nx.dijkstra_path_length(graph, "start", "end"), 2)
    found = nx.dijkstra_path_length(graph, "start", "end") - lift * len(lattice.columns)
    return {
        "notes": notes,
        "states_per_note": round(statistics.mean(len(c) for c in lattice.columns), 1),
        "edges": graph.number_of_edges(),
        "search_s": ours,
        "graph_library_s": theirs,
        "ratio": theirs / ours,
        "same_cost": abs(solve(lattice).cost - found) < 1e-6,
    }


def growth(counts: Sequence[int]) -> list[dict[str, Any]]:
    """Laying out and searching, one process a size, so that each has its own peak of memory."""
    rows = []
    for count in counts:
        done = subprocess.run(
            [sys.executable, __file__, "--one-size", str(count)], capture_output=True, text=True, check=True
        )
        rows.append(json.loads(done.stdout))
    return rows


def one_size(count: int) -> dict[str, Any]:
    pitches = line(count)
    small = laid_out(pitches[:1000])  # also works out what is worked out once a process
    began = time.perf_counter()
    lattice = laid_out(pitches)
    lay = time.perf_counter() - began
    # The machine's speed changes from second to second, so the yardstick of 1,000 notes is measured in between.
    rounds = max(2, min(15, 400_000 // count))
    pairs = [(best(lambda: solve(lattice), 1) / count, best(lambda: solve(small), 5) / 1000) for _ in range(rounds)]
    search = min(pair[0] for pair in pairs)
    peak_mb = _peak_mb()
    return {
        "notes": count,
        "lay_out_us_per_note": 1e6 * lay / count,
        "search_us_per_note": 1e6 * search,
        "of_1000_notes": statistics.median(pair[0] / pair[1] for pair in pairs),
        "peak_mb": round(peak_mb),
    }


def _peak_mb() -> float:
    """The most memory this process has held. Read from the kernel: `ru_maxrss` would count the parent's too."""
    status = Path("/proc/self/status")
    if status.exists():
        return int(re.search(r"VmHWM:\s+(\d+)", status.read_text())[1]) / 1024  # type: ignore[index]
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def alternatives(bars: int) -> dict[str, Any]:
    part = part_of(line(8 * bars), quarters=Fraction(1, 2))
    planning = prepare(part, CELLO)
    search = best(lambda: solve(planning.lattice, allowed=planning.allowed))
    priced = best(lambda: state_prices(planning.lattice, solve(planning.lattice, allowed=planning.allowed)))
    plan = best(lambda: plan_of(prepare(part, CELLO)), 3)
    both = best(lambda: _plan_and_prices(part), 3)
    return {
        "notes": len(part.notes),
        "search_s": search,
        "search_and_alternatives_s": priced,
        "ratio_search": priced / search,
        "plan_s": plan,
        "plan_and_alternatives_s": both,
        "ratio_plan": both / plan,
    }


def _plan_and_prices(part: Any) -> None:
    planning = prepare(part, CELLO)
    plan_of(planning)
    _ = planning.state_prices


def one_more_pin(bars: int, pins: int = 25) -> dict[str, Any]:
    """A pin at many places of a 200-bar part, each re-planned and planned afresh."""
    part = part_of(line(8 * bars, seed=2), quarters=Fraction(1, 2))
    planning = prepare(part, CELLO)
    plan = plan_of(planning)
    _ = planning.state_prices  # what stands when the teacher moves a finger
    quick, afresh, same = [], [], True
    for index in np.linspace(3, len(part.notes) - 4, pins).astype(int):
        note = part.notes[int(index)]
        column = planning.lattice.columns[planning.variable_of[planning.walk.event_of[note.id]]]
        chosen = plan.by_id[note.id].placement.finger
        fingers = sorted({int(f) for f in column.finger[:, 0]} - {chosen})
        if not fingers:
            continue
        pin = Pin(note_id=note.id, finger=fingers[0])
        quick.append(best(lambda pin=pin: plan_of(replan(planning, pin)), 3))
        afresh.append(best(lambda pin=pin: plan_of(prepare(part, CELLO, pins=[pin])), 2))
        one, two = plan_of(replan(planning, pin)), plan_of(prepare(part, CELLO, pins=[pin]))
        same = same and [n.placement for n in one.notes] == [n.placement for n in two.notes]
        same = same and abs(one.total_cost - two.total_cost) < 1e-6
    return {
        "bars": bars,
        "pins": len(quick),
        "replan_s": statistics.median(quick),
        "afresh_s": statistics.median(afresh),
        "ratio": statistics.median(afresh) / statistics.median(quick),
        "identical": same,
    }


def start_up(bars: int = 64) -> dict[str, Any]:
    """The command on a 64-bar tune, beside an interpreter that only imports the three largest dependencies."""
    with tempfile.TemporaryDirectory() as folder:
        tune, out = Path(folder) / "tune.musicxml", Path(folder) / "fingered.musicxml"
        tune.write_text(_musicxml(tune_of(bars)), encoding="utf-8")
        command = [sys.executable, "-m", "partwright", "finger", str(tune), "--out", str(out)]
        bare = [sys.executable, "-c", "import numpy, lxml.etree, click"]
        _run(command)  # writes what is compiled once
        rows = [(_run(command), _run(bare)) for _ in range(9)]
    wall, cpu = ([min(pair[k][kind] for pair in rows) for k in (0, 1)] for kind in (0, 1))
    return {
        "bars": bars,
        "finger_s": wall[0],
        "imports_s": wall[1],
        "ratio": wall[0] / wall[1],
        "cpu_ratio": cpu[0] / cpu[1],
    }


def _run(command: Sequence[str]) -> tuple[float, float]:
    """Seconds a command took by the clock, and of processor."""
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    taken, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    return taken, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def _musicxml(pitches: Sequence[int]) -> str:
    steps = (
        ("C", 0),
        ("C", 1),
        ("D", 0),
        ("D", 1),
        ("E", 0),
        ("F", 0),
        ("F", 1),
        ("G", 0),
        ("G", 1),
        ("A", 0),
        ("A", 1),
    )
    steps = (*steps, ("B", 0))
    bars = []
    for start in range(0, len(pitches), 8):
        notes = "".join(
            f"<note><pitch><step>{steps[m % 12][0]}</step><alter>{steps[m % 12][1]}</alter>"
            f"<octave>{m // 12 - 1}</octave></pitch><duration>1</duration><type>eighth</type></note>"
            for m in pitches[start : start + 8]
        )
        attributes = (
            "<attributes><divisions>2</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
            "<clef><sign>F</sign><line>4</line></clef></attributes>"
        )
        bars.append(f'<measure number="{start // 8 + 1}">{attributes if start == 0 else ""}{notes}</measure>')
    return (
        '<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0"><part-list><score-part id="P1">'
        f'<part-name>Cello</part-name></score-part></part-list><part id="P1">{"".join(bars)}</part></score-partwise>'
    )


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--quick", action="store_true", help="sizes up to 100,000 notes")
    options.add_argument("--one-size", type=int, help=argparse.SUPPRESS)
    chosen = options.parse_args()
    if chosen.one_size:
        print(json.dumps(one_size(chosen.one_size)))
        return
    results: dict[str, Any] = {}
    results["graph_library"] = row = against_a_graph_library(100)
    print(f"search against networkx, {row['notes']} notes × {row['states_per_note']} states, {row['edges']:,} edges")
    print(f"  {row['search_s'] * 1e3:.2f} ms against {row['graph_library_s'] * 1e3:.0f} ms: {row['ratio']:.0f} ×")
    print(f"  same cost: {row['same_cost']}   (goal: ≥ 50 ×)")
    sizes = [1_000, 10_000, 100_000] if chosen.quick else [1_000, 10_000, 100_000, 1_000_000]
    results["growth"] = growth(sizes)
    print("     notes   lay out µs/note   search µs/note   of 1,000 notes'   peak MB")
    for row in results["growth"]:
        print(
            f"{row['notes']:>10,} {row['lay_out_us_per_note']:>17.1f} {row['search_us_per_note']:>16.1f} "
            f"{row['of_1000_notes']:>16.2f} {row['peak_mb']:>9}"
        )
    print("  (goal: search time per note within 20 %, a million notes under 2,000 MB)")
    results["alternatives"] = row = alternatives(200)
    print(f"alternatives of all notes, {row['notes']} notes: search {row['ratio_search']:.2f} ×, ", end="")
    print(f"whole plan {row['ratio_plan']:.2f} × of the plan alone   (goal: ≤ 2.5 ×)")
    results["one_pin"] = row = one_more_pin(200)
    took = f"{row['replan_s'] * 1e3:.1f} ms, afresh {row['afresh_s'] * 1e3:.1f} ms"
    print(f"one more pin in {row['bars']} bars: {took}: {row['ratio']:.1f} ×, ", end="")
    print(f"identical: {row['identical']}   (goal: ≥ 5 ×)")
    results["start_up"] = row = start_up()
    print(f"`finger` on {row['bars']} bars: {row['finger_s']:.3f} s; bare imports {row['imports_s']:.3f} s: ", end="")
    print(f"{row['ratio']:.2f} ×, by processor time {row['cpu_ratio']:.2f} ×   (goal: < 1.5 ×)")
    folder = Path(__file__).parent / "results"
    folder.mkdir(exist_ok=True)
    (folder / "fingering.json").write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
