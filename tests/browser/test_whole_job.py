"""The whole line of work on a fresh lesson, from the tune to what is made: once by mouse, once by keyboard alone."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pypdf
import pytest

from partwright.lesson import write_demo
from studio_browser import Open, Studio, until


@pytest.fixture(scope="module")
def tune(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A tune as a player has it on the disk: MusicXML, no lesson around it."""
    folder = tmp_path_factory.mktemp("tune") / "demo"
    write_demo(folder)
    return folder / "tune.musicxml"


def settings(lesson: Path) -> dict[str, Any]:
    """lesson.toml as any other program reads it."""
    with (lesson / "lesson.toml").open("rb") as file:
        return tomllib.load(file)


SAID = {"name": "said.txt", "mimeType": "text/plain", "buffer": b"[0:03] Bar 1, beat 1: the D, open D string.\n"}


def looked_through(page: Any) -> None:
    """Waits until the words brought in have been compared with the score."""
    until(page, "/left to decide|Nothing was found/.test(document.getElementById('slip').textContent)", 60)


def made_everything(page: Any, lesson: Path) -> None:
    """Waits for the build and looks at what it left: a page of paper with the tune's name on it."""
    until(page, "document.querySelector('[aria-label=\"What was made\"]') !== null", 240)
    reader = pypdf.PdfReader(lesson / "build" / "part-a4.pdf")
    assert "The Weir at Night" in (reader.pages[0].extract_text() or "")


@pytest.mark.slow  # by keyboard is the harder half, and quick enough for every run
def test_by_mouse(studio: Studio, open_page: Open, tune: Path) -> None:
    page = open_page()
    page.get_by_label("The tune (").set_input_files(tune)
    assert page.get_by_label("Name of the lesson").input_value() == "tune"
    page.get_by_label("Name of the lesson").fill("by mouse")
    page.get_by_label("Level").select_option("intermediate")
    page.get_by_role("button", name="Begin the lesson").click()
    page.wait_for_selector("#score .note-hit")
    lesson = studio.folder / "by mouse"
    assert page.get_by_role("heading", name="Tune").is_visible()
    assert "D major" in page.locator(".facts").inner_text()
    title = page.get_by_label("Title", exact=True)
    title.fill("The Weir at Night")
    title.press("Tab")
    until(page, "document.querySelector('#head h1').textContent === 'The Weir at Night'")

    page.get_by_role("link", name="Hand").click()
    page.locator('.note-hit[data-n="38"]').click()
    page.locator("#slip .other").first.click()
    until(page, "window.partwright.state.lesson.pins.length > 0")

    page.get_by_role("link", name="Bow").click()
    page.locator("#slip .other.bow").first.click()
    until(page, "window.partwright.state.lesson.pins.some(p => p.kind === 'bow')")

    page.get_by_role("link", name="Levels").click()
    page.get_by_label("beginner").last.check()
    until(page, "window.partwright.state.lesson.own_levels.includes('beginner')")

    page.get_by_role("link", name="Lesson", exact=False).first.click()
    name = page.locator(".sections input").first
    name.fill("Opening")
    name.press("Tab")
    until(page, "window.partwright.state.lesson.sections[0].name === 'Opening'")
    page.wait_for_selector(".said")

    page.get_by_role("link", name="Sound").click()
    page.locator('[data-key="phrase-0"]').click()
    until(page, "window.partwright.soundingNow().playing", 90)
    page.get_by_role("button", name="Stop", exact=True).click()

    page.get_by_role("link", name="Check").click()
    page.locator("#take-file").set_input_files(SAID)
    looked_through(page)

    page.get_by_role("link", name="Publish").click()
    page.locator("summary", has_text="Only some of it").click()
    page.locator('[data-key="product-part-a4"]').check()
    page.locator('[data-key="build-some"]').click()
    made_everything(page, lesson)
    with page.expect_popup() as popup:
        page.get_by_role("link", name="part-a4.pdf").click()
    popup.value.close()

    page.get_by_label("The tune is").select_option("own-work")
    reason = page.get_by_label("Why, or whose work")
    reason.fill("Written by the teacher of this lesson.")
    reason.press("Tab")
    page.get_by_label("Who wrote it").fill("Ottoline Fennick")
    page.get_by_label("Who wrote it").press("Tab")
    page.get_by_label("In which countries").fill("DE")
    page.get_by_label("In which countries").press("Tab")
    until(page, "document.querySelector('[data-key=release]').disabled === false", 30)
    page.locator("[data-key=release]").click()
    released(page, lesson)
    stands = settings(lesson)
    assert stands["title"] == "The Weir at Night"
    assert stands["sections"][0]["name"] == "Opening"
    assert len(stands["pins"]) >= 1


def released(page: Any, lesson: Path) -> None:
    """Waits for the edition, and looks at what was frozen."""
    until(page, "document.querySelector('[aria-labelledby=editions-title]') !== null", 400)
    (part,) = (lesson / "editions" / "1").rglob("*part-a4.pdf")
    assert "The Weir at Night" in (pypdf.PdfReader(part).pages[0].extract_text() or "")


