"""How fast the catalogue is: finding among 10,000 lessons, a rebuild by number of lessons, building many at once.

    python bench/bench_catalogue.py            all of it (about fifteen minutes)
    python bench/bench_catalogue.py --quick    without building lessons
    python bench/bench_catalogue.py --releases only what a release reads of earlier editions

The peer of finding is a plain scan: the same 10,000 lessons as lines of JSON on this machine's disk, each read and
asked the same question. A rebuild is linear where a lesson costs as much among many as among few. Building is measured
on one process and on two: `busy` is the share of two processes' time in which they were building, `overhead` what a
lesson costs in processor time alone over what it costs beside another; their product is the efficiency, which other
work on the machine disturbs least. Releasing: what a look at the earlier editions costs where untouched ones are
remembered, beside reading every byte of them, in the same run. Ratios travel, seconds don't. Results go to
bench/results/catalogue.json.
"""

from __future__ import annotations

import datetime
import json
import os
import platform
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from partwright.catalogue import (
    Entry,
    Filters,
    build_many,
    edition_faults,
    find_lessons_by,
    local_pool,
    open_catalogue,
    parse_filters,
    read_editions,
    release,
)
from partwright.files import write_atomic
from partwright.lesson import RightsSheet
from partwright.lesson.demo_io import demo_files

HERE = Path(__file__).parent
LESSONS = 10_000
PAGE = 100  # rows of a list as the studio asks for them
RUNS = 15
REBUILT = (250, 500, 1000, 2000, 4000)
BUILT = 40
EDITIONS = (1, 2, 4, 8, 16)
SOLD = ("part-a4", "booklet-a4", "stems")
ONLY = ("part-a4", "part-letter", "charts", "booklet-a4", "facts")
_NAMES = ("lantern", "weir", "goose", "stair", "ferry", "bell", "clock", "gate", "salt", "march", "orchard", "kettle",
          "miller", "thaw", "harbour", "sparrow", "hollow", "ember", "willow", "tinker", "cradle", "moor", "lamplight",
          "saddle", "furrow")  # fmt: skip
_KEYS = [f"{step} {mode}" for step in ("C", "D", "E♭", "E", "F", "G", "A", "B♭") for mode in ("major", "minor")]
_POSITIONS = ("I", "II", "III", "IV", "V")
PHRASES = (
    "intermediate, no extensions, D major, under 3 minutes",
    "beginner, first position",
    "cello, advanced, position V",
    "released, own work, under 5 EUR",
    "tag waltz, over 2 minutes",
    "draft",
)
SEARCHES = ("lantern", "ferry bell", "harb thaw", "ember willow cradle", "nothing of the kind")


def invented(count: int) -> list[Entry]:
    chance = random.Random(3901)
    made = []
    for k in range(count):
        used = sorted(chance.sample(range(5), chance.randint(1, 4)))
        made.append(
            Entry(
                id=f"lesson-{k}",
                folder=f"lessons/{k // 100}/{k}",
                title=" ".join(chance.sample(_NAMES, 3)).capitalize(),
                composer=f"{chance.choice(_NAMES).capitalize()} {chance.choice(_NAMES).capitalize()}",
                teacher="Ottoline Fennick",
                instrument=chance.choice(("cello", "viola", "violin", "double_bass")),
                level=chance.choice(("beginner", "intermediate", "advanced")),
                summary=" ".join(chance.choices(_NAMES, k=14)),
                key=chance.choice(_KEYS),
                metre=chance.choice(("3/4", "4/4", "6/8")),
                bars=chance.randint(12, 120),
                seconds=chance.uniform(30, 400),
                lowest="C2",
                highest="A4",
                lowest_midi=36,
                highest_midi=chance.randint(55, 80),
                extensions=chance.choice((0, 0, 3, 9)),
                harmonics=chance.choice((0, 0, 1)),
                thumb=0,
                double_stops=chance.choice((0, 0, 2)),
                hardest=f"Shift to the {chance.choice(_NAMES)}",
                hardest_bar=str(chance.randint(1, 60)),
                positions=tuple(_POSITIONS[i] for i in used),
                tags=tuple(chance.sample(("waltz", "march", "air", "jig", "duet"), 2)),
                price_cents=chance.choice((250, 450, 650, 900)),
                currency="EUR",
                state=chance.choice(("draft", "released", "released", "changed")),
                rights=RightsSheet(status=chance.choice(("own-work", "licensed", "public-domain"))),
            )
        )
    return made


