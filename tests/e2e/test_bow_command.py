"""partwright bow and the bow's part of explain and build, as a user types them."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from made_scores import bar, note, score
from partwright.lesson import write_demo
from partwright.score import read_musicxml, strip_marks

Run = Callable[..., Any]


@pytest.fixture
def tune(tmp_path: Path) -> Path:
    """Two invented bars, a repeated note first."""
    path = tmp_path / "tune.musicxml"
    eighths = [note(p, 2) for p in ("D3", "E3", "F3", "G3")]
    path.write_text(
        score(bar([note("A3"), note("A3"), *eighths]), bar([note("G3", 8), note("E3", 8)])), encoding="utf-8"
    )
    return path


def bow_signs(path: Path) -> list[str]:
    return [str(e.tag) for e in etree.parse(path).iter("up-bow", "down-bow")]


def test_bow_writes_signs_and_keeps_the_source(partwright_here: Run, tune: Path, shared: Path) -> None:
    """Signs are added, valid by the 4.0 schema; taken out again, the source is as it was, canonical form equal."""
    before = tune.read_bytes()
    done = partwright_here("bow", tune, "--marks", "every", "--out", "bowed.musicxml")
    out = tune.with_name("bowed.musicxml")
    assert done.code == 0, done.err
    assert len(bow_signs(out)) == 8
    assert tune.read_bytes() == before
    stripped = strip_marks(read_musicxml(out).document)
    assert etree.tostring(stripped, method="c14n") == etree.tostring(etree.parse(tune), method="c14n")
    schema_folder = shared / "data" / "musicxml-4.0-xsd"

    class Local(etree.Resolver):
        def resolve(self, url: str, _id: str, context: Any) -> Any:
            return self.resolve_filename(str(schema_folder / Path(url).name), context)

    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(Local())
    schema = etree.XMLSchema(etree.parse(schema_folder / "musicxml.xsd", parser))
    assert schema.validate(etree.parse(out)), schema.error_log


def test_fingers_then_bows_then_fingers_leave_both_in_the_file(partwright_here: Run, tune: Path) -> None:
    """Each command replaces its own marks of an earlier run and leaves the other's; all of them come out again."""
    fingered, both, again = (tune.with_name(f"{name}.musicxml") for name in ("fingered", "both", "again"))
    assert partwright_here("finger", tune, "--marks", "every", "--out", fingered.name).code == 0
    assert partwright_here("bow", fingered, "--marks", "every", "--out", both.name).code == 0
    assert partwright_here("finger", both, "--marks", "every", "--out", again.name).code == 0

    def marks(path: Path) -> tuple[int, int]:
        return len(list(etree.parse(path).iter("fingering"))), len(bow_signs(path))

    fingers, _ = marks(fingered)
    assert fingers > 5
    assert marks(both) == marks(again) == (fingers, 8)
    ids = [e.get("id") for e in etree.parse(both).iter("notations", "direction") if e.get("id")]
    assert len(ids) == len(set(ids))
    stripped = strip_marks(read_musicxml(again).document)
    assert etree.tostring(stripped, method="c14n") == etree.tostring(etree.parse(tune), method="c14n")


def test_bow_prints_json_and_pins_stand(partwright_here: Run, tune: Path) -> None:
    """Both repeated notes down, as pinned; the document has the promised fields and nothing else is on the output."""
    done = partwright_here("bow", tune, "--pin", "1:1=down", "--pin", "1:2=down", "--json")
    assert done.code == 0, done.err
    strokes = json.loads(done.out)["strokes"]
    assert [stroke["direction"] for stroke in strokes[:3]] == ["down", "down", "up"]
    assert [stroke["pinned"] for stroke in strokes[:3]] == [True, True, False]
    assert strokes[1]["retake"] or strokes[1]["hook"]


def test_contradictory_pins_end_with_one_sentence(partwright_here: Run, tune: Path) -> None:
    """Exit 2, both places, the file, no traceback."""
    done = partwright_here("bow", tune, "--pin", "1:1=down", "--pin", "1:1=up")
    assert done.code == 2
    assert "tune.musicxml, bar 1, beat 1" in done.err
    assert done.out == ""
    done = partwright_here("bow", tune, "--pin", "1:1=sideways")
    assert done.code == 2
    done = partwright_here("bow", tune, "--pin", "7:1=down")
    assert done.code == 2
    assert "there is no bar 7" in done.err


def test_bow_prints_a_table_suggestions_and_the_picture(partwright_here: Run, tune: Path) -> None:
    """Without --out a table; with a name ending in .svg the picture; suggestions only when asked for."""
    done = partwright_here("bow", tune, "--may-slur")
    assert done.code == 0
    assert done.out.splitlines()[0].split() == ["bar", "beat", "bow", "from", "to", "mm/s"]
    assert "suggestion:" in done.out
    assert "suggestion:" not in partwright_here("bow", tune).out
    assert partwright_here("bow", tune, "--out", "bow.svg").code == 0
    assert tune.with_name("bow.svg").read_text(encoding="utf-8").startswith("<svg")


def test_explain_answers_for_the_bow(partwright_here: Run, tune: Path) -> None:
    """The stroke, its reasons, the other direction and its price; in words and as JSON."""
    done = partwright_here("explain", tune, "2:1")
    assert done.code == 0, done.err
    assert "bow: " in done.out
    assert "the other direction would cost more" in done.out
    document = json.loads(partwright_here("explain", tune, "2:1", "--json").out)
    told = document["bow"][0]
    assert told["alternatives"][0]["extra_cost"] > 0
    assert told["chosen"]["direction"] != told["alternatives"][0]["direction"]


def test_a_lesson_keeps_its_bow_pins(partwright_here: Run, tmp_path: Path) -> None:
    """A pin in lesson.toml decides; the build puts signs on the tune and draws where the bow travels."""
    folder = tmp_path / "lesson"
    folder.mkdir()
    write_demo(folder)
    text = (folder / "lesson.toml").read_text(encoding="utf-8")
    assert "[pins]" in text
    (folder / "lesson.toml").write_text(text.replace("[pins]", '[pins]\n"5:1" = "up"', 1), encoding="utf-8")
    done = partwright_here("build", folder, "--only", "fingered", "--only", "bows")
    assert done.code == 0, done.err
    strokes = json.loads((folder / "build" / "bows.json").read_text(encoding="utf-8"))["strokes"]
    pinned = [stroke for stroke in strokes if stroke["pinned"]]
    assert [(s["bar"], s["beat"], s["direction"]) for s in pinned if s["bar"] == "5"] == [("5", "1", "up")]
    assert {"up-bow", "down-bow"} <= set(bow_signs(folder / "build" / "fingered.musicxml"))
    assert (folder / "build" / "bows.svg").read_text(encoding="utf-8").startswith("<svg")
