"""Mutate real MusicXML files and read, unfold, annotate and write them: only PartwrightError may come out.

    python tests/fuzz/fuzz_reader.py --runs 100000 --seed 1

Sources: the open MusicXML suite (see tests/conftest.py for where it lies). What breaks is kept in `finds/` and read
again by `test_fuzz_reader.py` in every run of the tests.
"""

from __future__ import annotations

import argparse
import hashlib
import random
import sys
import time
import traceback
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

from lxml import etree

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from conftest import shared_folder
from partwright.errors import InputError, PartwrightError
from partwright.score import (
    BracketLine,
    FingeringMark,
    Mark,
    Tune,
    WordsMark,
    annotate,
    find_faults,
    musicxml_bytes,
    strip_marks,
    tune_from_bytes,
    with_note_ids,
)

FINDS = Path(__file__).parent / "finds"
SLOW_SECONDS = 5.0
LARGEST_SOURCE_BYTES = 30_000

NUMBERS = [
    b"0", b"1", b"-1", b"2", b"3", b"7", b"64", b"99", b"100", b"1000000", b"99999999999999", b"-99999999999999",
    b"0.5", b"1e9", b"nan", b"inf", b"-0", b"", b" ", b"1/2", b"1_0", b"0x10", b"9" * 5000, "\u0663".encode(), b"1,2",
]  # fmt: skip
TAGS = [
    "note", "chord", "grace", "rest", "duration", "backup", "forward", "voice", "staff", "pitch", "measure", "part",
    "attributes", "divisions", "time", "beats", "clef", "key", "transpose", "barline", "repeat", "ending", "direction",
    "direction-type", "words", "metronome", "wedge", "octave-shift", "sound", "notations", "tied", "slur", "technical",
    "fingering", "harmony", "cue", "unpitched", "print", "segno", "coda", "score-timewise", "senza-misura",
]  # fmt: skip


def sources() -> list[bytes]:
    """The small files of the suite, as bytes."""
    folder = shared_folder() / "data" / "musicxml-suite" / "xmlFiles"
    return [data for path in sorted(folder.iterdir()) if len(data := path.read_bytes()) <= LARGEST_SOURCE_BYTES]


# --- changes to bytes ----------------------------------------------------------------------------------------


def flip(data: bytearray, dice: random.Random, _: Sequence[bytes]) -> None:
    for _count in range(dice.randint(1, 8)):
        data[dice.randrange(len(data))] = dice.randrange(256)


def cut(data: bytearray, dice: random.Random, _: Sequence[bytes]) -> None:
    start = dice.randrange(len(data))
    del data[start : start + dice.choice([1, 10, 100, 10_000])]


def double(data: bytearray, dice: random.Random, _: Sequence[bytes]) -> None:
    start = dice.randrange(len(data))
    piece = data[start : start + dice.choice([1, 20, 400])]
    data[start:start] = piece * dice.choice([1, 2, 50])


def splice(data: bytearray, dice: random.Random, others: Sequence[bytes]) -> None:
    other = dice.choice(others)
    start = dice.randrange(len(other))
    at = dice.randrange(len(data))
    data[at:at] = other[start : start + dice.randint(1, 2000)]


def number(data: bytearray, dice: random.Random, _: Sequence[bytes]) -> None:
    starts = [i for i in range(1, len(data)) if data[i - 1 : i] in (b">", b'"') and data[i : i + 1].isdigit()]
    if starts:
        start = dice.choice(starts)
        end = start
        while end < len(data) and data[end : end + 1].isdigit():
            end += 1
        data[start:end] = dice.choice(NUMBERS)


BYTE_CHANGES: tuple[Callable[[bytearray, random.Random, Sequence[bytes]], None], ...] = (
    flip,
    cut,
    double,
    splice,
    number,
    number,
    number,
)


# --- changes to trees ----------------------------------------------------------------------------------------


def change_tree(data: bytes, dice: random.Random, others: Sequence[etree._Element]) -> bytes:
    """One to six changes to the elements of a well-formed document."""
    try:
        root = etree.fromstring(data, etree.XMLParser(resolve_entities=False, no_network=True))
    except etree.XMLSyntaxError:
        return data
    for _ in range(dice.randint(1, 6)):
        elements = list(root.iter("*"))
        element = dice.choice(elements)
        parent = element.getparent()
        what = dice.randrange(8)
        if what == 0 and parent is not None:
            parent.remove(element)
        elif what == 1 and parent is not None and len(elements) < 5000:
            parent.insert(dice.randrange(len(parent) + 1), etree.fromstring(etree.tostring(element, with_tail=False)))
        elif what == 2:
            element.text = dice.choice(NUMBERS).decode()
        elif what == 3 and element.attrib:
            element.set(dice.choice(list(element.attrib)), dice.choice(NUMBERS).decode())
        elif what == 4:
            element.tag = dice.choice(TAGS)
        elif what == 5:
            other = dice.choice(elements)
            if other is not element and element not in other.iterancestors() and other not in element.iterancestors():
                element.append(other)
        elif what == 6:
            guest = dice.choice(list(dice.choice(others).iter("*")))
            if len(guest) < 50:
                element.insert(
                    dice.randrange(len(element) + 1), etree.fromstring(etree.tostring(guest, with_tail=False))
                )
        else:
            element.set(
                dice.choice(["type", "number", "id", "location", "times", "voice"]),
                dice.choice(
                    ["start", "stop", "1", "2", "yes", "no", "forward", "backward", "1, 2", "P1", "", "left", "999999"]
                ),
            )
    return etree.tostring(root)


