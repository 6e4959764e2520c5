"""What became of viewers' reports: each follows its erratum, the maker may answer too, and nothing is lost."""

from __future__ import annotations

import datetime
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from catalogue_shelf import BARS, DAY, make_lesson, tune_of
from partwright.catalogue import read_entry, release
from partwright.checking.reports import answer_reports, read_kept, settle_reports, state_words
from partwright.checking.reports.answers import settled
from partwright.errors import LessonError, NewerFormat
from partwright.lesson import Erratum, add_erratum, change_erratum, read_errata

SHARP = Erratum(
    kind="pitch", words="C sharp instead of C", bar="3", beat="2", was="C3", right="C#3", state="confirmed",
    origin="report", reports=2, editions=(1,),
)  # fmt: skip
LATER = DAY + datetime.timedelta(days=9)
MISPRINTED = (*BARS[:2], "A2:1 C3:1 E3:1 G3:1", BARS[3])


def claim(name: str, erratum: str = "", **more: Any) -> dict[str, Any]:
    row = {"id": name, "kind": "claim", "about": "note", "bar": "3", "beat": "2", "count": 2, "viewers": ["a1", "b2"],
           "words": "C sharp", "verdict": "right", "state": "open", "mine": "kept as it is", **more}  # fmt: skip
    return {**row, "erratum": erratum} if erratum else row


def keep(folder: Path, *rows: dict[str, Any]) -> None:
    (folder / "reports.json").write_text(json.dumps({"format": 1, "read": "2026-11-28", "reports": rows}))


def kept(folder: Path) -> dict[str, dict[str, Any]]:
    return {row["id"]: row for row in json.loads((folder / "reports.json").read_bytes())["reports"]}


def test_the_edition_that_mends_a_mistake_answers_its_reports(tmp_path: Path) -> None:
    folder = make_lesson(tmp_path / "waltz", bars=MISPRINTED)
    release(folder, today=DAY)
    add_erratum(folder, SHARP, today=DAY)
    keep(folder, claim("r1", "e1"), claim("r2", words="another"), {"id": "r3", "kind": "question", "words": "why?"})
    assert read_entry(folder).to_answer == 3
    (folder / "tune.musicxml").write_text(tune_of(BARS), encoding="utf-8")
    done = release(folder, today=LATER)
    rows = kept(folder)
    assert {name: row.get("state", "open") for name, row in rows.items()} == {
        "r1": "answered", "r2": "open", "r3": "open",
    }  # fmt: skip
    first = rows["r1"]
    assert (first["edition"], first["answered"]) == (2, LATER.isoformat())
    assert first["history"] == [
        {"date": LATER.isoformat(), "state": "answered", "erratum": "e1", "edition": 2},
    ]
    old = {key: value for key, value in first.items() if key not in ("state", "edition", "answered", "history")}
    assert old == {key: value for key, value in claim("r1", "e1").items() if key != "state"}
    assert any("r1" in remark and "edition 2" in remark for remark in done.remarks)
    entry = read_entry(folder)
    assert (entry.to_answer, next((r.id, r.state, r.edition) for r in entry.reports)) == (2, ("r1", "answered", 2))


def test_what_the_maker_marked_as_fixed_is_mended_by_the_next_edition(tmp_path: Path) -> None:
    folder = make_lesson(tmp_path / "waltz")
    release(folder, today=DAY)
    for draft in (replace(SHARP, right="", editions=()), replace(SHARP, where="video", editions=())):
        add_erratum(folder, draft, today=DAY)
    keep(folder, claim("r1", "e1"), claim("r2", "e2"))
    for name in ("e1", "e2"):
        change_erratum(folder, name, state="fixed", fixed=DAY)
    settle_reports(folder, today=DAY)
    assert [row["state"] for row in kept(folder).values()] == ["open", "answered"]  # a video is in no edition
    release(folder, today=LATER, even_if_unchanged=True)
    assert [(e.fixed_in, e.editions) for e in read_errata(folder)] == [(2, (1,)), (None, ())]
    assert [row.get("edition") for row in kept(folder).values()] == [2, None]


