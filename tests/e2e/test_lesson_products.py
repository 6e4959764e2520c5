"""What a lesson is taught with, as a user makes it: sections, script, prompter, drills, booklet; what is made again.

PDF facts are read by pypdf; the prompter is opened in Chromium where one is installed.
"""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pypdf
import pytest

from conftest import Ran, run_partwright
from partwright.lesson import write_demo

Partwright = Callable[..., Ran]
STEPS = ("part-a4", "charts", "sections", "drills", "script", "booklet-a4", "booklet-letter")
ONLY = tuple(word for name in STEPS for word in ("--only", name))
"""The steps these tests are about; sound has its own."""
FOLDED = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ANSI A


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demonstration lesson, built once."""
    folder = tmp_path_factory.mktemp("lesson") / "demo"
    write_demo(folder)
    ran = run_partwright(["build", str(folder), *ONLY], cwd=folder)
    assert ran.code == 0, ran.err
    return folder


def made_and_kept(ran: Ran) -> dict[str, tuple[str, str]]:
    """The build's own log: each step with made or kept, and why."""
    found = re.findall(r"^\s*(made|kept)  ([\w-]+): (.*)$", ran.err, re.MULTILINE)
    return {name: (word, why) for word, name, why in found}


def test_sections_document_has_the_fields_others_lean_on(partwright: Partwright, demo: Path) -> None:
    ran = partwright("sections", demo, "--json")
    assert ran.code == 0
    document = json.loads(ran.out)
    first = document["sections"][0]
    assert {"name", "first_bar", "last_bar", "phrases"} <= set(first)
    assert re.fullmatch(r"\w+:\d+(\+\d+/\d+)?", first["phrases"][0]["first"])
    near = next(r for r in document["repeats"] if r["kind"] == "near")
    assert (near["of"], near["at"]) == (["1", "6"], ["27", "32"])
    (difference,) = [d for d in near["differences"] if d["what"] == "pitch"]
    assert {k: difference[k] for k in ("bar", "beat", "was", "is")} == {
        "bar": "28", "beat": "3", "was": "F#3", "is": "D4",
    }  # fmt: skip


def test_sections_are_printed_with_what_returns(partwright: Partwright, demo: Path) -> None:
    ran = partwright("sections", demo)
    assert ran.code == 0
    assert "Bars 27 to 32 are bars 1 to 6 again, but for one note: bar 28, beat 3, D instead of F sharp" in ran.out


def test_script_speaks_of_every_bar(partwright: Partwright, demo: Path) -> None:
    ran = partwright("script", demo)
    assert ran.code == 0
    assert ran.out.startswith("# Lantern on the Weir: what to say")
    document = json.loads(partwright("script", demo, "--json").out)
    assert document["uncovered_bars"] == []
    assert [e["sections"] for e in document["episodes"]] == [["A", "B"], ["C", "D", "E"]]
    told = {i for cue in document["cues"] for claim in cue["claims"] if claim["kind"] == "note" for i in claim["ids"]}
    assert len(told) > 70
    for episode in (1, 2):
        times = [(c["start_s"], c["end_s"]) for c in document["cues"] if c["episode"] == episode]
        assert times[0][0] == 0
        assert all(a[1] == pytest.approx(b[0], abs=0.02) for a, b in pairwise(times))


def test_script_goes_where_it_is_asked_to(partwright: Partwright, demo: Path, tmp_path: Path) -> None:
    for name in ("words.md", "page.html", "cues.json"):
        ran = partwright("script", demo, "--out", name)
        assert ran.code == 0, ran.err
        assert (tmp_path / name).stat().st_size > 1000
    refused = partwright("script", demo, "--out", "words.docx")
    assert refused.code == 2
    assert "Use .md, .html or .json" in refused.err


def test_steps_are_listed_with_their_times(partwright: Partwright, demo: Path) -> None:
    ran = partwright("script", demo, "--steps")
    assert ran.code == 0
    assert re.search(r"\d+ steps, about \d+ minutes of practice", ran.out)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_booklet_is_a_proper_document(demo: Path, paper: str) -> None:
    reader = pypdf.PdfReader(demo / "build" / f"booklet-{paper.casefold()}.pdf")
    texts = [page.extract_text() for page in reader.pages]
    width, height = FOLDED[paper]
    for page in reader.pages:
        assert float(page.mediabox.width) == pytest.approx(width / 25.4 * 72, abs=0.5)
        assert float(page.mediabox.height) == pytest.approx(height / 25.4 * 72, abs=0.5)
    whole = " ".join(" ".join(texts).split())
    for words in (
        "Lantern on the Weir", "What you will learn", "Before you play", "Where the hand lies", "Section A",
        "Bars 27 to 32 are bars 1 to 6 again, but for one note: bar 28, beat 3, D instead of F sharp", "Hard spots",
        "Up to tempo", "not medical or legal advice",
    ):  # fmt: skip
        assert words in whole, words
    for number, text in enumerate(texts[1:], start=2):
        assert f"{number} / {len(texts)}" in " ".join(text.split()), number
    fonts = [f.get_object() for page in reader.pages for f in page["/Resources"].get("/Font", {}).values()]
    assert fonts
    for font in fonts:
        descendants = [d.get_object() for d in font.get("/DescendantFonts", [])] or [font]
        assert all({"/FontFile", "/FontFile2", "/FontFile3"} & set(d["/FontDescriptor"]) for d in descendants)


