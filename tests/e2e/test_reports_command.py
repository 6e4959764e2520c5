"""partwright reports as a user types it, on the demonstration lesson and on bad files."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from partwright.lesson.demo_io import write_demo

Run = Callable[..., Any]


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    write_demo(tmp_path / "demo")
    return tmp_path / "demo"


def with_the_old_note(demo: Path) -> None:
    """The tune as it was before bar 32 was mended: C instead of C sharp."""
    path = demo / "tune.musicxml"
    text = path.read_text(encoding="utf-8")
    at = text.index("<alter>1</alter>", text.index('<measure number="32"'))
    path.write_text(text[:at] + text[at + len("<alter>1</alter>") :], encoding="utf-8")


def test_the_demonstrations_viewers_find_the_misprint_and_the_slip(demo: Path, partwright_here: Run) -> None:
    with_the_old_note(demo)
    ran = partwright_here("reports", demo, demo / "comments.csv", "--json")
    assert ran.code == 1
    found = json.loads(ran.out)
    right = {(f["bar"], f["beat"], f["concerns"], f["count"]) for f in found["findings"] if f["verdict"] == "right"}
    assert right == {("32", "2", "score", 3), ("4", "3", "video", 2)}
    assert found["wishes"][0] == {"tune": "The Miller's Ladder", "viewers": 2}
    errata = (demo / "errata.toml").read_text(encoding="utf-8")
    assert 'was = "C4"' in errata
    assert 'right = "C#4"' in errata
    kept = (demo / "reports.json").read_text(encoding="utf-8")
    assert "Wren" not in kept
    assert "old_tam" not in kept
    again = partwright_here("reports", demo, demo / "comments.csv")
    assert (demo / "errata.toml").read_text(encoding="utf-8") == errata
    assert json.loads((demo / "reports.json").read_bytes())["reports"] == json.loads(kept)["reports"]
    assert "✓ right  3:42  bar 32, beat 2" in again.out


def test_a_dry_run_writes_nothing(demo: Path, partwright_here: Run) -> None:
    before = sorted(p.name for p in demo.iterdir())
    partwright_here("reports", demo, demo / "comments.csv", "--dry-run")
    assert sorted(p.name for p in demo.iterdir()) == before


def test_page_and_table_are_written(demo: Path, tmp_path: Path, partwright_here: Run) -> None:
    ran = partwright_here(
        "reports", demo, demo / "comments.csv", "--page", tmp_path / "p.html", "--csv", tmp_path / "t.csv", "--dry-run"
    )
    assert ran.code == 1
    page = (tmp_path / "p.html").read_text(encoding="utf-8")
    assert "data:image/svg+xml" in page
    assert "<script" not in page
    assert (tmp_path / "t.csv").read_text(encoding="utf-8").startswith("verdict,kind,bar")


def test_times_of_the_demonstration_video_are_times_of_what_is_played(demo: Path, partwright_here: Run) -> None:
    (demo / "c.txt").write_text("at 0:10 that should be a B flat\n", encoding="utf-8")
    ran = partwright_here("reports", demo, demo / "c.txt", "--played", "--json", "--dry-run")
    (finding,) = json.loads(ran.out)["findings"]
    assert finding["bar"] in {"3", "4", "5"}  # a bar of count-in and 3/4 at 100: a bar lasts 1.8 s


@pytest.mark.parametrize(
    ("name", "data"),
    [("none.csv", None), ("empty.csv", b""), ("binary.csv", bytes(range(256)) * 99), ("head.csv", b"author,comment\n")],
)
def test_bad_files_are_refused_in_one_sentence(name: str, data: bytes | None, demo: Path, partwright_here: Run) -> None:
    if data is not None:
        (demo / name).write_bytes(data)
    ran = partwright_here("reports", demo, demo / name)
    assert ran.code == 2
    assert len(ran.err.strip().splitlines()) == 1


def test_a_broken_reports_file_is_not_overwritten(demo: Path, partwright_here: Run) -> None:
    (demo / "reports.json").write_text("{", encoding="utf-8")
    ran = partwright_here("reports", demo, demo / "comments.csv")
    assert ran.code == 2
    assert (demo / "reports.json").read_text(encoding="utf-8") == "{"


def test_kept_reports_are_listed_and_answered_without_a_file(demo: Path, partwright_here: Run) -> None:
    partwright_here("reports", demo, demo / "comments.csv")
    listed = partwright_here("reports", demo)
    assert listed.code == 1
    assert "bar 4, beat 3" in listed.out
    waiting = json.loads(partwright_here("reports", demo, "--json").out)["reports"]
    ids = [row["id"] for row in waiting if row["kind"] in ("claim", "question")]
    ran = partwright_here("reports", demo, "--json", *(f"--answered={name}" for name in ids))
    assert (ran.code, json.loads(ran.out)["summary"]["open"]) == (0, 0)
    again = partwright_here("reports", demo, demo / "comments.csv")
    assert (again.code, again.out.count("answered")) == (0, len([r for r in waiting if r["kind"] == "claim"]))
    assert partwright_here("reports", demo, f"--reopen={ids[0]}").code == 1


def test_calls_that_make_no_sense_are_refused(demo: Path, partwright_here: Run) -> None:
    for call in (["--answered=r1"], [demo / "comments.csv", "--answered=r1"], ["--names"], ["--page", "x.html"]):
        ran = partwright_here("reports", demo, *call)
        assert (ran.code, len(ran.err.strip().splitlines())) == (2, 1)
