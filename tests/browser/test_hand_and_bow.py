"""Choosing, pinning, undoing and comparing on the page, by mouse and by keyboard; nothing lost between two windows."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from studio_browser import Open, Studio, until

SCRIPT = "<script>window.stolen = 1</script><img src=x onerror='window.stolen = 1'>"


def pins(lesson: Path) -> dict[str, Any]:
    """The pins as lesson.toml has them: what any other program would read."""
    with (lesson / "lesson.toml").open("rb") as file:
        return dict(tomllib.load(file)["pins"])


def said(page: Any) -> str:
    """What the live region says to a screen reader."""
    return str(page.locator("#live").inner_text())


def choose(page: Any, n: int) -> None:
    """Chooses a note by mouse and waits for what else it could be."""
    page.locator(f'.note-hit[data-n="{n}"]').click()
    until(page, f"window.partwright.state.n === {n} && document.querySelector('#slip .other') !== null")


def test_by_mouse_a_pick_is_pinned_lit_listed_said_and_undone(studio: Studio, open_page: Open) -> None:
    lesson = studio.lesson("mouse")
    before = pins(lesson)
    page = open_page("#/mouse/hand")
    choose(page, 38)  # bar 16, beat 3
    assert page.locator("#slip .place").inner_text().startswith("Bar 16, beat 3")
    assert page.locator("#slip .chosen svg").count() == 1
    other = page.locator("#slip .other").nth(2)
    assert re.search(r"[+−]\d+\.\d\d|as good", other.inner_text())
    other.click()
    until(page, "window.partwright.state.lesson.undo !== null")
    after = pins(lesson)
    assert set(after) - set(before) == {"16:3"}
    assert page.locator("#score .changed").count() > 0
    assert page.locator("#score .decided").count() == len(before) + 1
    assert "bar 16" in page.locator(".moved").inner_text()
    until(page, "document.getElementById('live').textContent.includes('bar 16')")
    page.get_by_role("button", name="Undo").click()
    until(page, "window.partwright.state.lesson.redo !== null")
    assert pins(lesson) == before
    page.get_by_role("button", name="Redo").click()
    until(page, "window.partwright.state.lesson.redo === null")
    assert pins(lesson) == after


def test_by_keyboard_alone_the_same(studio: Studio, open_page: Open) -> None:
    lesson = studio.lesson("keyboard")
    before = pins(lesson)
    page = open_page("#/keyboard/hand")
    until(page, "document.activeElement.tagName === 'H1'")  # where a lesson opens, its title is read first
    page.keyboard.press("Tab")
    until(page, "document.activeElement.classList.contains('note-hit')")
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    until(page, "window.partwright.state.n === 3")
    label = page.evaluate("document.activeElement.getAttribute('aria-label')")
    assert label.startswith("Bar 1, beat 3, F sharp: third finger on the D string")
    page.keyboard.press("p")
    until(page, "window.partwright.state.lesson.undo !== null")
    assert set(pins(lesson)) - set(before) == {"1:3"}
    assert page.evaluate("document.activeElement.dataset.n") == "3", (
        "the note keeps the focus when its line is drawn anew"
    )
    page.keyboard.press("Control+z")
    until(page, "window.partwright.state.lesson.redo !== null")
    assert pins(lesson) == before
    page.keyboard.press("ArrowDown")
    until(page, "window.partwright.state.n > 16")
    page.keyboard.press("Enter")  # to the margin
    until(page, "document.activeElement.closest('#slip') !== null")


def test_a_passage_is_pinned_and_unpinned_whole(studio: Studio, open_page: Open) -> None:
    lesson = studio.lesson("passage")
    before = pins(lesson)
    page = open_page("#/passage/hand")
    first, last = page.locator('.note-hit[data-n="10"]'), page.locator('.note-hit[data-n="14"]')
    start, end = first.bounding_box(), last.bounding_box()
    assert start is not None
    assert end is not None
    page.mouse.move(start["x"] + start["width"] / 2, start["y"] + start["height"] / 2)
    page.mouse.down()
    page.mouse.move(end["x"] + end["width"] / 2, end["y"] + end["height"] / 2, steps=8)
    page.mouse.up()
    until(page, "window.partwright.state.range?.first === 10 && window.partwright.state.range?.last === 14")
    page.get_by_role("button", name="Pin all as they are").click()
    until(page, "window.partwright.state.lesson.undo !== null")
    assert len(pins(lesson)) >= len(before) + 5
    page.get_by_role("button", name="Unpin all").click()
    until(page, "document.querySelectorAll('#score .decided').length === 7")
    assert pins(lesson) == before


def test_two_plans_are_laid_beside_each_other(studio: Studio, open_page: Open) -> None:
    studio.lesson("compare")
    page = open_page("#/compare/hand")
    page.get_by_role("button", name="Compare with the plan without your pins").click()
    until(page, "document.querySelectorAll('#facing .pair svg').length >= 2")
    differing = page.locator("#slip table").nth(1).locator("tbody tr").count()
    lit = page.evaluate(
        "new Set([...document.querySelectorAll('#facing .pair > :first-child .differs')].map(e => e.dataset.n)).size"
    )
    assert differing > 0
    assert lit == differing
    page.get_by_role("button", name="Back to the score").click()
    assert page.locator("#score").is_visible()


def test_a_stroke_is_turned_and_pinned(studio: Studio, open_page: Open) -> None:
    lesson = studio.lesson("bow")
    before = pins(lesson)
    page = open_page("#/bow/bow")
    page.locator('.note-hit[data-n="38"]').click()
    until(page, "document.querySelector('#slip .bow-picture svg') !== null")
    page.locator("#slip .other.bow").first.click()
    until(page, "window.partwright.state.lesson.undo !== null")
    changed = {place: value for place, value in pins(lesson).items() if before.get(place) != value}
    assert changed == {"16:3": "down"}


def test_two_windows_never_overwrite_each_other(studio: Studio, open_page: Open) -> None:
    lesson = studio.lesson("two windows")
    one = open_page("#/two windows/hand", expected=(409,))
    # The second window hears nothing of the first: as when a machine slept.
    two = open_page("#/two windows/hand", expected=(409,))
    two.evaluate("window.partwright.deaf = true")
    choose(one, 3)
    choose(two, 5)
    one.keyboard.press("p")
    until(one, "window.partwright.state.lesson.undo !== null")
    two.keyboard.press("p")
    until(two, "!document.getElementById('notice').hidden")
    assert "another window" in two.locator("#notice").inner_text()
    assert "2:3" not in pins(lesson), "the second window's change waits"
    assert "1:3" in pins(lesson)
    two.get_by_role("button", name="Make my change now").click()
    until(two, "window.partwright.state.lesson.pins.some(p => p.place === '2:3')")
    assert {"1:3", "2:3"} <= set(pins(lesson)), "neither is lost"


def test_nothing_from_a_file_becomes_markup(studio: Studio, open_page: Open) -> None:
    lesson = studio.lesson("escaping")
    text = (lesson / "lesson.toml").read_text(encoding="utf-8")
    text = text.replace('title = "Lantern on the Weir"', f'title = "{SCRIPT}"')
    text = text.replace('name = "B"', f'name = "{SCRIPT}"').replace('remark = "Low', f'remark = "{SCRIPT} Low')
    text = text.replace('composer = "Ottoline Fennick"', f'composer = "{SCRIPT}"').replace('["A", "B"]', '["A"]')
    (lesson / "lesson.toml").write_text(text, encoding="utf-8")
    page = open_page("#/escaping/hand")
    for place in ("tune", "hand", "bow", "levels", "lesson", "sound", "check", "publish"):
        page.evaluate("where => { location.hash = where }", f"#/escaping/{place}")
        until(page, f"document.body.dataset.place === '{place}'")
        page.wait_for_timeout(100)
        assert page.evaluate("window.stolen") is None
        assert page.locator("main img, main script, nav img, nav script, footer img").count() == 0
    assert page.locator("#head h1").inner_text() == SCRIPT
    page.evaluate("location.hash = '#/'")
    until(page, "document.querySelector('#start a') !== null")
    assert SCRIPT in page.locator("#start").inner_text()
    assert page.evaluate("window.stolen") is None


def test_equal_phrases_follow_where_asked(studio: Studio, open_page: Open) -> None:
    lesson = studio.lesson("equal")
    before = pins(lesson)
    page = open_page("#/equal/hand")
    choose(page, 5)  # bar 2, beat 3: the phrase returns in bar 28, all but this note; the next bars are equal
    choose(page, 6)  # bar 3, beat 1, and bar 29
    page.get_by_role("button", name="Pin it there too").click()
    until(page, "window.partwright.state.lesson.undo !== null")
    assert {"3:1", "29:1"} <= set(pins(lesson)) - set(before)


def test_what_is_being_written_outlives_news_and_a_server_that_is_gone(studio: Studio, open_page: Open) -> None:
    studio.lesson("writing")
    page = open_page("#/writing/tune")
    title = page.get_by_label("Title", exact=True)
    title.fill("A title half writ")
    page.evaluate("import('/page/state.js').then(({ tell }) => { tell('jobs'); tell('lesson'); })")
    page.wait_for_timeout(100)
    assert title.input_value() == "A title half writ"
    page.context.set_offline(True)  # as when the program was ended
    title.fill("A title in full")
    title.press("Tab")
    until(page, "!document.getElementById('notice').hidden")
    page.context.set_offline(False)
    page.get_by_role("button", name="Try again").click()
    until(page, "document.querySelector('#head h1').textContent === 'A title in full'")


def test_why_a_pin_stands_is_shown_and_written_behind_it(studio: Studio, open_page: Open) -> None:
    lesson = studio.lesson("why")
    path = lesson / "lesson.toml"
    text = path.read_text(encoding="utf-8")
    place, value = next(
        (place, value)
        for place, value in pins(lesson).items()
        if value in ("3/D", "3", "2/D", "1/D", "4/D") or "/" in str(value)
    )
    line = next(line for line in text.splitlines() if line.startswith(f'"{place}"'))
    path.write_text(text.replace(line, f'"{place}" = "{value}"  # {SCRIPT}'), encoding="utf-8")
    page = open_page("#/why/hand")
    page.get_by_role("button", name="Leave the note").or_(page.locator("#pins-title")).first.wait_for()
    field = page.locator(f'[data-key="why-finger-{place}"]')
    assert field.input_value() == SCRIPT
    assert page.evaluate("window.stolen") is None
    field.fill("it sings here")
    field.press("Tab")
    until(page, f"(window.partwright.state.lesson.undo ?? '').includes('why {place}')")
    assert f'"{place}" = "{value}"  # it sings here' in path.read_text(encoding="utf-8")
    assert pins(lesson)[place] == value
    page.get_by_role("button", name=re.compile("^Go to bar")).first.click()
    until(page, "document.querySelector('#slip .other') !== null")
    assert page.locator("#slip .remark").count() == 1
    page.get_by_role("button", name="Undo").click()
    until(page, "window.partwright.state.lesson.redo !== null")
    assert SCRIPT in path.read_text(encoding="utf-8")
