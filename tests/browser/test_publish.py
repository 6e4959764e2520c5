"""Making everything from the page: progress that says what is done, a stop that keeps what was finished, links."""

from __future__ import annotations

import pytest

from studio_browser import Open, Studio, until


@pytest.mark.slow
def test_a_build_shows_how_far_it_is_and_can_be_stopped(studio: Studio, open_page: Open) -> None:
    lesson = studio.lesson("stopped")
    page = open_page("#/stopped/publish")
    page.get_by_role("button", name="Make everything").click()
    until(page, "(document.querySelector('progress')?.value ?? 0) >= 2", 120)
    assert "of" in page.locator("[aria-label='Being made']").inner_text()
    page.get_by_role("button", name="Stop", exact=True).click()
    until(page, "document.getElementById('slip').textContent.includes('What was finished stays')", 60)
    until(page, "document.querySelector('[data-key=build]').textContent === 'Make everything'", 60)
    assert (lesson / "build" / "plan.json").exists()
    assert not (lesson / "build" / "video" / "demonstration.mp4").exists()
    until(page, "[...document.querySelectorAll('a')].some(a => a.textContent === 'plan.json')")
    address = page.evaluate("[...document.querySelectorAll('a')].find(a => a.textContent === 'plan.json').href")
    answer = page.request.get(address)
    assert answer.ok
    assert answer.json()["notes"]


def test_a_lesson_made_on_the_page_says_what_was_found(studio: Studio, open_page: Open) -> None:
    page = open_page()
    page.get_by_role("button", name="Make the demonstration lesson").click()
    page.wait_for_selector("#score .note-hit")
    assert (studio.folder / "demo" / "lesson.toml").exists()
    facts = page.locator(".facts").inner_text()
    assert "D major" in facts
    assert "40 and a pick-up, in 3/4" in facts


def test_a_file_that_is_no_tune_is_refused_in_words(studio: Studio, open_page: Open) -> None:
    page = open_page(expected=(400, 409, 413, 415, 422))
    page.get_by_label("The tune (").set_input_files(
        {"name": "holiday.musicxml", "mimeType": "application/xml", "buffer": b"\x89PNG\r\n\x1a\n not a tune"}
    )
    page.get_by_role("button", name="Begin the lesson").click()
    until(page, "!document.getElementById('notice').hidden")
    words = page.locator("#notice").inner_text()
    assert "holiday.musicxml" in words.lower()
    assert "Traceback" not in words
    assert not (studio.folder / "holiday").exists()
