"""Reading WebVTT line by line, as the standard's parser does, but saying what it would pass over in silence.

Source: W3C WebVTT: The Web Video Text Tracks Format, section 6 (parsing), from memory; checked in the tests against the
public test files of that standard. A conforming parser drops a cue whose time line is wrong; here the drop is a fault,
and the words of such a cue are kept as a recovered cue.
"""

from __future__ import annotations

import html
import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from partwright.checking.narration.transcript import Cue, TranscriptFault

__all__ = ["SIGNATURE", "cue_text", "parse_timestamp", "parse_vtt"]

SIGNATURE = re.compile(r"WEBVTT(?:[ \t].*)?")
_DIGITS = "0123456789"
_LOOSE_TIME = re.compile(r"(?:(\d+):)?(\d{1,2}):(\d{1,2})(?:[.,](\d{1,3}))?")
_TAG = re.compile(r"<([^>]*)(?:>|$)")
_PERCENT = r"(?:100(?:\.0+)?|\d{1,2}(?:\.\d+)?)%"
_SETTING = re.compile(
    rf"vertical:(?:rl|lr)|line:(?:-?\d+(?:\.\d+)?|{_PERCENT})(?:,(?:start|center|end))?"
    rf"|position:{_PERCENT}(?:,(?:line-left|center|line-right))?|size:{_PERCENT}"
    r"|align:(?:start|center|end|left|right)|region:\S+"
)
_REGION_SETTING = re.compile(
    rf"id:\S+|width:{_PERCENT}|lines:\d+|(?:regionanchor|viewportanchor):{_PERCENT},{_PERCENT}|scroll:up"
)
_BLANKS = " \t\f"
_UNSEEN = {0x200E: None, 0x200F: None}  # marks of writing direction


@dataclass
class _Lines:
    lines: Sequence[str]
    at: int = 0
    cues: list[Cue] = field(default_factory=list)
    faults: list[TranscriptFault] = field(default_factory=list)
    header: list[str] = field(default_factory=list)

    def fault(self, line_index: int, what: str, done: str) -> None:
        self.faults.append(TranscriptFault(line=line_index + 1, what=what, done=done))


def parse_vtt(text: str) -> tuple[tuple[Cue, ...], tuple[TranscriptFault, ...], str]:
    """Cues, faults and header of a WebVTT text whose signature has been seen and whose line ends are LF."""
    state = _Lines(text.split("\n"))
    state.at = 1
    if state.at < len(state.lines) and state.lines[state.at] != "":
        _block(state, in_header=True)
    _skip_blank(state)
    while state.at < len(state.lines):
        _block(state, in_header=False)
        _skip_blank(state)
    _check_times(state)
    return tuple(state.cues), tuple(sorted(state.faults, key=lambda f: f.line)), "\n".join(state.header)


def _skip_blank(state: _Lines) -> None:
    while state.at < len(state.lines) and state.lines[state.at] == "":
        state.at += 1


def _block(state: _Lines, *, in_header: bool) -> None:
    """One block of lines: a cue, a comment, a style or region block, or something that is none of these."""
    first = state.at
    kept: list[str] = []
    timing: tuple[int, tuple[float, float, str] | None] | None = None
    identifier = ""
    count = 0
    while state.at < len(state.lines):
        line = state.lines[state.at]
        count += 1
        if "-->" in line:
            if in_header or not (count == 1 or (count == 2 and timing is None)):
                break
            timing = (state.at, _parse_timing(line))
            identifier = "\n".join(kept)
            kept = []
            state.at += 1
        elif line == "":
            break
        else:
            kept.append(line)
            state.at += 1
    if timing is None:
        _without_cue(state, first, kept, in_header=in_header)
        return
    line_index, parsed = timing
    if parsed is not None:
        start, end, settings = parsed
        body, marks, remarks = cue_text("\n".join(kept))
        state.cues.append(
            Cue(
                start_s=start, end_s=end, text=body, line=line_index + 1, identifier=identifier,
                settings=settings, marks=marks,
            )
        )  # fmt: skip
        for remark in remarks:
            state.fault(line_index + 1, remark, "passed over")
        for setting in settings.split():
            if not _SETTING.fullmatch(setting):
                state.fault(line_index, f'"{_short(setting)}" is no setting of a cue', "passed over; a player does too")
        return
    _recover(state, line_index, identifier, kept)


def _recover(state: _Lines, line_index: int, identifier: str, kept: list[str]) -> None:
    body, marks, _ = cue_text("\n".join(kept))
    times = [_loose_seconds(m) for m in _LOOSE_TIME.finditer(state.lines[line_index])]
    start = times[0] if times else None
    end = times[1] if len(times) > 1 else None
    done = "a player would drop this cue; its words are read here"
    if start is None:
        done += " without a time"
    state.fault(line_index, f'"{_short(state.lines[line_index])}" is no WebVTT time line', done)
    state.cues.append(
        Cue(
            start_s=start, end_s=end, text=body, line=line_index + 1, identifier=identifier, marks=marks,
            recovered=True,
        )
    )  # fmt: skip


