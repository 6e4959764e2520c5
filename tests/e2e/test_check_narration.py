"""partwright check narration as a user types it, on the demonstration's own recording and on bad input."""

from __future__ import annotations

import json
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest

Run = Callable[..., object]
FIELDS = {"kind", "time_s", "bar", "beat", "said", "right", "verdict", "against", "confidence", "why"}


@pytest.fixture
def lesson(tmp_path: Path) -> Path:
    from partwright.lesson import write_demo

    folder = tmp_path / "lantern"
    write_demo(folder)
    return folder


def _findings(out: str) -> list[dict[str, object]]:
    return json.loads(out)["findings"]


def test_the_demonstration_has_its_slips_and_nothing_else(lesson: Path, partwright: Run) -> None:
    """Two slips of the tongue, a finger she likes better than the plan, and an accidental that was not heard."""
    ran = partwright("check", "narration", lesson, "--json")
    assert ran.code == 1
    document = json.loads(ran.out)
    found = [(f["verdict"], f["kind"], f["bar"], f["beat"], f["against"]) for f in document["findings"]]
    assert found == [
        ("wrong", "finger", "4", "3", "plan"),
        ("wrong", "note", "22", "3", "score"),
        ("wrong", "finger", "23", "3", "plan"),
        ("check", "note", "38", "3", "score"),
    ]
    assert all(set(f) >= FIELDS for f in document["findings"])
    assert document["summary"]["wrong"] == 3 and document["summary"]["right"] > 100


def test_the_table_names_time_place_and_what(lesson: Path, partwright: Run) -> None:
    ran = partwright("check", "narration", lesson)
    first = ran.out.splitlines()[0]
    assert first.startswith("✗ wrong") and "bar 4, beat 3" in first and "second finger" in first and "0:4" in first
    assert "3 wrong, 1 to check" in ran.out


def test_products_are_written(lesson: Path, tmp_path: Path, partwright: Run) -> None:
    names = {"--page": "r.html", "--cards": "c.json", "--captions": "c.vtt", "--say-instead": "s.txt"}
    options = [text for option, name in names.items() for text in (option, tmp_path / name)]
    partwright("check", "narration", lesson, *options)
    cards = json.loads((tmp_path / "c.json").read_text())["cards"]
    assert [c["text"] for c in cards] == [
        "Bar 4: 1st finger, not 2nd",
        "Bar 22: E, not D",
        "Bar 23: 4th finger, not 3rd",
    ]
    assert all(c["end_s"] - c["start_s"] >= 2.5 for c in cards)
    assert all(a["end_s"] < b["start_s"] for a, b in pairwise(cards))
    captions = (tmp_path / "c.vtt").read_text()
    assert "E F sharp G that's one two three" in captions and "have sharp" not in captions
    said = (tmp_path / "s.txt").read_text()
    assert "the a on the g string is second finger" in said and "the a on the g string is first finger" in said
    assert "✗ wrong" in (tmp_path / "r.html").read_text()


def test_a_review_pins_and_settles(lesson: Path, tmp_path: Path, partwright: Run) -> None:
    before = _findings(partwright("check", "narration", lesson, "--json").out)
    keys = {f["bar"]: f["key"] for f in before}
    review = tmp_path / "lesson.review.json"
    decisions = {keys["4"]: "accept", keys["22"]: "unsure", keys["23"]: "pin", keys["38"]: "right"}
    review.write_text(json.dumps({"format": 1, "transcript": "lesson.vtt", "decisions": decisions}))
    ran = partwright("check", "narration", lesson, "--review", review, "--json")
    left = [(f["verdict"], f["bar"]) for f in _findings(ran.out)]
    assert left == [("wrong", "4"), ("check", "22")]
    settings = (lesson / "lesson.toml").read_text()
    assert '"23:3" = "3"' in settings and "the open A rings on" in settings  # comments stay
    after = _findings(partwright("check", "narration", lesson, "--json").out)
    # The plan follows what was said, and where the pin moves a neighbour, what was said of that one stays too.
    assert "23" not in [f["bar"] for f in after]


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "is empty"),
        (b"\x00\x01\x02\x03\xff\xfe\xfa" * 400, "binary"),
        (b"WEBVTT\n\n", "holds no word"),
        (b"1\n00:00:01,000 --> 00:00:02,000\n\n", "holds no word"),
    ],
)
def test_bad_transcripts_are_refused_in_one_sentence(
    lesson: Path, tmp_path: Path, partwright: Run, content: bytes, sentence: str
) -> None:
    path = tmp_path / "bad.vtt"
    path.write_bytes(content)
    ran = partwright("check", "narration", lesson, path)
    assert ran.code == 2 and sentence in ran.err and len(ran.err.strip().splitlines()) == 1