def test_prompter_asks_nothing_of_the_network(demo: Path) -> None:
    page = (demo / "build" / "prompter.html").read_text(encoding="utf-8")
    assert not re.search(r"https?://", page)
    assert not re.search(r"""(?:src|href)\s*=\s*["'](?!data:)""", page)
    assert "default-src 'none'" in page


def test_prompter_scrolls_and_obeys_keys_and_pedal(demo: Path) -> None:
    """In Chromium: large type, the script moves while it runs, page keys step, it stops where the teacher plays."""
    playwright = pytest.importorskip("playwright.sync_api")
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        pytest.skip("no Chromium on this machine")
    with playwright.sync_playwright() as engine:
        browser = engine.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page(
            viewport={"width": 1280, "height": 800}, bypass_csp=True
        )  # so that we may ask it things
        asked: list[str] = []
        faults: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.goto((demo / "build" / "prompter.html").as_uri())
        page.wait_for_selector("p.now")

        def now() -> int:
            return int(page.get_attribute("p.now", "data-cue") or 0)

        def top() -> float:
            return float(page.evaluate("document.getElementById('script').scrollTop"))

        assert float(page.evaluate("parseFloat(getComputedStyle(document.querySelector('p.now')).fontSize)")) >= 48
        start = now()
        page.keyboard.press("PageDown")
        page.keyboard.press("PageDown")
        assert now() == start + 2
        page.keyboard.press("PageUp")
        assert now() == start + 1
        before = top()
        page.keyboard.press("Space")
        page.wait_for_function(f"document.getElementById('script').scrollTop > {before} + 2")
        assert "Running" in page.inner_text("#state")
        page.keyboard.press("Space")
        assert "Stopped" in page.inner_text("#state")
        for _ in range(12):
            page.keyboard.press("+")
        assert "208 words a minute" in page.inner_text("#speed")
        page.keyboard.press("Home")
        page.keyboard.press("Space")
        page.wait_for_function(
            "document.getElementById('state').innerText.includes('Play, then go on')", timeout=30_000
        )
        page.select_option("#episode", "2")
        assert "climb" in page.inner_text("#column").casefold() or now() > start
        page.set_viewport_size({"width": 420, "height": 800})
        assert float(page.evaluate("parseFloat(getComputedStyle(document.querySelector('p.now')).fontSize)")) >= 48
        assert not [url for url in asked if not url.startswith(("file:", "data:"))]
        assert not faults
        browser.close()


def edit(folder: Path, was: str, now: str) -> None:
    path = folder / "lesson.toml"
    text = path.read_text(encoding="utf-8")
    assert was in text
    path.write_text(text.replace(was, now, 1), encoding="utf-8")


@pytest.fixture
def copy(demo: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "copy"
    shutil.copytree(demo, folder)
    return folder


def test_nothing_is_made_again_that_did_not_change(partwright: Partwright, copy: Path) -> None:
    log = made_and_kept(partwright("build", copy, *ONLY))
    assert {word for word, _ in log.values()} == {"kept"}
    assert {"sections", "drills", "script", "booklet-a4", "booklet-letter"} <= set(log)


def test_one_changed_pin_makes_what_depends_on_it(partwright: Partwright, copy: Path) -> None:
    """Bar 22's first note with another finger: plan and what shows fingers are made anew, each saying why."""
    edit(copy, '"18:3" = "1/A"', '"18:3" = "4/A"')
    log = made_and_kept(partwright("build", copy, *ONLY))
    assert log["plan"] == ("made", "the pins changed")
    for name in ("sections", "script", "booklet-a4"):
        assert log[name][0] == "made"
        assert "what plan made" in log[name][1]


def test_a_new_speed_of_speaking_touches_no_note(partwright: Partwright, copy: Path) -> None:
    edit(copy, "speaking_wpm = 130", "speaking_wpm = 150")
    log = made_and_kept(partwright("build", copy, *ONLY))
    assert log["script"] == ("made", "the teaching changed")
    assert {log[name][0] for name in ("plan", "part-a4", "charts")} == {"kept"}


def test_a_new_title_makes_no_drill(partwright: Partwright, copy: Path) -> None:
    edit(copy, 'title = "Lantern on the Weir"', 'title = "Lantern by the Weir"')
    log = made_and_kept(partwright("build", copy, *ONLY))
    assert {log[name][0] for name in ("plan", "sections", "drills")} == {"kept"}
    assert log["booklet-a4"] == ("made", "the credits changed")


def test_the_teachers_own_script_is_used(partwright: Partwright, copy: Path) -> None:
    text = (copy / "build" / "script.md").read_text(encoding="utf-8")
    (copy / "script.md").write_text(text.replace("Tune your strings first.", "Tune, and listen."), encoding="utf-8")
    ran = partwright("build", copy, *ONLY)
    log = made_and_kept(ran)
    assert log["script"] == ("made", "the script of your own changed")
    assert log["booklet-a4"][0] == "kept"
    assert "sentences are your own" in ran.err
    cues: list[dict[str, Any]] = json.loads((copy / "build" / "cues.json").read_text(encoding="utf-8"))["cues"]
    assert "Tune, and listen." in [cue["text"] for cue in cues]
    assert "Tune, and listen." in (copy / "build" / "prompter.html").read_text(encoding="utf-8")
