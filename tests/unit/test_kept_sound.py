"""A sound is made again where it would sound otherwise, and only there."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

import partwright.sound
from made_tunes import small_tune, write_lesson_folder
from partwright.building import build_lesson
from partwright.fingering import parse_pin, plan_fingering
from partwright.instrument import load_instrument
from partwright.score import tune_from_bytes
from partwright.sound import Music, Order, Rung, SoundFile, Tags, Temperament, make_orders, order_key

CELLO = load_instrument("cello")
PART = tune_from_bytes(small_tune("D3:1 E3:1 F3:1 G3:1", "A3:2 D3:2").encode(), source=Path("tune.musicxml")).part
SOUNDS = ("timing", "stems", "mixes", "practice")


def order(*pins: str, **changes: object) -> Order:
    plan = plan_fingering(PART, CELLO, pins=[parse_pin(pin, PART, CELLO) for pin in pins])
    music = Music(part=PART, instrument=CELLO, plan=plan)
    plain = Order(
        music=music,
        title="Small tune",
        files=(("with guide", "whole.flac"),),
        rungs=(Rung(tempo_qpm=120, percent=100),),
        wanted=("guide", "click"),
    )
    return replace(plain, **changes)


def test_another_finger_on_the_same_string_is_heard_by_nobody() -> None:
    one, other = order("1:3=2/D", "2:1=0/A"), order("1:3=3/D", "2:1=0/A")
    assert one.music.plan != other.music.plan
    assert order_key(one) == order_key(other)
    assert make_orders([one])[0].data == make_orders([other])[0].data


def test_another_string_is_heard() -> None:
    one, other = order("2:1=0/A"), order("2:1=/D")
    assert order_key(one) != order_key(other)
    assert make_orders([one])[0].data != make_orders([other])[0].data


@pytest.mark.parametrize(
    "changes",
    [
        {"title": "Another"},
        {"files": (("with guide", "other.flac"),)},
        {"stems": (("guide", "guide.flac"),)},
        {"rungs": (Rung(tempo_qpm=100, percent=100),)},
        {"rungs": (Rung(tempo_qpm=120, percent=100, times=2),)},
        {"passage": (1, 2)},
        {"count_in_bars": 2},
        {"subdivide": 2},
        {"only_count_in": True},
        {"wanted": ("guide",)},
        {"target_lufs": -20.0},
        {"tags": Tags(title="Another")},
        {"tags": Tags(artwork_png=b"picture")},
        {"music": Music(part=PART, instrument=CELLO, tuned=Temperament(a4_hz=442))},
        {"music": Music(part=PART, instrument=load_instrument("viola"))},
        {"music": Music(part=PART, instrument=CELLO, count="spoken")},
        {"music": Music(part=PART, instrument=CELLO, vibrato_cents=30.0)},
    ],
    ids=lambda changes: " ".join(changes),
)
def test_everything_that_is_heard_or_read_counts(changes: dict[str, object]) -> None:
    assert order_key(order(**changes)) != order_key(order())


class Maker:
    """Makes quickly what the maker of sound makes slowly: files that say what they were made from."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    def __call__(self, orders: Sequence[Order]) -> tuple[SoundFile, ...]:
        names = [(name, one) for one in orders for _, name in (*one.files, *one.stems)]
        self.asked += [name for name, _ in names]
        return tuple(SoundFile(name=name, title=one.title, data=order_key(one).encode()) for name, one in names)


SETTINGS = (
    'format = 1\ntitle = "Small"\n[tempo]\npractice_percent = [80]\n'
    '[[sections]]\nname = "A"\nfirst_bar = "1"\nlast_bar = "2"\n'
    '[[sections]]\nname = "B"\nfirst_bar = "3"\nlast_bar = "4"\n'
)
TUNE = small_tune("D3:1 E3:1 F3:1 G3:1", "A3:2 D3:2", "G2:1 A2:1 B2:1 C3:1", "D3:2 G2:2")


@pytest.fixture
def maker(monkeypatch: pytest.MonkeyPatch) -> Maker:
    made = Maker()
    monkeypatch.setattr(partwright.sound, "make_orders", made)
    return made


def sounds(folder: Path) -> dict[str, bytes]:
    root = folder / "build" / "sound"
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in root.rglob("*") if path.is_file()}


def build(folder: Path, settings: str) -> None:
    (folder / "lesson.toml").write_text(settings, encoding="utf-8")
    build_lesson(folder, only=SOUNDS)


def test_after_a_pin_only_what_sounds_otherwise_is_made(tmp_path: Path, maker: Maker) -> None:
    """And all files are, to the byte, those of a lesson built from nothing."""
    folder = write_lesson_folder(tmp_path / "lesson", TUNE, SETTINGS)
    build(folder, SETTINGS)
    assert len(maker.asked) == len(set(maker.asked)) >= 7
    maker.asked.clear()
    pinned = SETTINGS + '[pins]\n"2:1" = "/D"\n'
    build(folder, pinned)
    assert any("practice" in name and "-a-" in name for name in maker.asked)
    assert not any("practice" in name and "-b-" in name for name in maker.asked)
    afresh = write_lesson_folder(tmp_path / "afresh", TUNE, pinned)
    build(afresh, pinned)
    assert sounds(folder) == sounds(afresh)


def test_a_file_that_was_touched_or_lost_is_made_again(tmp_path: Path, maker: Maker) -> None:
    folder = write_lesson_folder(tmp_path / "lesson", TUNE, SETTINGS)
    build(folder, SETTINGS)
    before = sounds(folder)
    touched, lost = sorted(name for name in before if name.startswith("practice/") and name.endswith(".flac"))[:2]
    (folder / "build" / "sound" / touched).write_bytes(b"not a sound")
    (folder / "build" / "sound" / lost).unlink()
    maker.asked.clear()
    build(folder, SETTINGS)
    assert maker.asked == [f"sound/{touched}", f"sound/{lost}"]
    assert sounds(folder) == before


@pytest.mark.parametrize("document", ["", "{", "[]", '{"files": 3}', '{"files": [{}]}', '{"files": [[1], null]}'])
def test_a_contents_document_that_is_none_vouches_for_nothing(tmp_path: Path, maker: Maker, document: str) -> None:
    folder = write_lesson_folder(tmp_path / "lesson", TUNE, SETTINGS)
    build(folder, SETTINGS)
    before = sounds(folder)
    (folder / "build" / "sound" / "mixes.json").write_text(document, encoding="utf-8")
    maker.asked.clear()
    build(folder, SETTINGS)
    assert maker.asked == [f"sound/{row['file'].removeprefix('sound/')}" for row in _rows(before["mixes.json"])]
    assert sounds(folder) == before


def _rows(document: bytes) -> list[dict[str, str]]:
    rows: list[dict[str, str]] = json.loads(document)["files"]
    return rows
