"""partwright catalogue as a user types it: the whole story of a lesson that is sold, and bad input in one sentence."""

from __future__ import annotations

import csv
import json
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from catalogue_shelf import BARS, make_lesson, tune_of

Run = Callable[..., Any]
MISPRINT = (*BARS[:2], "A2:1 C3:1 E3:1 G3:1", BARS[3])


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    """A waltz with a misprint, and a march."""
    make_lesson(tmp_path / "waltz", title="Waltz of the Weir", bars=MISPRINT, sell='["part-a4"]')
    make_lesson(tmp_path / "march", level="beginner", more='price = "2.50 EUR"\ntags = ["brisk"]')
    return tmp_path


def test_the_story_of_a_lesson_that_is_sold(shelf: Path, partwright_here: Run) -> None:
    run = partwright_here
    added = run("catalogue", "add", "waltz", "march")
    assert (added.code, len(added.out.splitlines())) == (0, 2)
    assert run("catalogue", "list", "beginner").out.splitlines()[1].startswith("march")
    assert run("catalogue", "list", "intermediate, 4/4, under 3 minutes", "--json").out.count('"id"') == 1
    assert "Waltz of the Weir" in run("catalogue", "search", "weir").out
    assert run("catalogue", "rights", "waltz").code == 0

    first = run("catalogue", "release", "waltz", "--date", "2026-11-28")
    assert first.code == 0, first.err
    assert "edition 1, 2026-11-28, 1 file" in first.out
    assert "differs from country to country" in first.err
    again = run("catalogue", "release", "waltz", "--date", "2026-11-28")
    assert (again.code, "nothing a buyer would see has changed" in again.err) == (2, True)

    copy = run("catalogue", "copy", "waltz", "--for", "A. Reader, order 118", "--out", "outbox", "--json")
    made = json.loads(copy.out)
    assert (copy.code, made["made"], made["allowed"]) == (0, 1, None)
    held = made["files"][0]
    known = run("catalogue", "verify", held)
    assert (known.code, "✓ current: Waltz of the Weir, edition 1" in known.out) == (0, True)
    assert f"copy {made['copy']}: A. Reader, order 118" in known.out

    wrong = ("--add", "C sharp instead of C", "--at", "3:2", "--kind", "pitch", "--was", "C3", "--right", "C#3")
    listed = run("catalogue", "errata", "waltz", *wrong, "--pdf", "slip.pdf")
    assert (listed.code, listed.out.splitlines()[0][:14]) == (1, "✗ confirmed  e")
    assert Path("slip.pdf").read_bytes().startswith(b"%PDF-")
    assert "Bar 3, beat 2: C sharp instead of C." in run("catalogue", "verify", held).out

    (shelf / "waltz" / "tune.musicxml").write_text(tune_of(BARS), encoding="utf-8")
    second = run("catalogue", "release", "waltz", "--date", "2026-12-07")
    assert second.code == 0, second.err
    assert "Bar 3, beat 2: C sharp instead of C." in second.out
    assert "✓ erratum e1 is mended" in second.out
    old = run("catalogue", "verify", held, "waltz/editions/2/files/part-a4.pdf", "waltz/lesson.toml")
    assert old.code == 1
    assert [line[:6] for line in old.out.splitlines() if not line.startswith(" ")] == ["? old:", "✓ curr", "✗ not "]
    assert "Mended in edition 2." in old.out
    errata = json.loads(run("catalogue", "errata", "waltz", "--json").out)["errata"]
    assert [(e["state"], e["fixed"], e["fixed_in"]) for e in errata] == [("fixed", "2026-12-07", 2)]

    shown = run("catalogue", "show", "waltz").out
    assert shown.index("edition 2") < shown.index("edition 1")
    assert run("catalogue", "check").code == 0
    assert run("catalogue", "export", "all.csv").code == 0
    with Path("all.csv").open(encoding="utf-8-sig", newline="") as stream:
        assert {row["id"]: row["edition"] for row in csv.DictReader(stream)} == {"march": "", "waltz": "2"}
    assert run("catalogue", "page", "page.html").code == 0
    assert "What changed in edition 2" in Path("page.html").read_text(encoding="utf-8")
    assert run("catalogue", "backup", "kept.db").code == 0
    before = run("catalogue", "list", "--json").out
    Path("catalogue.db").unlink()
    assert run("catalogue", "rebuild").code == 0
    assert run("catalogue", "list", "--json").out == before


