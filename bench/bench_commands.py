"""How fast the commands start and the lesson builds, beside the bare interpreter in the same run.

    python bench/bench_commands.py

The peer is an interpreter that imports what `finger` cannot do without (numpy, lxml.etree, click) and stops. Processor
time of the whole process is compared, the least of several runs: it is disturbed least by the rest of the machine.
Ratios travel from machine to machine, seconds don't. Results go to bench/results/commands.json.
"""

from __future__ import annotations

import compileall
import datetime
import json
import os
import platform
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

import partwright
from partwright.files import write_atomic
from partwright.lesson import edit_pin, write_demo

RUNS = 15
HERE = Path(__file__).parent
_PEER = [sys.executable, "-c", "import numpy, lxml.etree, click"]
_TUNE_BARS = 64
Row = dict[str, object]


def processor_seconds(command: list[str], folder: Path, runs: int = RUNS) -> float:
    """User and system time of the quickest of several runs of a command, in seconds."""
    taken = []
    for _ in range(runs):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run(command, cwd=folder, check=True, capture_output=True, env={**os.environ, "OMP_NUM_THREADS": "1"})
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        taken.append(after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime)
    return min(taken)


def tune_of_64_bars(folder: Path) -> Path:
    """The demonstration tune's bars over and over, without its repeat, until there are 64."""
    from lxml import etree

    write_demo(folder / "source")
    tree = etree.parse(folder / "source" / "tune.musicxml")
    part = tree.getroot().find("part")
    for line in part.iter("barline"):
        for name in ("repeat", "ending"):
            for element in line.findall(name):
                line.remove(element)
    bars = part.findall("measure")
    while len(part.findall("measure")) < _TUNE_BARS:
        copied = etree.fromstring(etree.tostring(bars[1 + len(part.findall("measure")) % (len(bars) - 1)]))
        copied.set("number", str(len(part.findall("measure"))))
        part.append(copied)
    path = folder / "tune64.musicxml"
    tree.write(path, encoding="UTF-8", xml_declaration=True)
    return path


def build_seconds(folder: Path) -> float:
    return processor_seconds([sys.executable, "-m", "partwright", "build", str(folder)], folder, runs=1)


def main() -> None:
    """Measure, print a table, keep the results."""
    compileall.compile_dir(str(Path(partwright.__file__).parent), quiet=1)
    rows: list[Row] = []
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        tune = tune_of_64_bars(folder)
        peer = processor_seconds(_PEER, folder)
        program = [sys.executable, "-m", "partwright"]
        for name, arguments, wanted in (
            ("partwright --version", ["--version"], None),
            ("partwright finger, 64 bars", ["finger", str(tune), "--out", "out.musicxml"], 1.5),
            ("partwright explain, 64 bars", ["explain", str(tune), "16:1"], None),
            ("partwright check score, 64 bars", ["check", "score", str(tune)], None),
        ):
            seconds = processor_seconds([*program, *arguments], folder)
            rows.append({"what": name, "seconds": seconds, "ratio": seconds / peer, "wanted_at_most": wanted})
        lesson = folder / "lesson"
        write_demo(lesson)
        first = build_seconds(lesson)
        again = min(build_seconds(lesson) for _ in range(5))
        edit_pin(lesson, "6:1", "4/D")
        pinned = build_seconds(lesson)
        rows += [
            {"what": "build, everything", "seconds": first, "ratio": first / peer, "wanted_at_most": None},
            {"what": "build, nothing changed", "seconds": again, "ratio": again / peer, "wanted_at_most": None},
            {"what": "build, after one pin", "seconds": pinned, "ratio": pinned / peer, "wanted_at_most": None},
        ]
    print(f"{'what':<34}{'s':>8}{'x peer':>9}{'wanted':>9}")
    print(f"{'python, the same three imports':<34}{peer:>8.3f}{1:>9.2f}")
    for row in rows:
        wanted = f"{row['wanted_at_most']:>9}" if row["wanted_at_most"] else ""
        print(f"{row['what']:<34}{row['seconds']:>8.3f}{row['ratio']:>9.2f}{wanted}")
    document = {
        "date": datetime.date.today().isoformat(),
        "python": platform.python_version(),
        "cores": os.cpu_count(),
        "peer": "python -c 'import numpy, lxml.etree, click'",
        "peer_seconds": round(peer, 4),
        "rows": [
            {**row, "seconds": round(float(str(row["seconds"])), 4), "ratio": round(float(str(row["ratio"])), 3)}
            for row in rows
        ],
    }
    write_atomic(HERE / "results" / "commands.json", json.dumps(document, indent=1) + "\n")


if __name__ == "__main__":
    main()
