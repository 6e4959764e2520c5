"""Sections moved on the bar line, words checked while they are written, the prompter."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from studio_browser import Open, Studio, until


def sections(lesson: Path) -> list[tuple[str, str, str]]:
    """Name, first and last bar of every section, as lesson.toml has them."""
    with (lesson / "lesson.toml").open("rb") as file:
        return [(s["name"], s["first_bar"], s["last_bar"]) for s in tomllib.load(file)["sections"]]


def settled(page: Any, text: str) -> None:
    """Waits for the server's word on an edit."""
    until(page, f"(window.partwright.state.lesson.undo ?? '').toLowerCase().includes('{text}')")


def test_a_section_is_dragged_to_another_bar_line_and_moved_by_key(studio: Studio, open_page: Open) -> None:
    lesson = studio.lesson("drag")
    page = open_page("#/drag/lesson")
    handle = page.locator(".begin[data-name='B']")
    handle.hover()  # waits until the score is drawn and at rest
    box = handle.bounding_box()
    lines = page.evaluate(
        "[...document.querySelectorAll('.bar-hit')].map(e => [+e.dataset.barIndex, e.getBoundingClientRect().left])"
    )
    target = dict(lines)[12]  # bar 12 stands in the same line
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(target + 2, box["y"] + box["height"] / 2, steps=6)
    page.mouse.up()
    settled(page, "section")
    assert sections(lesson)[:2] == [("A", "1", "11"), ("B", "12", "18")]
    handle = page.locator(".begin[data-name='B']")
    assert handle.get_attribute("aria-valuetext") == "bar 12"
    handle.focus()
    page.keyboard.press("ArrowLeft")
    until(page, "document.querySelector('.begin[data-name=B]').getAttribute('aria-valuetext') === 'bar 11'")
    page.wait_for_timeout(400)
    assert sections(lesson)[:2] == [("A", "1", "10"), ("B", "11", "18")]
    assert page.evaluate("document.activeElement.dataset.name") == "B", "the line keeps the focus"


def test_a_section_is_begun_named_ordered_and_joined(studio: Studio, open_page: Open) -> None:
    lesson = studio.lesson("split")
    page = open_page("#/split/lesson")
    page.locator('.note-hit[data-n="70"]').click()
    until(page, "document.querySelector('[data-key=begin-here]') !== null")
    bar = page.locator("[data-key=begin-here]").inner_text().split()[-1]
    page.locator("[data-key=begin-here]").click()
    until(page, "window.partwright.state.lesson.sections.length === 6")
    assert ("F", bar, "34") in sections(lesson)
    name = page.get_by_role("textbox", name=f"Name of the section, bars {bar}–34")
    name.fill("The return")
    name.press("Tab")
    until(page, "window.partwright.state.lesson.sections.some(s => s.name === 'The return')")
    page.get_by_role("button", name="Teach The return earlier").click()
    until(page, "window.partwright.state.lesson.teaching_order.indexOf('The return') === 3")
    page.get_by_role("button", name="Join The return to the section before it").click()
    until(page, "window.partwright.state.lesson.sections.length === 5")
    assert ("D", "27", "34") in sections(lesson)


def test_a_false_sentence_is_marked_while_it_is_typed(studio: Studio, open_page: Open) -> None:
    lesson = studio.lesson("words")
    page = open_page("#/words/lesson")
    sentence = page.locator(".said", has_text="Bar 1, beat 1: The D, open D string.").first
    sentence.click()
    field = page.get_by_role("textbox", name="Sentence")
    text = field.input_value()
    assert "third finger on the D string" in text
    field.fill(text.replace("third finger", "second finger"))
    until(page, "document.querySelector('#sentence-check .verdict.wrong') !== null")
    words = page.locator("#sentence-check").inner_text()
    assert "second finger" in words
    assert "third" in words
    assert page.evaluate("document.activeElement.tagName") == "TEXTAREA", "the check takes no one's place"
    field.fill(text.replace("The D, open D string.", "The open D, and let it ring."))
    until(page, "document.querySelector('#sentence-check .verdict.wrong') === null")
    field.press("Enter")
    settled(page, "")
    until(page, "[...document.querySelectorAll('.said')].some(e => e.textContent.includes('let it ring'))")
    assert "let it ring" in (lesson / "script.md").read_text(encoding="utf-8")


def test_the_words_of_a_draft_outlive_a_reload(studio: Studio, open_page: Open) -> None:
    studio.lesson("draft")
    page = open_page("#/draft/lesson")
    page.locator(".said").nth(2).click()
    page.get_by_role("textbox", name="Sentence").fill("Tune your strings, slowly, and listen.")
    page.wait_for_timeout(400)
    page.reload()
    page.wait_for_selector(".said")
    page.locator(".said").nth(2).click()
    assert page.get_by_role("textbox", name="Sentence").input_value() == "Tune your strings, slowly, and listen."


def test_the_prompter_is_large_and_turned_by_a_pedal(studio: Studio, open_page: Open) -> None:
    studio.lesson("prompter")
    page = open_page("#/prompter/lesson")
    page.wait_for_selector(".said")
    page.get_by_role("button", name="Prompter").click()
    size = page.evaluate("parseFloat(getComputedStyle(document.querySelector('.cue')).fontSize)")
    assert size >= 48
    page.keyboard.press("PageDown")
    page.keyboard.press("PageDown")
    page.keyboard.press("PageUp")
    assert page.locator(".cue[data-now]").get_attribute("data-cue") == "1"
    for _ in range(10):
        page.keyboard.press("[")
    assert page.evaluate("parseFloat(getComputedStyle(document.querySelector('.cue')).fontSize)") == 48
    page.keyboard.press("Escape")
    until(page, "document.querySelector('dialog') === null")