def _without_cue(state: _Lines, first: int, kept: list[str], *, in_header: bool) -> None:
    if in_header:
        state.header.extend(kept)
        for offset, line in enumerate(kept):
            if line.startswith(("Region", "Style")):
                state.fault(first + offset, f'"{_short(line)}" is an older form of header', "passed over")
        return
    if not kept:
        if state.at < len(state.lines) and "-->" in state.lines[state.at]:
            return
        state.at += 1
        return
    head = kept[0].rstrip(_BLANKS)
    if head.startswith(("NOTE ", "NOTE\t")) or head == "NOTE":
        return
    if head in ("STYLE", "REGION"):
        if head == "REGION":
            for offset, line in enumerate(kept[1:], start=1):
                for setting in line.split():
                    if not _REGION_SETTING.fullmatch(setting):
                        state.fault(first + offset, f'"{_short(setting)}" is no setting of a region', "passed over")
        if state.cues:
            state.fault(first, f"a {head} block stands after the first cue", "passed over")
        return
    state.fault(first, f'"{_short(kept[0])}" belongs to no cue', "passed over; nobody is shown it")


def _parse_timing(line: str) -> tuple[float, float, str] | None:
    """Start, end and settings of a time line, or None where the standard's parser would give up."""
    at = _blank(line, 0)
    start, at = parse_timestamp(line, at)
    if start is None:
        return None
    at = _blank(line, at)
    if line[at : at + 3] != "-->":
        return None
    at = _blank(line, at + 3)
    end, at = parse_timestamp(line, at)
    if end is None:
        return None
    return start, end, line[at:].strip(_BLANKS)


def _blank(line: str, at: int) -> int:
    while at < len(line) and line[at] in _BLANKS:
        at += 1
    return at


def parse_timestamp(line: str, at: int = 0) -> tuple[float | None, int]:
    """A WebVTT time stamp from `at`: its seconds (None where it is none) and where it ends.

    >>> parse_timestamp("01:02.500")
    (62.5, 9)
    >>> parse_timestamp("01:02,500")[0] is None
    True
    """
    first, at = _digits(line, at)
    if not first or line[at : at + 1] != ":":
        return None, at
    hours_form = len(first) != 2 or int(first) > 59
    second, at = _digits(line, at + 1)
    if len(second) != 2:
        return None, at
    if hours_form or line[at : at + 1] == ":":
        if line[at : at + 1] != ":":
            return None, at
        third, at = _digits(line, at + 1)
        if len(third) != 2:
            return None, at
        hours, minutes, seconds = int(first[:12]), int(second), int(third)
    else:
        hours, minutes, seconds = 0, int(first), int(second)
    if line[at : at + 1] != ".":
        return None, at
    thousandths, at = _digits(line, at + 1)
    if len(thousandths) != 3 or minutes > 59 or seconds > 59:
        return None, at
    return hours * 3600 + minutes * 60 + seconds + int(thousandths) / 1000, at


def _digits(line: str, at: int) -> tuple[str, int]:
    start = at
    while at < len(line) and line[at] in _DIGITS:
        at += 1
    return line[start:at], at


def cue_text(raw: str) -> tuple[str, tuple[tuple[int, float], ...], tuple[str, ...]]:
    """What a cue's text shows, its inline times, and remarks on what was passed over.

    >>> cue_text("<v Ottoline>the <00:01.000><i>D</i> &amp; E")
    ('the D & E', ((4, 1.0),), ())
    """
    shown: list[str] = []
    length = 0
    marks: list[tuple[int, float]] = []
    remarks: list[str] = []
    last = 0
    for found in _TAG.finditer(raw):
        piece = html.unescape(raw[last : found.start()])
        shown.append(piece)
        length += len(piece)
        last = found.end()
        inside = found[1]
        if inside[:1].isdigit():
            seconds, end = parse_timestamp(inside)
            if seconds is not None and end == len(inside):
                marks.append((length, seconds))
            else:
                remarks.append(f'"<{_short(inside)}>" is no time')
        if not found[0].endswith(">"):
            remarks.append("a tag is not closed")
    shown.append(html.unescape(raw[last:]))
    return "".join(shown).translate(_UNSEEN), tuple(marks), tuple(remarks)


def _check_times(state: _Lines) -> None:
    last_start = 0.0
    for index, cue in enumerate(state.cues):
        if cue.start_s is None:
            continue
        if cue.end_s is not None and cue.end_s <= cue.start_s:
            state.fault(cue.line - 1, "the cue ends before it begins", "read by its beginning")
            state.cues[index] = replace(cue, end_s=cue.start_s)
        if cue.start_s < last_start:
            state.fault(cue.line - 1, "the cue begins before the one above it", "read in the order of the file")
        last_start = cue.start_s


def _loose_seconds(found: re.Match[str]) -> float:
    fraction = (found[4] or "").ljust(3, "0")
    return int(found[1] or 0) * 3600 + int(found[2]) * 60 + int(found[3]) + int(fraction) / 1000


def _short(text: str, most: int = 60) -> str:
    shown = "".join(c if c.isprintable() else "·" for c in text)
    return shown if len(shown) <= most else shown[: most - 1] + "…"
