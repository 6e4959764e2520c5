"""The score in leaves and systems: nothing is cut through, nothing drawn twice, and only what changed drawn again."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from made_tunes import small_tune, write_lesson_folder
from partwright.engraving import EngravingProcess
from partwright.lesson import write_demo
from partwright.score import read_tune
from partwright.studio.desk import Desk
from partwright.studio.documents import edit_document
from partwright.studio.leaves import LEAST_BARS, MOST_BARS, cut_leaves
from partwright.studio.pictures import WIDTHS_MM, nearest_width


@pytest.fixture(scope="module")
def process() -> Iterator[EngravingProcess]:
    with EngravingProcess() as process:
        yield process


def tune_of(tmp_path: Path, *bars: str) -> Path:
    path = tmp_path / "tune.musicxml"
    path.write_text(small_tune(*bars))
    return path


@pytest.mark.parametrize("count", [1, 20, 47, 48, 49, 97, 333])
def test_leaves_hold_every_bar_once(tmp_path: Path, count: int) -> None:
    part = read_tune(tune_of(tmp_path, *["D3:2 E3:2"] * count)).part
    leaves = cut_leaves(part)
    assert [bar for first, last in leaves for bar in range(first, last + 1)] == list(range(count))
    assert all(last - first + 1 <= MOST_BARS for first, last in leaves)
    assert all(last - first + 1 >= LEAST_BARS for first, last in leaves[:-1])


def test_no_tie_is_cut_and_sections_are_cut_at_their_start(tmp_path: Path) -> None:
    text = small_tune(*["D3:4"] * 100)
    for number in range(20, 45):  # held on through every bar but at bar 41
        if number != 40:
            text = _tied(text, number)
    path = tmp_path / "tune.musicxml"
    path.write_text(text)
    part = read_tune(path).part
    held = {part.by_id[n.tied_to].bar_index for n in part.notes if n.tied_to is not None}
    assert held
    assert not {first for first, _ in cut_leaves(part)} & held
    plain = read_tune(tune_of(tmp_path, *["D3:4"] * 100)).part
    assert cut_leaves(plain, {37})[1][0] == 37


def _tied(text: str, number: int) -> str:
    """The note of bar `number` held on into the next."""
    one = re.compile(rf'<measure number="{number}">.*?</measure>', re.DOTALL)
    two = re.compile(rf'<measure number="{number + 1}">.*?</measure>', re.DOTALL)
    text = one.sub(lambda m: _with_tie(m[0], "start"), text)
    return two.sub(lambda m: _with_tie(m[0], "stop"), text)


def _with_tie(bar: str, kind: str) -> str:
    return bar.replace("</duration>", f'</duration><tie type="{kind}"/>', 1)


def test_widths_are_taken_to_the_nearest() -> None:
    assert nearest_width(1) == WIDTHS_MM[0]
    assert nearest_width(183.2) == 180
    assert nearest_width(10_000) == WIDTHS_MM[-1]


def test_systems_of_a_long_part_hold_every_note_once(tmp_path: Path, process: EngravingProcess) -> None:
    folder = write_lesson_folder(tmp_path / "long", small_tune(*["D3:1 E3:1 F3:1 G3:1"] * 130))
    desk = Desk(folder, process)
    state = desk.state()
    score = desk.score(state)
    seen: list[int] = []
    ids: list[str] = []
    for leaf in range(len(score.leaves)):
        for picture in score.systems(leaf, 150, state.marks, state.job.instrument):
            seen += [n for n, _, _ in picture.notes]
            ids += re.findall(r'\bid="([^"]+)"', picture.svg)
            assert picture.width_mm < 156
    assert sorted(seen) == list(range(520))
    assert len(set(ids)) == len(ids)


def test_only_systems_that_changed_are_drawn_again(tmp_path: Path, process: EngravingProcess) -> None:
    write_demo(tmp_path / "weir")
    desk = Desk(tmp_path / "weir", process)
    state = desk.state()
    before = desk.score(state).systems(0, 150, state.marks, state.job.instrument)
    note = next(n for n in state.part.notes if n.bar == "24")
    here = state.plan.by_id[note.id].placement
    from partwright.fingering import explain_note

    other = explain_note(state.planning, note.id).alternatives[0].placement
    from partwright.studio.pin_rows import placement_value

    value = placement_value(other, state.job.instrument, whole=True)
    done = desk.edit(state.version, [{"kind": "pin", "n": note.index, "value": value}], "test")
    assert done.after.plan.by_id[note.id].placement != here
    document = edit_document(desk, done, width_mm=150, leaves=[0])
    after = desk.score(done.after).systems(0, 150, done.after.marks, done.after.job.instrument)
    changed = {f"system-0-{k}" for k, (one, two) in enumerate(zip(before, after, strict=True)) if one.svg != two.svg}
    sent = {system["id"] for system in document["systems"] if system["svg"] is not None}
    assert sent == changed
    assert 0 < len(changed) < len(before)
    undone = desk.undo(done.after.version, "test")
    again = desk.score(undone.after).systems(0, 150, undone.after.marks, undone.after.job.instrument)
    assert [picture.svg for picture in again] == [picture.svg for picture in before]


def test_lines_kept_as_drawn_give_what_engraving_afresh_gives(tmp_path: Path, process: EngravingProcess) -> None:
    """Placing signs around kept lines, whatever was placed before, is the same as drawing everything anew."""
    from partwright.engraving import draw_lines, string_letters
    from partwright.lesson import plan_marks

    write_demo(tmp_path / "weir")
    desk = Desk(tmp_path / "weir", process)
    state = desk.state()
    letters = string_letters(state.job.instrument)
    kept = draw_lines(state.job.tune, width=15_000, bars=(0, 40), process=process)
    for marks in ("every", "none", "needed", "every"):
        wanted = plan_marks(state.job, state.plan, bowing=state.bowing, marks=marks)
        fresh = draw_lines(state.job.tune, width=15_000, bars=(0, 40), process=process)
        one, two = kept.gather(wanted, string_letters=letters), fresh.gather(wanted, string_letters=letters)
        for old, new in zip(kept.lines, fresh.lines, strict=True):
            assert kept.place(old, kept.marks_of(old, one)).svg == fresh.place(new, fresh.marks_of(new, two)).svg