def plain_line(entry: Entry) -> str:
    names = ("id", "title", "composer", "teacher", "summary", "instrument", "level", "key", "metre", "seconds",
             "extensions", "positions", "tags", "price_cents", "currency", "state", "hardest")  # fmt: skip
    return json.dumps({**{n: getattr(entry, n) for n in names}, "status": entry.rights.status}, ensure_ascii=False)


def scan(path: Path, test: Callable[[dict[str, object]], bool]) -> list[str]:
    with path.open(encoding="utf-8") as stream:
        return [str(row["id"]) for line in stream if test(row := json.loads(line))]


def as_wished(wish: Filters) -> Callable[[dict[str, object]], bool]:
    def test(row: dict[str, object]) -> bool:
        seconds, price, positions = float(str(row["seconds"])), int(str(row["price_cents"])), row["positions"]
        assert isinstance(positions, list)
        assert isinstance(row["tags"], list)
        return (
            (not wish.level or row["level"] == wish.level)
            and (not wish.instrument or row["instrument"] == wish.instrument)
            and (not wish.key or str(row["key"]).startswith(wish.key))
            and (wish.under_seconds is None or seconds < wish.under_seconds)
            and (wish.over_seconds is None or seconds > wish.over_seconds)
            and (wish.extensions is None or bool(row["extensions"]) is wish.extensions)
            and (not wish.only_position or positions == [wish.only_position])
            and (not wish.uses_position or wish.uses_position in positions)
            and (not wish.state or row["state"] == wish.state)
            and (not wish.status or row["status"] == wish.status)
            and (not wish.tag or wish.tag in row["tags"])
            and (wish.under_cents is None or (price < wish.under_cents and row["currency"] == wish.currency))
        )

    return test


def with_words(words: str) -> Callable[[dict[str, object]], bool]:
    wanted = words.casefold().split()

    def test(row: dict[str, object]) -> bool:
        text = " ".join(str(row[n]) for n in ("title", "composer", "teacher", "summary", "tags", "key", "hardest"))
        held = text.casefold().replace(",", " ").split()
        return all(any(word.strip("[]'").startswith(w) for word in held) for w in wanted)

    return test


def timed(call: Callable[[], object]) -> tuple[float, float]:
    """Median milliseconds by the clock and of the processor."""
    clock, cpu = [], []
    for _ in range(RUNS):
        began, used = time.perf_counter(), time.process_time()
        call()
        clock.append(1000 * (time.perf_counter() - began))
        cpu.append(1000 * (time.process_time() - used))
    return statistics.median(clock), statistics.median(cpu)


def finding(folder: Path) -> dict[str, object]:
    entries = invented(LESSONS)
    lines = folder / "lessons.jsonl"
    lines.write_text("".join(plain_line(entry) + "\n" for entry in entries), encoding="utf-8")
    began = time.process_time()
    with open_catalogue(folder / "catalogue.db", create=True) as catalogue:
        with catalogue._writing():
            for entry in entries:
                catalogue._put(entry, new=True)
        entered = time.process_time() - began
    rows = []
    with open_catalogue(folder / "catalogue.db") as catalogue:
        database = catalogue.database
        asked: list[tuple[str, str, str, Callable[[dict[str, object]], bool]]] = [
            *(("filter", phrase, "", as_wished(parse_filters(phrase))) for phrase in PHRASES),
            *(("search", "", words, with_words(words)) for words in SEARCHES),
        ]
        for kind, phrase, words, test in asked:
            filters = parse_filters(phrase)

            def find(limit: int | None, filters: Filters = filters, words: str = words) -> object:
                return find_lessons_by(database, words=words, filters=filters, limit=limit)

            page_ms, page_cpu_ms = timed(lambda find=find: find(PAGE))  # type: ignore[misc]
            all_ms, all_cpu_ms = timed(lambda find=find: find(None))  # type: ignore[misc]
            scan_ms, scan_cpu_ms = timed(lambda test=test: scan(lines, test))  # type: ignore[misc]
            found = find_lessons_by(database, words=words, filters=filters)
            if kind == "filter":
                assert {row.entry.id for row in found.rows} == set(scan(lines, test)), phrase
            rows.append(
                {
                    "kind": kind,
                    "asked": phrase or words,
                    "found": found.total,
                    "page_ms": round(page_ms, 2),
                    "page_cpu_ms": round(page_cpu_ms, 2),
                    "all_ms": round(all_ms, 2),
                    "all_cpu_ms": round(all_cpu_ms, 2),
                    "scan_ms": round(scan_ms, 1),
                    "scan_cpu_ms": round(scan_cpu_ms, 1),
                    "scan_over_page": round(scan_cpu_ms / page_cpu_ms, 1),
                }
            )
    size = (folder / "catalogue.db").stat().st_size
    return {"lessons": LESSONS, "page": PAGE, "entered_cpu_s": round(entered, 2), "megabytes": round(size / 1e6, 1),
            "rows": rows}  # fmt: skip


