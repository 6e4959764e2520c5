"""The studio as the person at the stand feels it: from the click to the changed line, measured in a browser.

    python bench/studio_browser.py [--bars 200] [--edits 40]

prints one JSON document; `bench_studio.py` may call `measure`. Every time is taken in the page itself: from the
browser's own time of the click to the end of the first frame after the changed lines stand in the page. The server's
share is what each answer says of itself (`server_ms`). Needs Chromium (PARTWRIGHT_CHROMIUM or on the path).
"""

from __future__ import annotations

import argparse
import copy
import json
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from lxml import etree

CHROMIUM = os.environ.get("PARTWRIGHT_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")

WATCH = """() => {
  const times = window.partwrightTimes = [];
  window.partwrightVersion = window.partwright.state.lesson.version;
  let began = null;
  addEventListener("click", (event) => {
    if (event.target.closest(".other, [data-key=undo]")) began = event.timeStamp;
  }, true);
  let lines = 0;
  new MutationObserver((records) => {
    lines += records.flatMap((r) => [...r.addedNodes]).filter((e) => e.classList?.contains("line")).length;
  }).observe(document.getElementById("score"), { childList: true, subtree: true });
  // The contents are written anew after the score, when undo and pins are known: then all is there.
  new MutationObserver(() => {
    if (began === null || window.partwright.state.lesson.version === window.partwrightVersion) return;
    window.partwrightVersion = window.partwright.state.lesson.version;
    const from = began;
    const drawn = lines;
    began = null;
    lines = 0;
    requestAnimationFrame(() => {
      const channel = new MessageChannel();
      channel.port1.onmessage = () => times.push({ ms: performance.now() - from, lines: drawn });
      channel.port2.postMessage(0);
    });
  }).observe(document.getElementById("contents"), { childList: true });
}"""


def long_tune(bars: int) -> bytes:
    """The demonstration tune over and over, repeats written out as they stand, until it has so many bars."""
    from partwright.lesson import write_demo

    with tempfile.TemporaryDirectory() as name:
        write_demo(Path(name) / "demo")
        root = etree.fromstring((Path(name) / "demo" / "tune.musicxml").read_bytes())
    part = root.find("part")
    assert part is not None
    measures = part.findall("measure")
    body = []
    for measure in measures[1:]:
        kept = copy.deepcopy(measure)
        for barline in kept.findall("barline"):
            kept.remove(barline)
        body.append(kept)
    for measure in measures[1:]:
        part.remove(measure)
    for number in range(1, bars + 1):
        measure = copy.deepcopy(body[(number - 1) % len(body)])
        measure.set("number", str(number))
        part.append(measure)
    return bytes(etree.tostring(root, xml_declaration=True, encoding="UTF-8"))


def start(folder: Path) -> tuple[subprocess.Popen[str], str]:
    """The command as a user types it, and the address it prints."""
    process = subprocess.Popen(
        [sys.executable, "-m", "partwright", "studio", "--no-browser", "--port", "0"],
        cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, encoding="utf-8",
    )  # fmt: skip
    assert process.stdout is not None
    found = re.search(r"http://\S+", process.stdout.readline())
    if found is None:
        process.kill()
        raise SystemExit("the studio printed no address")
    return process, found[0]


