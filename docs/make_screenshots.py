"""Makes the screenshots of docs/studio.md from the real thing: the demonstration lesson in a studio of its own.

    .venv/bin/python docs/make_screenshots.py [--to docs/pictures]

Needs the developer's packages and Chromium (PARTWRIGHT_CHROMIUM or on the path). Nothing is drawn over or cut.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from partwright.lesson import write_demo

CHROMIUM = os.environ.get("PARTWRIGHT_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
DESK, PHONE = (1440, 900), (390, 844)
LARGEST_BYTES = 300_000


def until(page: Any, condition: str, seconds: float = 90.0) -> None:
    """Waits until an expression is true on the page."""
    ends = time.monotonic() + seconds
    while not page.evaluate(condition):
        if time.monotonic() > ends:
            raise SystemExit(f"never came true: {condition}")
        page.wait_for_timeout(50)


def hand(page: Any) -> None:
    """A note, why it has its finger, and what another would cost."""
    page.locator('.note-hit[data-n="38"]').click()
    until(page, "document.querySelector('#slip .other') !== null")


def changed(page: Any) -> None:
    """After a pick: what changed is lit and listed."""
    hand(page)
    page.locator("#slip .other").nth(2).click()
    until(page, "document.querySelector('#slip .moved') !== null")
    until(page, "document.querySelector('#slip .other') !== null")
    page.mouse.move(5, 5)


def check(page: Any) -> None:
    """Findings in the words said on camera."""
    page.get_by_role("button", name="Look through lesson.vtt").click()
    until(page, "document.querySelector('.finding') !== null")


def words(page: Any) -> None:
    """Sections on the score, and a sentence that is not true."""
    page.wait_for_selector(".said")
    page.locator(".said", has_text="Bar 1, beat 1: The D").first.click()
    field = page.get_by_role("textbox", name="Sentence")
    field.fill(field.input_value().replace("third finger", "second finger"))
    until(page, "document.querySelector('#sentence-check .verdict.wrong') !== null")
    page.locator("#script-title").evaluate("e => e.scrollIntoView()")


def phone(page: Any) -> None:
    """The same on a telephone."""
    hand(page)


PICTURES = {
    "studio-hand": ("hand", DESK, "light", hand),
    "studio-changed": ("hand", DESK, "light", changed),
    "studio-check": ("check", DESK, "light", check),
    "studio-lesson": ("lesson", DESK, "dark", words),
    "studio-phone": ("hand", PHONE, "light", phone),
}
"""File name: the place, the window, the paper, and what is done there first."""


def make(folder: Path) -> None:
    """Writes every picture into the folder."""
    from playwright.sync_api import sync_playwright

    if CHROMIUM is None:
        raise SystemExit("no Chromium on this machine; PARTWRIGHT_CHROMIUM may name one")
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        for stem in PICTURES:
            write_demo(Path(name) / stem)
        process = subprocess.Popen(
            [sys.executable, "-m", "partwright", "studio", "--no-browser", "--port", "0"],
            cwd=name, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, encoding="utf-8",
        )  # fmt: skip
        try:
            assert process.stdout is not None
            address = re.search(r"http://\S+", process.stdout.readline())
            assert address is not None, "the studio printed no address"
            browser = playwright.chromium.launch(executable_path=CHROMIUM)
            for stem, (place, (width, height), paper, first) in PICTURES.items():
                page = browser.new_context(
                    viewport={"width": width, "height": height}, color_scheme=paper, reduced_motion="reduce"
                ).new_page()
                page.goto(address[0])
                page.wait_for_selector("#start:not([hidden])")
                page.evaluate("where => { location.hash = where }", f"#/{stem}/{place}")
                page.wait_for_selector("#score .note-hit")
                page.evaluate("document.fonts.ready.then(() => true)")
                page.wait_for_timeout(500)
                first(page)
                page.wait_for_timeout(300)
                path = folder / f"{stem}.png"
                page.screenshot(path=path)
                if path.stat().st_size > LARGEST_BYTES:
                    raise SystemExit(f"{path.name} is {path.stat().st_size} bytes, more than {LARGEST_BYTES}")
                print(path)
        finally:
            process.terminate()
            process.wait(timeout=20)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Make the screenshots of docs/studio.md.")
    parser.add_argument("--to", type=Path, default=Path(__file__).parent / "pictures")
    asked = parser.parse_args()
    asked.to.mkdir(parents=True, exist_ok=True)
    make(asked.to)