def write_lessons(home: Path, count: int, facts: bytes | None) -> list[Path]:
    files = demo_files()
    text = files["lesson.toml"].decode("utf-8")
    folders = []
    for k in range(count):
        folder = home / f"{k // 200:03d}" / f"tune{k:05d}"
        folder.mkdir(parents=True)
        own = text.replace('id = "lantern-on-the-weir"', f'id = "tune-{k}"')
        (folder / "lesson.toml").write_text(own, encoding="utf-8")
        (folder / "tune.musicxml").write_bytes(files["tune.musicxml"])
        if facts is not None:
            (folder / "build").mkdir()
            (folder / "build" / "facts.json").write_bytes(facts)
        folders.append(folder)
    return folders


def rebuilding(folder: Path) -> dict[str, object]:
    first = write_lessons(folder / "one", 1, None)[0]
    build_many([first], local_pool(1), only=["facts"])
    facts = (first / "build" / "facts.json").read_bytes()
    rows = []
    for count in REBUILT:
        home = folder / f"shelf{count}"
        write_lessons(home, count, facts)
        with open_catalogue(home / "catalogue.db", create=True) as catalogue:
            began, used = time.perf_counter(), time.process_time()
            done = catalogue.rebuild()
            cpu, clock = time.process_time() - used, time.perf_counter() - began
        assert done.lessons == count
        assert done.trouble == ()
        rows.append(
            {
                "lessons": count,
                "s": round(clock, 2),
                "cpu_s": round(cpu, 3),
                "cpu_ms_each": round(1000 * cpu / count, 3),
            }
        )
    last, first_row = rows[-1], rows[0]
    ratio = float(last["cpu_ms_each"]) / float(first_row["cpu_ms_each"])
    return {"rows": rows, "last_over_first_each": round(ratio, 3)}


def releasing(folder: Path) -> dict[str, object]:
    """What the look at earlier editions costs before each next release: remembered, and every byte read."""
    lesson = write_lessons(folder / "released", 1, None)[0]
    settings = lesson / "lesson.toml"
    lines = [line for line in settings.read_text(encoding="utf-8").splitlines() if not line.startswith("sell = ")]
    sold = f"sell = [{', '.join(json.dumps(name) for name in SOLD)}]"
    at = lines.index("[catalogue]") + 1
    settings.write_text("\n".join([*lines[:at], sold, *lines[at:]]) + "\n", encoding="utf-8")
    rows = []
    for number in range(1, EDITIONS[-1] + 1):
        began, used = time.perf_counter(), time.process_time()
        released = release(lesson, today=datetime.date(2026, 12, 1), even_if_unchanged=True)
        whole, whole_cpu = time.perf_counter() - began, time.process_time() - used
        if number not in EDITIONS:
            continue
        time.sleep(2.5)  # what was written a moment ago is not remembered
        editions = read_editions(lesson)
        size = sum(file.size_bytes for edition in editions for file in (*edition.files, *edition.source))
        used = time.process_time()
        assert edition_faults(lesson, editions, every_byte=False) == ()  # the newest is read, and remembered
        new = time.process_time() - used
        kept_ms = timed(lambda e=editions: edition_faults(lesson, e, every_byte=False))[1]  # type: ignore[misc]
        all_ms = timed(lambda e=editions: edition_faults(lesson, e))[1]  # type: ignore[misc]
        rows.append(
            {
                "editions": number,
                "megabytes": round(size / 1e6, 1),
                "files": sum(len(edition.files) + len(edition.source) for edition in editions),
                "release_s": round(whole, 2),
                "release_cpu_s": round(whole_cpu, 3),
                "look_with_the_newest_cpu_ms": round(1000 * new, 2),
                "look_remembered_cpu_ms": round(kept_ms, 2),
                "look_every_byte_cpu_ms": round(all_ms, 2),
                "every_byte_over_the_newest": round(all_ms / (1000 * new), 2),
                "every_byte_over_remembered": round(all_ms / kept_ms, 1),
            }
        )
        assert released.edition.number == number
    return {"sold": list(SOLD), "rows": rows}


