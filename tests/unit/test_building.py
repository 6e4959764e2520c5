"""Incremental building: what has not changed is not made again, and every step can say why it ran."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from made_tunes import demo_tune, small_tune, write_lesson_folder
from partwright.building import STEPS, Made, Ran, Step, Workshop, build_lesson, choose_steps
from partwright.errors import InputError, LessonError

_QUICK = tuple(step for step in STEPS if step.name in ("plan", "bows", "fingered", "check-score"))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_lesson_folder(tmp_path / "lesson", demo_tune(), 'format = 1\n[instrument]\nlevel = "intermediate"\n')


def made(ran: Sequence[Ran]) -> dict[str, str]:
    return {r.step: r.why for r in ran if r.made}


def add_to_lesson(folder: Path, text: str) -> None:
    path = folder / "lesson.toml"
    path.write_text(path.read_text(encoding="utf-8") + text, encoding="utf-8")


def test_a_second_build_makes_nothing(folder: Path) -> None:
    assert set(made(build_lesson(folder, steps=_QUICK)).values()) == {"made for the first time"}
    assert made(build_lesson(folder, steps=_QUICK)) == {}


def test_dates_and_comments_do_not_count(folder: Path) -> None:
    build_lesson(folder, steps=_QUICK)
    for path in folder.rglob("*"):
        os.utime(path, (1, 1))
    add_to_lesson(folder, "# a comment\n")
    assert made(build_lesson(folder, steps=_QUICK)) == {}


def test_only_what_hangs_on_a_setting_is_made_again(folder: Path) -> None:
    build_lesson(folder, steps=_QUICK)
    add_to_lesson(folder, '[page]\nmarks = "every"\n')
    assert made(build_lesson(folder, steps=_QUICK)) == {"fingered": "the marks changed"}


def test_a_pin_changes_the_plan_and_all_that_follows_from_it_and_the_bars_are_named(folder: Path) -> None:
    build_lesson(folder, steps=_QUICK)
    add_to_lesson(folder, '[pins]\n"17:1" = "1/A"\n')
    ran = build_lesson(folder, steps=_QUICK)
    assert made(ran) == {
        "plan": "the pins changed",
        "bows": "what plan made and the pins changed",
        "fingered": "what plan made changed",
        "check-score": "what plan made changed",
    }
    changed = [text for text in ran[0].remarks if "changed in bar" in text]
    assert len(changed) == 1
    assert "17" in changed[0]


def test_a_plan_made_again_that_comes_out_the_same_stops_there(folder: Path) -> None:
    build_lesson(folder, steps=_QUICK)
    add_to_lesson(folder, "string_length_mm = 690\n")
    ran = made(build_lesson(folder, steps=_QUICK))
    assert ran["plan"] == "the hand changed"
    assert "what plan made" not in " ".join(ran.values())


def test_a_missing_or_altered_product_is_made_again(folder: Path) -> None:
    build_lesson(folder, steps=_QUICK)
    (folder / "build" / "check-score.txt").unlink()
    (folder / "build" / "fingered.musicxml").write_text("scribble", encoding="utf-8")
    assert made(build_lesson(folder, steps=_QUICK)) == {
        "fingered": "fingered.musicxml was changed by hand",
        "check-score": "check-score.txt is missing",
    }


def test_a_changed_tune_and_a_spoilt_manifest_are_noticed(folder: Path) -> None:
    build_lesson(folder, steps=_QUICK)
    (folder / "tune.musicxml").write_text(small_tune("D3:4"), encoding="utf-8")
    assert made(build_lesson(folder, steps=_QUICK))["plan"] == "the tune changed"
    (folder / "build" / "manifest.json").write_text('{"format": 1, "steps": []}', encoding="utf-8")
    assert len(made(build_lesson(folder, steps=_QUICK))) == len(_QUICK)


def test_a_changed_way_of_making_makes_again(folder: Path) -> None:
    build_lesson(folder, steps=_QUICK)
    newer = tuple(replace(step, version=step.version + 1) if step.name == "fingered" else step for step in _QUICK)
    assert made(build_lesson(folder, steps=newer)) == {"fingered": "the program has changed"}


def test_files_of_products_no_longer_made_are_taken_away(folder: Path) -> None:
    build_lesson(folder, steps=_QUICK)
    build_lesson(folder, steps=[step for step in _QUICK if step.name != "check-score"])
    assert not list((folder / "build").glob("check-score*"))
    assert (folder / "build" / "fingered.musicxml").exists()


def test_a_product_with_fewer_files_leaves_no_old_one_behind(folder: Path) -> None:
    def pages(count: int) -> Step:
        def make(_: Workshop) -> Made:
            return Made(files={f"page-{n}.txt": b"page" for n in range(count)})

        return Step(name="pages", words="pages", inputs=("tune",), make=make, version=count)

    build_lesson(folder, steps=[pages(3)])
    build_lesson(folder, steps=[pages(2)])
    assert sorted(path.name for path in (folder / "build").glob("page-*")) == ["page-0.txt", "page-1.txt"]


def test_what_was_finished_before_a_failing_step_is_kept(folder: Path) -> None:
    def fail(_: Workshop) -> Made:
        raise LessonError("cannot be made today")

    failing = Step(name="failing", words="nothing", inputs=("tune",), make=fail)
    with pytest.raises(LessonError, match="lesson: cannot be made today"):
        build_lesson(folder, steps=[_QUICK[0], failing])
    assert made(build_lesson(folder, steps=[_QUICK[0]])) == {}


def test_only_brings_what_it_needs() -> None:
    assert [step.name for step in choose_steps(STEPS, ["check-score"])] == ["plan", "check-score"]
    with pytest.raises(InputError, match=r'no product "fingerd".*Did you mean "fingered"'):
        choose_steps(STEPS, ["fingerd"])


def test_every_step_names_inputs_the_workshop_knows(folder: Path) -> None:
    from partwright.lesson import read_lesson

    workshop = Workshop(folder, read_lesson(folder))
    names = [step.name for step in STEPS]
    assert len(set(names)) == len(names)
    for position, step in enumerate(STEPS):
        for name in step.inputs:
            if name.startswith("step:"):
                assert name[5:] in names[:position]
            else:
                assert len(workshop.fingerprint(name)) in (0, 64)  # nothing, where a file of the teacher's is absent
