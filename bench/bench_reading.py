"""What reading, annotating and writing a part costs, beside the bare XML parser and a reference library.

    python bench/bench_reading.py [--quick]

The same 1,000 bars of eight notes in the same run: our read + a finger on every note and a string on every eighth +
write; lxml's parse + serialise alone (the floor); music21's read + write (the peer, a test dependency). Processor
seconds, the best of several runs. Results go to bench/results/reading.json.
"""

from __future__ import annotations

import argparse
import gc
import json
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

from lxml import etree

from partwright.score import FingeringMark, Mark, StringMark, Tune, annotate, musicxml_bytes, read_tune

RESULTS = Path(__file__).resolve().parent / "results" / "reading.json"
NOTES_A_BAR = 8


def made_part(bars: int) -> bytes:
    """An invented part: eighths in G major for cello, slurred in fours, some articulations, a tempo."""
    steps = "CDEFGAB"
    text = [
        '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0"><part-list><score-part id="P1">'
        '<part-name>Cello</part-name></score-part></part-list>\n  <part id="P1">\n'
    ]
    for bar in range(bars):
        text.append(f'    <measure number="{bar + 1}">\n')
        if bar == 0:
            text.append(
                "      <attributes><divisions>2</divisions><key><fifths>1</fifths></key><time><beats>4</beats>"
                "<beat-type>4</beat-type></time><clef><sign>F</sign><line>4</line></clef></attributes>\n"
                "      <direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>96</per-minute>"
                "</metronome></direction-type></direction>\n"
            )
        for place in range(NOTES_A_BAR):
            step = steps[(place * (1 + bar % 3) + bar) % 7]
            sharp = "<alter>1</alter>" if step == "F" else ""
            slur = {0: '<slur type="start" number="1"/>', 3: '<slur type="stop" number="1"/>'}.get(place % 4, "")
            dot = "<articulations><tenuto/></articulations>" if place == 0 else ""
            notations = f"\n        <notations>{slur}{dot}</notations>" if slur or dot else ""
            text.append(
                f"      <note>\n        <pitch><step>{step}</step>{sharp}<octave>3</octave></pitch>\n"
                f"        <duration>1</duration>\n        <voice>1</voice>\n        <type>eighth</type>\n"
                f"        <stem>up</stem>{notations}\n      </note>\n"
            )
        text.append("    </measure>\n")
    text.append("  </part>\n</score-partwise>\n")
    return "".join(text).encode()


def marks_for(tune: Tune) -> list[Mark]:
    """A finger on every note, a string on every eighth."""
    marks: list[Mark] = [FingeringMark(note_id=note.id, finger=str(1 + note.index % 4)) for note in tune.part.notes]
    marks += [StringMark(note_id=note.id, number=2, letter="D") for note in tune.part.notes[::8]]
    return marks


def best(work: Callable[[], Any], times: int) -> float:
    """Processor seconds of the quickest run."""
    taken = []
    for _ in range(times):
        gc.collect()
        began = time.process_time()
        work()
        taken.append(time.process_time() - began)
    return min(taken)


def measure(bars: int, folder: Path, times: int, *, with_peer: bool) -> dict[str, float]:
    path = folder / f"{bars}.musicxml"
    path.write_bytes(made_part(bars))
    data = path.read_bytes()
    tune = read_tune(path)
    marks = marks_for(tune)
    assert len(tune.part.notes) == bars * NOTES_A_BAR

    def all_of_it() -> None:
        read = read_tune(path)
        musicxml_bytes(annotate(read, marks_for(read)))

    found = {
        "bars": float(bars),
        "megabytes": len(data) / 1e6,
        "bare_parse_and_serialise_s": best(lambda: etree.tostring(etree.fromstring(data)), times),
        "read_s": best(lambda: read_tune(path), times),
        "annotate_s": best(lambda: annotate(tune, marks), times),
        "write_s": best(lambda: musicxml_bytes(tune.document), times),
        "read_annotate_write_s": best(all_of_it, times),
    }
    found["times_bare"] = found["read_annotate_write_s"] / found["bare_parse_and_serialise_s"]
    if with_peer:
        found |= peer(path, folder)
        found["peer_times_ours"] = (found["peer_read_s"] + found["peer_write_s"]) / found["read_annotate_write_s"]
    return found


def peer(path: Path, folder: Path) -> dict[str, float]:
    """The reference library's read and write of the same file, once each: it takes seconds."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from music21 import converter

        read: list[Any] = []
        read_s = best(lambda: read.append(converter.parse(str(path), forceSource=True)), 1)
        write_s = best(lambda: read[0].write("musicxml", fp=str(folder / "peer.musicxml")), 1)
    return {"peer_read_s": read_s, "peer_write_s": write_s}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer runs, no reference library")
    options = parser.parse_args()
    times = 3 if options.quick else 7
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        rows = [
            measure(64, folder, times, with_peer=False),
            measure(1000, folder, times, with_peer=not options.quick),
            measure(5000, folder, min(times, 3), with_peer=False),
        ]
    columns = [key for key in rows[1] if key != "bars"]
    print(f"{'':>28}" + "".join(f"{int(row['bars']):>12} bars" for row in rows))
    for key in columns:
        print(f"{key:>28}" + "".join(f"{row[key]:>17.3f}" if key in row else f"{'–':>17}" for row in rows))
    RESULTS.parent.mkdir(exist_ok=True)
    RESULTS.write_text(json.dumps({"rows": rows}, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