def episodes(lesson: Path) -> list[tuple[str, list[str]]]:
    """Title and sections of every episode, as lesson.toml has them."""
    with (lesson / "lesson.toml").open("rb") as file:
        return [(e["title"], e["sections"]) for e in tomllib.load(file).get("episodes", [])]


def test_episodes_are_added_changed_taken_out_and_undone(studio: Studio, open_page: Open) -> None:
    lesson = studio.lesson("episodes")
    page = open_page("#/episodes/lesson", expected=(422,))
    before = episodes(lesson)
    for title, _ in before:
        page.get_by_role("button", name=f"Take out episode {title}").click()
        settled(page, f'took out the episode "{title}"'.lower())
    assert (len(before), episodes(lesson)) == (2, [])
    assert "one recording" in page.locator("[aria-labelledby=episodes-title]").inner_text()
    names = [name for name, _, _ in sections(lesson)]
    place = page.locator("[aria-labelledby=episodes-title]")
    for name in names[2:]:
        place.get_by_label(name, exact=True).uncheck()
    page.get_by_label("The first episode").fill("The tune <b>itself</b>")
    page.get_by_role("button", name="Add it").click()
    settled(page, "added the episode")
    assert episodes(lesson) == [("The tune <b>itself</b>", names[:2])]
    place.get_by_text("no episode teaches").wait_for()
    page.get_by_label("A further episode").fill("The rest")  # by keyboard: what is left is chosen already
    page.keyboard.press("Enter")
    until(page, "window.partwright.state.lesson.episodes.length === 2")
    assert episodes(lesson)[1] == ("The rest", names[2:])
    assert place.get_by_text("no episode teaches").count() == 0
    title = page.get_by_label("Title of episode 1")
    title.fill("The tune")
    title.press("Tab")
    settled(page, "changed the episodes")
    page.get_by_role("button", name="Record The rest earlier").click()
    until(page, "window.partwright.state.lesson.episodes[0].title === 'The rest'")
    page.wait_for_timeout(400)
    assert [title for title, _ in episodes(lesson)] == ["The rest", "The tune"]
    for name in names[:2]:  # the second cannot be taken: an episode without sections is refused, as in the file
        box = place.get_by_role("group", name="Sections that The tune teaches").get_by_label(name, exact=True)
        box.uncheck()
        page.wait_for_timeout(300)
    until(page, "!document.getElementById('notice').hidden")
    assert "does not say which sections it teaches" in page.locator("#notice").inner_text()
    assert episodes(lesson)[1] == ("The tune", names[1:2])
    assert box.is_checked(), "what was refused shows as it stands"
    page.get_by_role("button", name="Take out episode The rest").click()
    settled(page, "took out the episode")
    assert [title for title, _ in episodes(lesson)] == ["The tune"]
    page.get_by_role("button", name="Undo").click()
    until(page, "window.partwright.state.lesson.episodes.length === 2")
    assert [title for title, _ in episodes(lesson)] == ["The rest", "The tune"]


def test_two_windows_do_not_overwrite_each_others_episodes(studio: Studio, open_page: Open) -> None:
    lesson = studio.lesson("windows")
    one = open_page("#/windows/lesson", expected=(409,))
    two = open_page("#/windows/lesson", expected=(409,))
    two.route("**/events*", lambda route: route.abort())  # it does not hear of the other's change
    for page in (one, two):
        place = page.locator("[aria-labelledby=episodes-title]")
        place.get_by_role("group", name="Sections that the new episode teaches").get_by_label("A", exact=True).check()
    one.get_by_label("A further episode").fill("From the first window")
    one.keyboard.press("Enter")
    settled(one, "added the episode")
    two.evaluate("window.partwright.state.lesson.version = 'an old one'")
    two.get_by_label("A further episode").fill("From the second window")
    two.keyboard.press("Enter")
    two.get_by_role("button", name="Make my change now").wait_for()
    assert [title for title, _ in episodes(lesson)][2:] == ["From the first window"]
    two.get_by_role("button", name="Make my change now").click()
    until(two, "window.partwright.state.lesson.episodes.some((x) => x.title === 'From the second window')")
    assert [title for title, _ in episodes(lesson)][2:] == ["From the first window", "From the second window"]
    until(one, "window.partwright.state.lesson.episodes.length === 4")  # it hears of it, and goes on from there
    remark = one.get_by_role("textbox", name="Remark on section B")
    remark.fill("from the first window")
    remark.press("Tab")
    settled(one, "section")
    two.evaluate("window.partwright.state.lesson.version = 'an old one'")
    other = two.get_by_role("textbox", name="Remark on section C")
    other.fill("from the second window")
    other.press("Tab")
    two.get_by_role("button", name="Make my change now").click()
    until(two, "window.partwright.state.lesson.sections[2].remark === 'from the second window'")
    with (lesson / "lesson.toml").open("rb") as file:
        remarks = [section.get("remark", "") for section in tomllib.load(file)["sections"]]
    assert remarks[1:3] == ["from the first window", "from the second window"]