def tab_to(page: Any, wanted: str, *, back: bool = False, most: int = 120) -> None:
    """Presses Tab until what has the focus fits a CSS selector: what cannot be reached so fails the test."""
    for _ in range(most):
        page.keyboard.press("Shift+Tab" if back else "Tab")
        if page.evaluate("wanted => document.activeElement.matches(wanted)", wanted):
            return
    raise AssertionError(f"Tab never comes to {wanted}")


def at_place(page: Any, name: str, number: int) -> None:
    """Goes to a place of the contents by its key."""
    page.keyboard.press(f"Alt+{number}")
    until(page, f"document.body.dataset.place === '{name}'")


def release_by_keyboard(page: Any, lesson: Path) -> None:
    """Says whose tune it is and freezes the edition."""
    tab_to(page, "#rights-status")
    page.keyboard.type("own")  # a list takes the first letters of what is wanted
    until(page, "document.getElementById('rights-status').value === 'own-work'")
    for field, words in (("reason", "Written by the teacher."), ("countries", "DE"), ("authors", "Ottoline Fennick")):
        tab_to(page, f"#rights-{field}")
        page.keyboard.type(words)
        page.keyboard.press("Tab")
    until(page, "document.querySelector('[data-key=release]').disabled === false", 30)
    tab_to(page, "[data-key=release]")
    page.keyboard.press("Enter")
    released(page, lesson)


@pytest.mark.parametrize("to_release", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_by_keyboard_alone(studio: Studio, open_page: Open, tune: Path, to_release: bool) -> None:
    page = open_page()
    tab_to(page, "#tune-file")
    with page.expect_file_chooser() as chooser:
        page.keyboard.press("Space")
    chooser.value.set_files(tune)
    tab_to(page, "#lesson-name")
    page.keyboard.press("Control+a")
    name = "by keyboard to the release" if to_release else "by keyboard"
    page.keyboard.type(name)
    tab_to(page, "[data-key=begin]")
    page.keyboard.press("Enter")
    page.wait_for_selector("#score .note-hit")
    lesson = studio.folder / name
    tab_to(page, "#field-title")
    page.keyboard.press("Control+a")
    page.keyboard.type("The Weir at Night")
    page.keyboard.press("Tab")
    until(page, "document.querySelector('#head h1').textContent === 'The Weir at Night'")

    at_place(page, "hand", 2)
    tab_to(page, ".note-hit", back=True)
    page.keyboard.press("ArrowDown")
    until(page, "window.partwright.state.n > 10")
    page.keyboard.press("Enter")  # into the margin, to the first placement it could have
    until(page, "document.activeElement.closest('#slip') !== null")
    page.wait_for_selector("#slip .other")
    tab_to(page, ".other", most=12)
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    until(page, "window.partwright.state.lesson.pins.length === 1")

    at_place(page, "bow", 3)
    tab_to(page, ".note-hit", back=True)
    page.keyboard.press("d")
    until(page, "window.partwright.state.lesson.undo.toLowerCase().includes('bow')")
    page.keyboard.press("Control+z")
    until(page, "window.partwright.state.lesson.redo !== null")

    at_place(page, "levels", 4)
    tab_to(page, "[data-key=field-own_levels-beginner]")
    page.keyboard.press("Space")
    until(page, "window.partwright.state.lesson.own_levels.includes('beginner')")

    at_place(page, "lesson", 5)
    tab_to(page, ".sections input")
    page.keyboard.press("Control+a")
    page.keyboard.type("Opening")
    page.keyboard.press("Tab")
    until(page, "window.partwright.state.lesson.sections[0].name === 'Opening'")

    at_place(page, "sound", 6)
    tab_to(page, "[data-key=phrase-0]")
    page.keyboard.press("Enter")
    until(page, "window.partwright.soundingNow().playing", 90)
    tab_to(page, "[data-key=hear]")
    page.keyboard.press("Enter")
    until(page, "!window.partwright.soundingNow().playing")

    at_place(page, "check", 7)
    tab_to(page, "#take-file")
    with page.expect_file_chooser() as chooser:
        page.keyboard.press("Space")
    chooser.value.set_files([SAID])
    looked_through(page)

    at_place(page, "publish", 8)
    tab_to(page, "summary")
    page.keyboard.press("Enter")
    tab_to(page, "[data-key=product-part-a4]")
    page.keyboard.press("Space")
    tab_to(page, "[data-key=build-some]", back=True)
    page.keyboard.press("Enter")
    made_everything(page, lesson)
    if to_release:
        release_by_keyboard(page, lesson)
    stands = settings(lesson)
    assert stands["title"] == "The Weir at Night"
    assert stands["sections"][0]["name"] == "Opening"
    assert len(stands["pins"]) == 1
