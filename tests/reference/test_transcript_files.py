"""The transcript reader against public caption files.

Sources: W3C web-platform-tests for WebVTT (as kept by w3c/webvtt.js, 2022-08-17, CC0-1.0), mozilla/vtt.js (2019-03-27,
Apache-2.0), glut23/webvtt-py (2020-11-18, MIT); how many cues a conforming parser finds: shared/data/webvtt/wpt/
expected_cue_counts.json, read off the assertions of the W3C tests. Where the two suites disagree, the W3C's holds.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from partwright.checking.narration import parse_transcript
from partwright.errors import InputError

# vtt.js follows an older draft here: it takes hours of three digits for minutes, and a lone "-->" for a cue to skip.
OLDER_DRAFT = {"min-top-digits.vtt", "minimum-spots-over-sixty.vtt"}


def _files(shared: Path, suite: str, *suffixes: str) -> list[Path]:
    return sorted(p for p in (shared / "data" / "webvtt" / suite).rglob("*") if p.suffix in suffixes)


def test_a_conforming_parser_finds_as_many_cues(shared: Path) -> None:
    expected = json.loads((shared / "data/webvtt/wpt/expected_cue_counts.json").read_text())
    seen = 0
    for path in _files(shared, "wpt", ".vtt"):
        if path.name in expected:
            transcript = parse_transcript(path.read_bytes(), file=path.name)
            conforming = [cue for cue in transcript.cues if not cue.recovered]
            assert len(conforming) == expected[path.name], path.name
            seen += 1
    assert seen == len(expected)


def test_what_a_parser_would_drop_in_silence_is_said(shared: Path) -> None:
    """Every line with an arrow gives a cue or a fault with the number of that line."""
    for suite in ("wpt", "vttjs", "webvtt-py"):
        for path in _files(shared, suite, ".vtt"):
            try:
                transcript = parse_transcript(path.read_bytes(), file=path.name)
            except InputError:
                continue
            if transcript.kind != "WebVTT":
                assert transcript.faults, path.name
                continue
            told = {cue.line for cue in transcript.cues} | {fault.line for fault in transcript.faults}
            text = path.read_bytes().removeprefix(b"\xef\xbb\xbf").decode("utf-8", "replace")
            lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
            arrows = {k for k, line in enumerate(lines[1:], start=2) if "-->" in line}
            # A cue may have a second arrow line above its time, as an identifier; it belongs to that cue.
            missing = {k for k in arrows - told if k + 1 not in told}
            assert not missing, (path.name, missing)


def test_times_and_count_agree_with_the_second_suite(shared: Path) -> None:
    compared = 0
    for path in _files(shared, "vttjs", ".vtt"):
        expectation = path.with_suffix(".json")
        if not expectation.exists() or path.name in OLDER_DRAFT:
            continue
        cues = json.loads(expectation.read_text()).get("cues", [])
        transcript = parse_transcript(path.read_bytes(), file=path.name)
        conforming = [cue for cue in transcript.cues if not cue.recovered]
        if path.name == "id.vtt":  # the older draft ends a cue's text at an arrow line without times
            continue
        assert len(conforming) == len(cues), path.name
        for ours, theirs in zip(conforming, cues, strict=True):
            assert ours.start_s == pytest.approx(theirs["startTime"]), path.name
            if theirs["endTime"] > theirs["startTime"]:
                assert ours.end_s == pytest.approx(theirs["endTime"]), path.name
        compared += 1
    assert compared > 40


def test_cue_text_shows_what_the_standard_says(shared: Path) -> None:
    """Text of the trees in the W3C cue-text tests: what stands in no tag is shown, entities are resolved."""
    folder = shared / "data/webvtt/wpt/test/wpt-cue-parsing"
    transcript = parse_transcript((folder / "entities.vtt").read_bytes(), file="entities.vtt")
    shown = [cue.text for cue in transcript.cues]
    assert "&" in shown and "<" in shown and ">" in shown


@pytest.mark.parametrize(
    "name",
    ["invalid.vtt", "invalid_timeframe.vtt", "missing_timeframe.vtt", "invalid_format1.srt", "invalid_format2.srt",
     "invalid_format3.srt", "invalid_format4.srt", "missing_timeframe.srt", "invalid_format.sbv", "empty.vtt"],
)  # fmt: skip
def test_bad_files_are_refused_or_reported(shared: Path, name: str) -> None:
    path = shared / "data/webvtt/webvtt-py/tests/subtitles" / name
    try:
        transcript = parse_transcript(path.read_bytes(), file=name)
    except InputError as error:
        assert name in str(error)
        return
    assert transcript.faults and all(fault.line >= 1 and fault.what and fault.done for fault in transcript.faults)


@pytest.mark.parametrize(
    "name", ["sample.vtt", "sample.srt", "one_caption.vtt", "comments.vtt", "captions_with_bom.vtt"]
)
def test_good_files_are_read_without_complaint(shared: Path, name: str) -> None:
    path = shared / "data/webvtt/webvtt-py/tests/subtitles" / name
    transcript = parse_transcript(path.read_bytes(), file=name)
    assert transcript.cues and not transcript.faults