def mutated(dice: random.Random, files: Sequence[bytes], trees: Sequence[etree._Element]) -> bytes:
    data = dice.choice(files)
    if dice.random() < 0.6:
        data = change_tree(data, dice, trees)
    if dice.random() < 0.5 and data:
        changed = bytearray(data)
        for _ in range(dice.randint(1, 3)):
            if changed:
                dice.choice(BYTE_CHANGES)(changed, dice, files)
        data = bytes(changed)
    return data


# --- what is done with each ----------------------------------------------------------------------------------


def exercise(data: bytes) -> str:
    """Read, unfold, look for faults, annotate, write. "read", or the class of the PartwrightError that came out."""
    try:
        use(tune_from_bytes(data, source=Path("fuzz.musicxml")))
    except PartwrightError as error:
        text = str(error)
        assert "\n" not in text, text
        assert len(text) < 1000, text
        if not isinstance(error, InputError) or "Choose one" not in text:
            return type(error).__name__
        try:
            use(tune_from_bytes(data, source=Path("fuzz.musicxml"), part="1", voice="all"))
        except PartwrightError as second:
            return type(second).__name__
    return "read"


def use(tune: Tune) -> None:
    part = tune.part
    assert part.notes
    assert len(part.played_notes) >= 0
    find_faults(part)
    assert len(part.by_id) == len(part.notes), "ids are unique"
    assert all(note.duration_quarters >= 0 and note.onset_quarters >= 0 for note in part.notes)
    marks: list[Mark] = [FingeringMark(note_id=note.id, finger="1") for note in part.notes[:20]]
    marks.append(WordsMark(note_id=part.notes[-1].id, text="IV"))
    marks.append(BracketLine(first_note_id=part.notes[0].id, last_note_id=part.notes[-1].id))
    marked = annotate(tune, marks)
    clean = strip_marks(tune.document)
    assert etree.tostring(strip_marks(marked), method="c14n") == etree.tostring(clean, method="c14n")
    musicxml_bytes(with_note_ids(tune, marked))


def run(runs: int, seed: int, *, keep: bool = True, seconds: float | None = None) -> tuple[Counter[str], list[str]]:
    """Outcomes by kind, and one line for every find (a crash, or a run slower than SLOW_SECONDS)."""
    files = sources()
    parser = etree.XMLParser(resolve_entities=False, no_network=True)
    trees = []
    for data in files:
        try:
            trees.append(etree.fromstring(data, parser))
        except etree.XMLSyntaxError:
            continue
    outcomes: Counter[str] = Counter()
    finds: list[str] = []
    started = time.monotonic()
    for count in range(runs):
        if seconds is not None and time.monotonic() - started > seconds:
            break
        data = mutated(random.Random(f"{seed}-{count}"), files, trees)
        begun = time.process_time()
        try:
            outcomes[exercise(data)] += 1
        except Exception as error:
            where = traceback.extract_tb(error.__traceback__)[-1]
            name = f"{type(error).__name__}-{Path(where.filename).stem}-{where.lineno}"
            outcomes["find"] += 1
            if not any(find.startswith(name) for find in finds):
                finds.append(f"{name}: {str(error)[:120]!r} (run {seed}-{count})")
                if keep:
                    _keep(name, data)
        if time.process_time() - begun > SLOW_SECONDS:
            finds.append(f"slow: {time.process_time() - begun:.1f} s (run {seed}-{count})")
            if keep:
                _keep("slow", data)
        if sys.stderr.isatty() and count % 1000 == 0:
            print(f"\r{count} runs, {len(finds)} finds", end="", file=sys.stderr)
    return outcomes, finds


def _keep(name: str, data: bytes) -> None:
    FINDS.mkdir(exist_ok=True)
    (FINDS / f"{name}-{hashlib.sha256(data).hexdigest()[:8]}.bin").write_bytes(data)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    outcomes, finds = run(options.runs, options.seed)
    print("\n".join(f"{kind}: {count}" for kind, count in sorted(outcomes.items())))
    print("\n".join(finds) or "no finds")
    return 1 if finds else 0


if __name__ == "__main__":
    sys.exit(main())