def test_a_report_opens_again_with_its_erratum_and_its_history_grows() -> None:
    refused = replace(SHARP, id="e1", state="refused")
    (row,) = settled([claim("r1", "e1")], [refused], on=DAY)
    assert state_words(row) == "answered: no mistake (2026-11-28)"
    assert settled([row], [refused], on=LATER) == (row,)
    (again,) = settled([row], [replace(refused, state="draft")], on=LATER)
    assert again["state"] == "open"
    assert [entry["state"] for entry in again["history"]] == ["answered", "open"]
    assert "answered" not in again
    (mended,) = settled([again], [replace(refused, state="fixed", fixed_in=3)], on=LATER)
    assert [mended["edition"], len(mended["history"])] == [3, 3]


def test_the_maker_answers_what_no_edition_can(tmp_path: Path) -> None:
    folder = make_lesson(tmp_path / "waltz")
    keep(folder, claim("r1"), claim("r2"))
    assert [row["id"] for row in answer_reports(folder, ["r2"], today=DAY)] == ["r2"]
    assert answer_reports(folder, ["r2"], today=LATER) == ()  # it is answered already: the day stays
    assert [state_words(row) for row in read_kept(folder, today=DAY)] == ["open", "answered (2026-11-28)"]
    answer_reports(folder, ["r2"], today=LATER, answered=False)
    assert [entry["state"] for entry in kept(folder)["r2"]["history"]] == ["answered", "open"]
    before = (folder / "reports.json").read_bytes()
    with pytest.raises(LessonError, match=r'there is no report "r9". Known are: r1, r2'):
        answer_reports(folder, ["r1", "r9"], today=DAY)
    assert (folder / "reports.json").read_bytes() == before


def test_what_the_maker_opens_after_an_edition_stays_open() -> None:
    fixed = replace(SHARP, id="e1", state="fixed", fixed_in=2, fixed=DAY)
    (row,) = settled([claim("r1", "e1")], [fixed], on=DAY)
    row = {**row, "state": "open", "history": [*row["history"], {"date": "x", "state": "open", "by": "maker"}]}
    assert settled([row], [fixed], on=LATER)[0]["state"] == "open"


@pytest.mark.parametrize("history", ["text", [1, None], {}, None])
def test_a_history_that_is_none_is_taken_for_an_empty_one(history: object) -> None:
    fixed = replace(SHARP, id="e1", state="fixed", fixed_in=2, fixed=DAY)
    (row,) = settled([claim("r1", "e1", history=history)], [fixed], on=DAY)
    assert len(row["history"]) == 1


def test_a_mistake_that_came_back_is_a_new_one(tmp_path: Path) -> None:
    add_erratum(tmp_path, SHARP, today=DAY)
    change_erratum(tmp_path, "e1", state="fixed", fixed=DAY, fixed_in=2)
    assert add_erratum(tmp_path, replace(SHARP, reports=5), today=LATER).id == "e1"  # edition 1 has it, as ever
    assert add_erratum(tmp_path, replace(SHARP, editions=()), today=LATER).id == "e2"


@pytest.mark.parametrize(
    ("text", "error"), [("{", LessonError), ("[]", LessonError), ('{"format": 9, "reports": []}', NewerFormat)]
)
def test_reports_that_cannot_be_read_are_left_alone_and_hold_no_edition_up(
    tmp_path: Path, text: str, error: type[Exception]
) -> None:
    folder = make_lesson(tmp_path / "waltz")
    (folder / "reports.json").write_text(text, encoding="utf-8")
    with pytest.raises(error):
        settle_reports(folder, today=DAY)
    done = release(folder, today=DAY)
    assert any("reports were not looked at" in remark for remark in done.remarks)
    assert (folder / "reports.json").read_text(encoding="utf-8") == text