def test_many_lessons_are_built_and_the_bad_one_is_told_at_the_end(shelf: Path, partwright: Run) -> None:
    bad = make_lesson(shelf / "air")
    partwright("catalogue", "add", ".")
    (bad / "tune.musicxml").write_text("nonsense", encoding="utf-8")
    ran = partwright("catalogue", "build", "--only", "facts", "--processes", "2")
    assert ran.code == 1
    assert "3 lessons, 2 with something made anew, 1 failed" in ran.out
    assert ran.err.strip().splitlines()[-1].startswith("✗")
    assert "air: tune.musicxml, line 1: this is not XML" in ran.err.strip().splitlines()[-1]
    assert "hardest" in partwright("catalogue", "show", "waltz").out
    again = partwright("catalogue", "build", "waltz", "march", "--only", "facts", "--json")
    assert (again.code, [row["made"] for row in json.loads(again.out)["lessons"]]) == (0, [0, 0])


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("list",), "there is no catalogue here"),
        (("add", "nowhere"), "nowhere: is not there"),
        (("add", "empty"), "empty: holds no lesson"),
        (("show", "waltz"), "there is no catalogue here"),
        (("release", "nobody"), 'there is no folder "nobody", and no catalogue here'),
        (("release", "waltz", "--date", "28.11.2026"), '"28.11.2026" is no date'),
        (("rights", "waltz", "--expires", "soon"), '"soon" is no date'),
        (("copy", "waltz", "--for", "A", "--out", "o"), "has no edition yet"),
        (("errata", "waltz", "--confirm", "e9"), 'there is no erratum "e9"'),
        (("errata", "waltz", "--at", "3:2"), "belong to a new erratum"),
        (("errata", "waltz", "--add", " "), "has no words"),
        (("relaese", "waltz"), 'Did you mean "release"'),
        (("export", "all.xls"), "neither .csv nor .json"),
    ],
)
def test_bad_input_is_one_sentence(arguments: tuple[str, ...], told: str, shelf: Path, partwright_here: Run) -> None:
    (shelf / "empty").mkdir()
    before = sorted(path.name for path in shelf.iterdir())
    ran = partwright_here("catalogue", *arguments)
    assert ran.code == 2
    assert ran.out == ""
    assert told in ran.err
    assert len(ran.err.strip().splitlines()) == 1
    left = {path.name for path in shelf.iterdir()} - {"catalogue.db", "catalogue.db-wal", "catalogue.db-shm"}
    assert sorted(left) == before


def test_a_damaged_catalogue_is_moved_aside_and_made_again(shelf: Path, partwright_here: Run) -> None:
    partwright_here("catalogue", "add", "waltz", "march")
    path = Path("catalogue.db")
    data = bytearray(path.read_bytes())
    data[4096 * 3 : 4096 * 12] = bytes(4096 * 9)
    path.write_bytes(data)
    assert partwright_here("catalogue", "check").code in (1, 2)
    ran = partwright_here("catalogue", "rebuild")
    assert (ran.code, ran.out) == (0, "2 lessons in the catalogue.\n")
    assert "was damaged" in ran.err
    assert Path("catalogue.db.damaged-1").read_bytes() == bytes(data)
    assert partwright_here("catalogue", "check").code == 0


def test_a_newer_catalogue_is_refused_by_every_command(shelf: Path, partwright_here: Run) -> None:
    partwright_here("catalogue", "add", "waltz")
    with sqlite3.connect("catalogue.db") as database:
        database.execute("PRAGMA user_version = 99")
    database.close()
    for arguments in (("list",), ("check",), ("rebuild",), ("add", "march"), ("backup", "b.db")):
        ran = partwright_here("catalogue", *arguments)
        assert (ran.code, "newer partwright" in ran.err) == (2, True), arguments


def test_what_is_found_wrong_is_told_by_check(shelf: Path, partwright_here: Run) -> None:
    run = partwright_here
    run("catalogue", "add", "waltz", "march")
    run("catalogue", "release", "waltz", "--date", "2026-11-28")
    frozen = shelf / "waltz" / "editions" / "1" / "files" / "part-a4.pdf"
    frozen.chmod(0o644)
    frozen.write_bytes(frozen.read_bytes() + b" ")
    shutil.move(shelf / "march", shelf / "parade")
    ran = run("catalogue", "check", "--json")
    found = [row["what"] for row in json.loads(ran.out)["findings"]]
    assert ran.code == 1
    assert any("part-a4.pdf: was changed by hand" in what for what in found)
    assert any('"March" is no longer there' in what for what in found)
    assert len(found) == 2
    assert run("catalogue", "add", "parade").code == 0


def test_rights_are_written_with_comments_kept(shelf: Path, partwright_here: Run) -> None:
    path = shelf / "waltz" / "lesson.toml"
    path.write_text('format = 1\ntitle = "W"\nrights = ["Mine."]\n# keep me\n', encoding="utf-8")
    refused = partwright_here("catalogue", "rights", "waltz")
    assert (refused.code, "has no status" in refused.out) == (1, True)
    ran = partwright_here(
        "catalogue", "rights", "waltz", "--status", "licensed", "--owner", "Marrow Quay", "--licence", "MQ-1",
        "--granted", "2026-01-01", "--expires", "2999-12-31", "--scope", "print", "--copies", "10", "--json",
    )  # fmt: skip
    assert ran.code == 0, ran.err
    sheet = json.loads(ran.out)
    assert (sheet["sheet"]["expires"], sheet["sheet"]["copies"], sheet["credit"]) == ("2999-12-31", 10, ["Mine."])
    text = path.read_text(encoding="utf-8")
    assert "# keep me" in text
    assert 'lines = ["Mine."]' in text


def test_the_days_date_can_be_fixed_for_a_reproducible_release(shelf: Path, partwright: Run) -> None:
    """SOURCE_DATE_EPOCH: reproducible-builds.org, seconds since 1970 in UTC."""
    partwright("catalogue", "add", "march")
    ran = partwright("catalogue", "release", "march", "--json", SOURCE_DATE_EPOCH="1795824000", TZ="Pacific/Auckland")
    assert json.loads(ran.out)["date"] == "2026-11-28"