def until(page: Any, condition: str, milliseconds: int = 60_000) -> None:
    """Waits until an expression is true on the page."""
    for _ in range(milliseconds // 10):
        if page.evaluate(condition):
            return
        page.wait_for_timeout(10)
    raise SystemExit(f"never came true: {condition}")


def measure(bars: int = 200, edits: int = 40) -> dict[str, Any]:
    """Milliseconds from click to changed score over `edits` picks and as many undos in a part of `bars` bars."""
    from playwright.sync_api import sync_playwright

    if CHROMIUM is None:
        raise SystemExit("no Chromium on this machine")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        tune = folder / "long.musicxml"
        tune.write_bytes(long_tune(bars))
        command = [sys.executable, "-m", "partwright", "new", "long", "--from", tune.name, "--level", "intermediate"]
        subprocess.run(command, cwd=folder, check=True, capture_output=True)
        process, address = start(folder)
        try:
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(executable_path=CHROMIUM)
                return _measured(browser, address, bars, edits)
        finally:
            process.terminate()
            process.wait(timeout=20)


def _measured(browser: Any, address: str, bars: int, edits: int) -> dict[str, Any]:
    page = browser.new_context(viewport={"width": 1440, "height": 900}).new_page()
    server: list[float] = []
    page.on(
        "response",
        lambda answer: (
            server.append(float(answer.json().get("server_ms", 0)))
            if answer.url.endswith(("/edits", "/undo")) and answer.ok
            else None
        ),
    )
    page.goto(address)
    page.wait_for_selector("#start:not([hidden])")
    start_ms = page.evaluate("performance.now()")
    page.goto(address.split("/enter")[0] + "/?cold#/long/hand")
    until(page, "document.querySelector('#score .note-hit') !== null")
    first_ms = page.evaluate("performance.now()")
    page.goto(address.split("/enter")[0] + "/?warm#/long/hand")
    until(page, "document.querySelector('#score .note-hit') !== null")
    warm_ms = page.evaluate("performance.now()")
    notes = page.evaluate("window.partwright.state.lesson.notes")
    page.evaluate(WATCH)
    heap = [_heap(page)]
    for index in range(edits):
        _pick_and_undo(page, (index * 37 + 11) % min(notes, 90))
        if index % 10 == 9:
            heap.append(_heap(page))
    times = page.evaluate("window.partwrightTimes")
    taken = [float(row["ms"]) for row in times]
    return {
        "bars": bars,
        "notes": notes,
        "edits": len(taken),
        "click_to_score_ms": {"median": _median(taken), "p95": _quantile(taken, 0.95), "worst": max(taken)},
        "server_ms": {"median": _median(server), "p95": _quantile(server, 0.95)},
        "lines_redrawn": {
            "median": _median([float(row["lines"]) for row in times]),
            "most": max(row["lines"] for row in times),
        },
        "start_page_ms": round(start_ms, 1),
        "first_page_ms": round(first_ms, 1),
        "first_page_again_ms": round(warm_ms, 1),
        "page_heap_mb": heap,
    }


def _pick_and_undo(page: Any, n: int) -> None:
    done = page.evaluate("window.partwrightTimes.length")
    page.evaluate("n => document.querySelector(`.note-hit[data-n='${n}']`).scrollIntoView({ block: 'center' })", n)
    page.locator(f".note-hit[data-n='{n}']").click(force=True)
    until(page, f"window.partwright.state.n === {n}")
    page.wait_for_timeout(30)
    until(
        page,
        "document.querySelector('#slip .other, #slip .others, #slip .grey') !== null"
        " && !document.querySelector('#slip').textContent.includes('Looking at')",
    )
    if not page.locator("#slip .other").count():
        return
    page.locator("#slip .other").first.click()
    until(page, f"window.partwrightTimes.length > {done}", 5_000)
    page.wait_for_timeout(350)
    page.locator("[data-key=undo]").click()
    until(page, f"window.partwrightTimes.length > {done} + 1", 5_000)
    page.wait_for_timeout(350)


def _heap(page: Any) -> float:
    return round(page.evaluate("performance.memory ? performance.memory.usedJSHeapSize / 1e6 : 0"), 1)


def _median(values: list[float]) -> float:
    return round(statistics.median(values), 1) if values else 0.0


def _quantile(values: list[float], share: float) -> float:
    return round(sorted(values)[min(len(values) - 1, int(share * len(values)))], 1) if values else 0.0


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Measure the studio in a browser.")
    parser.add_argument("--bars", type=int, default=200)
    parser.add_argument("--edits", type=int, default=40)
    asked = parser.parse_args()
    print(json.dumps(measure(asked.bars, asked.edits), indent=1))
