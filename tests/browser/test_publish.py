"""Making everything from the page: progress that says what is done, a stop that keeps what was finished, links."""

from __future__ import annotations

import json

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


@pytest.mark.slow
def test_an_edition_is_released_from_the_page_once_the_rights_are_said(studio: Studio, open_page: Open) -> None:
    lesson = studio.lesson("release")
    page = open_page("#/release/publish")
    page.wait_for_selector("[data-key=release]")
    page.get_by_label("The tune is").select_option("")
    until(page, "document.querySelector('[data-key=release]').disabled", 20)
    assert "missing" in page.locator("[aria-labelledby=release-title]").inner_text()
    page.get_by_label("The tune is").select_option("public-domain")
    reason = page.get_by_label("Why, or whose work")
    reason.fill("Invented for this lesson, and dedicated to the public domain.")
    reason.press("Tab")
    countries = page.get_by_label("In which countries")
    countries.fill("DE, GB")
    countries.press("Tab")
    authors = page.get_by_label("Who wrote it")
    authors.fill("Ottoline Fennick")
    authors.press("Tab")
    until(page, "document.querySelector('[data-key=release]')?.disabled === false", 20)
    page.locator("[data-key=release]").click()
    until(page, "document.querySelector('[aria-labelledby=editions-title]') !== null", 400)
    assert (lesson / "editions" / "1").is_dir()
    page.locator("[data-key=edition-summary-1]").click()
    address = page.locator("[data-key=edition-1] a").first.get_attribute("href")
    answer = page.request.get(page.evaluate("location.origin") + address)
    assert answer.ok
    assert len(answer.body()) > 1000


@pytest.mark.slow
def test_a_lesson_is_begun_in_the_key_that_lies_best(studio: Studio, open_page: Open) -> None:
    studio.lesson("keys")
    page = open_page("#/keys/tune")
    page.get_by_role("button", name="Try the keys").click()
    page.wait_for_selector("[data-key^=key-]", timeout=120_000)
    row = page.locator("[aria-labelledby=keys-heading] li").first
    name = row.locator("strong").inner_text()
    row.get_by_role("button").click()
    until(page, "window.partwright.state.name !== 'keys' && window.partwright.state.lesson !== null", 30)
    assert name in page.locator(".facts").inner_text().replace("#", "♯")
    assert len([p for p in studio.folder.iterdir() if (p / "lesson.toml").exists()]) >= 2


def test_viewers_comments_come_back_to_bars_and_draft_errata(studio: Studio, open_page: Open) -> None:
    lesson = studio.lesson("comments")
    page = open_page("#/comments/publish")
    page.get_by_label("Under the video with the words").select_option("lesson.vtt")
    page.get_by_label("Their comments as a file").set_input_files(lesson / "comments.csv")
    until(page, "document.querySelector('[data-key=report-0]') !== null", 60)
    said = page.locator("[aria-labelledby=reports-title]").inner_text()
    assert "Bar 4, beat 3: 2 viewers say first finger, not second finger." in said
    assert "✗ not so" in said  # a viewer who is wrong is told so, kindly
    page.locator("[data-key=report-0]").click()
    until(page, "window.partwright.state.notes.get(window.partwright.state.n)?.bar === '4'")
    page.wait_for_selector("[aria-labelledby=errata-title] li")
    assert "first finger, not second finger" in page.locator("[aria-labelledby=errata-title]").inner_text()
    page.get_by_role("button", name="Confirm: the words should be").click()
    until(page, "document.querySelector('[aria-labelledby=errata-title]').textContent.includes('confirmed')")
    waiting = page.locator("[data-key^=answer-]").count()
    page.get_by_role("button", name="Answered: ").last.click()
    until(page, "document.querySelector('[data-key=answered-summary]')?.textContent === '1 report answered'")
    kept = json.loads((lesson / "reports.json").read_bytes())["reports"]
    assert [row["history"][-1]["by"] for row in kept if row["state"] == "answered"] == ["maker"]
    page.locator("[data-key=answered-summary]").click()
    page.get_by_role("button", name="Open again: ").click()
    until(page, "document.querySelector('[data-key=answered-summary]') === null")
    assert page.get_by_role("button", name="Answered: ").count() == waiting


@pytest.mark.slow
def test_a_step_of_a_version_is_left_out_and_made_again(studio: Studio, open_page: Open) -> None:
    lesson = studio.lesson("steps")
    page = open_page("#/steps/levels")
    page.get_by_role("button", name="Make the versions").click()
    out = page.get_by_role("button", name="Leave out octave 18-23 for beginner")
    out.wait_for(timeout=120_000)
    out.click()
    again = page.get_by_role("button", name="Make octave 18-23 for beginner")
    again.wait_for(timeout=60_000)
    assert '"beginner: octave 18-23"' in (lesson / "lesson.toml").read_text(encoding="utf-8")
    again.click()
    until(page, "!window.partwright.state.lesson.undo_steps.includes('beginner: octave 18-23')")
    assert "octave 18-23" not in (lesson / "lesson.toml").read_text(encoding="utf-8")
