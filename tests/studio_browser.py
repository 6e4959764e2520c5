"""A studio of its own for a test module, and Debian's Chromium to look at it with; skips where there is none."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = os.environ.get("PARTWRIGHT_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
SIZES = {"phone": (390, 844), "desk": (1440, 900), "projector": (1920, 1080)}
"""Width and height of the window in pixels."""
QUIET = (
    "--autoplay-policy=no-user-gesture-required",
    "--use-fake-ui-for-media-stream",
    "--use-fake-device-for-media-stream",
)


@dataclass(frozen=True)
class Studio:
    """A running studio: the folder it serves, and the address that lets one in."""

    folder: Path
    address: str

    def lesson(self, name: str) -> Path:
        """A fresh demonstration lesson of this name."""
        from partwright.lesson import write_demo

        folder = self.folder / name
        write_demo(folder)
        return folder


def start_studio(folder: Path) -> tuple[subprocess.Popen[str], str]:
    """The command as a user types it, in this folder. Gives the process and the address it prints."""
    process = subprocess.Popen(
        [sys.executable, "-m", "partwright", "studio", "--no-browser", "--port", "0"],
        cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, encoding="utf-8",
    )  # fmt: skip
    assert process.stdout is not None
    line = process.stdout.readline()
    found = re.search(r"http://\S+", line)
    if found is None:
        process.kill()
        process.communicate()
        raise AssertionError(f"the studio printed no address: {line!r}")
    return process, found[0]


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    """One studio for the module, in an empty folder."""
    folder = tmp_path_factory.mktemp("studio")
    process, address = start_studio(folder)
    yield Studio(folder, address)
    process.terminate()
    process.wait(timeout=20)
    if process.stdout is not None:
        process.stdout.close()


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Chromium without a window."""
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine (looked for chromium; PARTWRIGHT_CHROMIUM may name one)")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        yield running
        running.close()


@dataclass
class Seen:
    """What a page complained of while it was used."""

    errors: list[str]


Open = Callable[..., Any]


@pytest.fixture
def open_page(studio: Studio, browser: Any) -> Iterator[Open]:
    """`open_page("#/demo/hand", size="desk")`: a window of its own that has come in through the address.

    After the test every script error, refused resource and breach of the page's own policy fails it, but for statuses
    the test expects: `open_page(..., expected=(409,))`.
    """
    contexts: list[Any] = []
    seen = Seen([])

    def opened(where: str = "#/", *, size: str = "desk", expected: tuple[int, ...] = (), **options: Any) -> Any:
        width, height = SIZES[size]
        context = browser.new_context(viewport={"width": width, "height": height}, **options)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)
        watch(page, seen, expected)
        page.goto(studio.address)
        page.wait_for_selector("#start:not([hidden]), #score .note-hit")
        if where != "#/":
            page.evaluate("where => { location.hash = where }", where)
            page.wait_for_selector("#score .note-hit")
        return page

    yield opened
    for context in contexts:
        context.close()
    assert not seen.errors, "\n".join(seen.errors)


def watch(page: Any, seen: Seen, expected: tuple[int, ...]) -> None:
    """Notes what goes wrong on a page."""
    page.on("pageerror", lambda error: seen.errors.append(f"script error: {error}"))
    page.on(
        "response",
        lambda answer: (
            seen.errors.append(f"{answer.status} {answer.url}")
            if answer.status >= 400 and answer.status not in expected
            else None
        ),
    )
    page.on(
        "console",
        lambda message: (
            seen.errors.append(f"console: {message.text}")
            if message.type == "error" and "Failed to load resource" not in message.text
            else None
        ),
    )


def until(page: Any, condition: str, seconds: float = 15.0) -> None:
    """Waits until a JavaScript expression is true on the page (its policy forbids `wait_for_function`'s eval)."""
    ends = time.monotonic() + seconds
    while time.monotonic() < ends:
        if page.evaluate(condition):
            return
        page.wait_for_timeout(30)
    raise AssertionError(f"did not come true within {seconds:.0f} s: {condition}")