@pytest.mark.parametrize(
    "content",
    [
        b"WEBVTT\n\n00:05.000 --> 00:04.000\nthe D is open\n\n00:01.000 --> 00:09.000\nthe E is first\n",
        b"WEBVTT\n\n00:00,000 --> 00:01,000\nthe D is open\n",
        b"[0:05] the D is open\n[0:01] the E is first\n",
        "Gr\xfc\xdfe: the D is open, the E is first finger".encode("latin-1"),
        ("WEBVTT\n\n00:00.000 --> 09:00.000\n" + "the D is open and " * 1500).encode(),
    ],
)
def test_odd_transcripts_are_read(lesson: Path, tmp_path: Path, partwright: Run, content: bytes) -> None:
    path = tmp_path / "odd.vtt"
    path.write_bytes(content)
    ran = partwright("check", "narration", lesson, path, "--json")
    assert ran.code in (0, 1)
    assert json.loads(ran.out)["transcripts"][0]["file"].endswith("odd.vtt")


def test_markup_in_a_transcript_is_escaped_wherever_it_is_shown(lesson: Path, tmp_path: Path, partwright: Run) -> None:
    path = tmp_path / "x.txt"
    evil = "<script>alert(1)</script> \"'><img src=x onerror=alert(2)> first up in bar 4 the a is second finger"
    path.write_text(f"[0:01] section a open d e with first f sharp with third {evil}\n[0:09] @@FINDINGS@@ &lt;b&gt;\n")
    page = tmp_path / "r.html"
    partwright("check", "narration", lesson, path, "--page", page, "--captions", tmp_path / "c.vtt")
    html = page.read_text()
    assert "<script>alert" not in html and "<img src=x" not in html and "&lt;script&gt;alert(1)" in html
    assert html.count("<script>") == 1
    assert "<script>" not in (tmp_path / "c.vtt").read_text()


def test_a_review_that_is_none_is_refused(lesson: Path, tmp_path: Path, partwright: Run) -> None:
    path = tmp_path / "r.json"
    for content, words in (("[]", "no review"), ('{"format": 9, "decisions": {}}', "newer"), ("{", "no review"),
                           ('{"format": 1, "decisions": {"a": "maybe"}}', "maybe")):  # fmt: skip
        path.write_text(content)
        ran = partwright("check", "narration", lesson, "--review", path)
        assert ran.code == 2 and words in ran.err


def test_another_level_of_the_part_is_checked_against_its_own_plan(lesson: Path, partwright: Run) -> None:
    """The beginner's plan has other fingers up there: what was said of them is against that plan."""
    ran = partwright("check", "narration", lesson, "--level", "advanced", "--json")
    assert ran.code == 1 and json.loads(ran.out)["level"] == "advanced"


@pytest.mark.slow
def test_the_review_page_works_in_a_browser(lesson: Path, tmp_path: Path, partwright: Run) -> None:
    playwright = pytest.importorskip("playwright.sync_api", reason="no browser driver on this machine")
    chromium = next((p for p in (Path("/usr/bin/chromium"), Path("/usr/bin/chromium-browser")) if p.exists()), None)
    if chromium is None:
        pytest.skip("no Chromium on this machine")
    page_file = tmp_path / "r.html"
    partwright("check", "narration", lesson, "--page", page_file)
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=str(chromium), args=["--no-sandbox"])
        page = browser.new_page(accept_downloads=True)
        complaints: list[str] = []
        page.on("console", lambda message: complaints.append(message.text))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto(page_file.as_uri())
        assert page.locator(".finding").count() == 4
        assert page.locator(".finding img").count() == 4
        page.locator(".finding").nth(2).locator("input[value=pin]").check()
        with page.expect_download() as download:
            page.click("#save")
        saved = tmp_path / download.value.suggested_filename
        download.value.save_as(saved)
        browser.close()
    assert complaints == [] and saved.name == "lesson.review.json"
    ran = partwright("check", "narration", lesson, "--review", saved, "--json")
    assert "23" not in [f["bar"] for f in _findings(ran.out)]