def building(folder: Path) -> dict[str, object]:
    found = {}
    for processes in (1, 2):
        folders = write_lessons(folder / f"built{processes}", BUILT, None)
        began = time.perf_counter()
        built = build_many(folders, local_pool(processes), only=ONLY)
        clock = time.perf_counter() - began
        assert all(b.ok for b in built), [b.error for b in built if b.error]
        found[processes] = (clock, sum(b.seconds for b in built), sum(b.cpu_seconds for b in built))
        assert len({b.content for b in built}) == 1
    (one, _, cpu_one), (two, inside, cpu_two) = found[1], found[2]
    busy, overhead = inside / (2 * two), cpu_one / cpu_two
    return {
        "lessons": BUILT,
        "products": list(ONLY),
        "one_process_s": round(one, 1),
        "two_processes_s": round(two, 1),
        "one_process_cpu_s": round(cpu_one, 1),
        "two_processes_cpu_s": round(cpu_two, 1),
        "busy": round(busy, 3),
        "overhead": round(overhead, 3),
        "efficiency": round(busy * overhead, 3),
        "efficiency_by_the_clock": round(one / (2 * two), 3),
        "load_average": round(os.getloadavg()[0], 1),
        "wanted_at_least": 0.85,
    }


def measured(folder: Path, before: dict[str, object]) -> dict[str, object]:
    """Everything, in one run."""
    document: dict[str, object] = {"finding": (found := finding(folder))}
    for row in found["rows"]:  # type: ignore[attr-defined]
        print(f"{row['asked']:<56}{row['found']:>6}{row['page_ms']:>8.2f} ms  scan {row['scan_ms']:>7.1f} ms "
              f"({row['scan_over_page']:.0f} x)")  # fmt: skip
    document["rebuilding"] = found = rebuilding(folder)
    for row in found["rows"]:  # type: ignore[attr-defined]
        print(f"rebuild of {row['lessons']:>6} lessons: {row['cpu_ms_each']:.2f} ms of processor each")
    document["releasing"] = releasing(folder)
    if "--quick" in sys.argv:
        document["building"] = before.get("building")
    else:
        document["building"] = found = building(folder)
        print(json.dumps(found, indent=1))
    return document


def main() -> None:
    """Measure, print, keep the results."""
    path = HERE / "results" / "catalogue.json"
    before = json.loads(path.read_bytes()) if path.is_file() else {}
    document: dict[str, object] = {
        "date": datetime.date.today().isoformat(),
        "python": platform.python_version(),
        "cores": os.cpu_count(),
    }
    with tempfile.TemporaryDirectory(dir=HERE.parent) as temporary:  # on the disk the work is done on
        folder = Path(temporary)
        if "--releases" in sys.argv:
            document = {**before, "releasing": releasing(folder)}
        else:
            document |= measured(folder, before)
    for row in document["releasing"]["rows"]:  # type: ignore[index]
        print(f"{row['editions']:>3} editions, {row['megabytes']:>6.1f} MB: every byte "
              f"{row['look_every_byte_cpu_ms']:.1f} ms, the newest {row['look_with_the_newest_cpu_ms']:.1f} ms, "
              f"remembered {row['look_remembered_cpu_ms']:.1f} ms; a release {1000 * row['release_cpu_s']:.0f} ms, "
              "all of processor")  # fmt: skip
    write_atomic(path, json.dumps(document, ensure_ascii=False, indent=1) + "\n")


if __name__ == "__main__":
    main()
