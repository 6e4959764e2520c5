"""Every view, in three sizes and on dark paper, against the Web Content Accessibility Guidelines 2.2, levels A and AA.

Judge: axe-core (rules tagged wcag2a, wcag2aa, wcag21a, wcag21aa, wcag22aa), carried by axe-playwright-python. Sizes of
targets: success criterion 2.5.8. What axe cannot see (reading order, sense of labels) is not proved here.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from studio_browser import SIZES, Open, Studio, until

PLACES = ("tune", "hand", "bow", "levels", "lesson", "sound", "check", "publish")
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def violations(page: Any) -> list[str]:
    """What axe finds on the page as it is, one line each."""
    axe = pytest.importorskip("axe_playwright_python")
    source = (Path(axe.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
    page.evaluate(source)  # through the debugger: the page's policy lets no foreign script in
    results = page.evaluate("tags => axe.run(document, { runOnly: { type: 'tag', values: tags } })", TAGS)
    assert results["passes"], "axe looked at nothing"
    return [
        f"{found['id']}: {found['help']}: {node['html'][:160]}"
        for found in results["violations"]
        for node in found["nodes"][:3]
    ]


def go(page: Any, name: str, place: str) -> None:
    """To a place of a lesson, drawn and at rest."""
    page.evaluate("where => { location.hash = where }", f"#/{name}/{place}")
    until(page, f"document.body.dataset.place === '{place}' && document.querySelector('#score .note-hit') !== null")
    page.wait_for_timeout(150)


def choose_a_note(page: Any) -> None:
    """A note chosen, with what else it could be."""
    page.locator(".note-hit").nth(4).click()
    until(page, "document.querySelector('.other') !== null")


def test_the_views_most_used_break_no_guideline(studio: Studio, open_page: Open) -> None:
    studio.lesson("access")
    page = open_page("#/access/lesson")
    page.wait_for_selector(".said")
    assert violations(page) == []
    go(page, "access", "hand")
    choose_a_note(page)
    assert violations(page) == []


@pytest.mark.slow
@pytest.mark.parametrize("size", SIZES)
def test_no_view_breaks_a_guideline(studio: Studio, open_page: Open, size: str) -> None:
    name = f"access {size}"
    studio.lesson(name)
    page = open_page("#/", size=size)
    found = {"start": violations(page)}
    for place in PLACES:
        go(page, name, place)
        found[place] = violations(page)
    go(page, name, "check")
    page.get_by_role("button", name="Look through lesson.vtt").click()
    until(page, "document.querySelector('.finding') !== null", 60)
    found["findings"] = violations(page)
    go(page, name, "lesson")
    page.locator(".said").first.click()
    found["a sentence open"] = violations(page)
    page.get_by_role("button", name="Prompter").click()
    found["prompter"] = violations(page)
    page.keyboard.press("Escape")
    go(page, name, "hand")
    page.get_by_role("button", name="Leave the note").click()
    page.get_by_role("button", name="Compare with the plan without your pins").click()
    until(page, "document.querySelectorAll('#facing .pair svg').length >= 2")
    found["two plans"] = violations(page)
    page.get_by_role("button", name="Back to the score").click()
    choose_a_note(page)
    found["a note chosen"] = violations(page)
    page.get_by_role("button", name="Keys", exact=True).click()
    found["keys"] = violations(page)
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Dark paper").click()
    found["dark paper"] = violations(page)
    go(page, name, "check")
    found["dark findings"] = violations(page)
    assert {view: rows for view, rows in found.items() if rows} == {}
