"""Captions and chapters as values, shaped for reading; written as WebVTT, SRT and plain lists.

Rules (`captions.csv` of the shared reference, after the BBC Subtitle Guidelines): two lines, 37 characters a line, at
most 180 words a minute (0.333 s a word), no cue over another. Forms: W3C WebVTT; SRT has no standard (common practice).
Units: seconds.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from partwright.video.timeline import Timeline

__all__ = [
    "Caption",
    "Chapter",
    "chapter_list",
    "chapters_vtt",
    "consistent_words",
    "demonstration_captions",
    "demonstration_chapters",
    "ruled_chapters",
    "shape_captions",
    "srt_text",
    "vtt_text",
]

LINE_CHARACTERS = 37
LINES = 2
SECONDS_A_WORD = 60 / 180
LEAST_SECONDS = 1.0
LATE_SECONDS = 1.5  # a caption stays no longer than this after its speech
_TOGETHER_SECONDS = 0.3  # cues that begin nearer than this are read as one
LEAST_CHAPTER_SECONDS, LEAST_CHAPTERS = 10.0, 3  # common practice of video platforms, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Caption:
    """One cue: when, and what is read; lines are separated by line feeds."""

    start_seconds: float
    end_seconds: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Chapter:
    """One chapter, from its beginning to the next one's."""

    start_seconds: float
    end_seconds: float
    title: str


# Shaping -------------------------------------------------------------------------------------------------------------


def shape_captions(cues: Iterable[Caption], *, seconds: float | None = None) -> tuple[Caption, ...]:
    """Cues in order, none over another, each of at most two lines; a long cue is cut in time by its words.

    A cue that is too short to be read is held longer where there is room before the next, at most 1.5 s beyond its
    speech. `seconds` is where the video ends.
    """
    shaped: list[Caption] = []
    joined = _joined(cues)
    for index, cue in enumerate(joined):
        following = joined[index + 1].start_seconds if index + 1 < len(joined) else seconds
        needed = max(LEAST_SECONDS, SECONDS_A_WORD * len(cue.text.split()))
        end = max(cue.end_seconds, min(cue.start_seconds + needed, cue.end_seconds + LATE_SECONDS))
        if following is not None:
            end = min(end, following)
        for piece in _cut(replace(cue, end_seconds=end)):
            if piece.end_seconds > piece.start_seconds:
                shaped.append(piece)
            elif shaped:  # the video ends before it could be shown apart
                shaped[-1] = replace(shaped[-1], text=f"{shaped[-1].text}\n{piece.text}")
    return tuple(shaped)


def _joined(cues: Iterable[Caption]) -> list[Caption]:
    """Cues in order, without empty ones; those that begin nearly together are one."""
    found: list[Caption] = []
    for cue in sorted(cues, key=lambda c: c.start_seconds):
        text = " ".join(cue.text.split())
        start = max(0.0, cue.start_seconds)
        if not text:
            continue
        if found and start - found[-1].start_seconds < _TOGETHER_SECONDS:
            before = found[-1]
            end = max(before.end_seconds, cue.end_seconds)
            found[-1] = replace(before, end_seconds=end, text=f"{before.text} {text}")
        else:
            found.append(Caption(start_seconds=start, end_seconds=max(start, cue.end_seconds), text=text))
    return found


def _cut(cue: Caption) -> list[Caption]:
    """A cue in pieces of at most two lines, each with its share of the time; on whole milliseconds."""
    pages = _pages(cue.text)
    words = sum(len(page.split()) for page in pages)
    length = cue.end_seconds - cue.start_seconds
    found, passed = [], 0
    for page in pages:
        start = cue.start_seconds + length * passed / words
        passed += len(page.split())
        end = cue.start_seconds + length * passed / words
        found.append(Caption(start_seconds=round(start, 3), end_seconds=round(end, 3), text=page))
    return found


def _pages(text: str) -> list[str]:
    """A text in pieces of at most two lines, cut at the end of a sentence or clause where there is one."""
    lines = _wrapped(text)
    if len(lines) <= LINES:
        return [_balanced(text)]
    words = [word[at : at + LINE_CHARACTERS] for word in text.split() for at in range(0, len(word), LINE_CHARACTERS)]
    fit = len(words)
    while len(_wrapped(" ".join(words[:fit]))) > LINES:
        fit -= 1
    best = max(range(max(1, fit // 2), fit + 1), key=lambda n: (_stop_strength(words[n - 1]), n))
    return [_balanced(" ".join(words[:best])), *_pages(" ".join(words[best:]))]


def _stop_strength(word: str) -> int:
    return 2 if word[-1] in ".?!" else 1 if word[-1] in ",;:" else 0


def _wrapped(text: str, width: int = LINE_CHARACTERS) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        while len(word) > width:
            lines.append(word[:width])
            word = word[width:]
        if lines and len(lines[-1]) + 1 + len(word) <= width:
            lines[-1] += " " + word
        elif word:
            lines.append(word)
    return lines


def _balanced(text: str) -> str:
    """Two lines of nearly the same length rather than a full one and a rest."""
    lines = _wrapped(text)
    if len(lines) < 2:
        return "\n".join(lines)
    width = LINE_CHARACTERS
    while width > 10 and len(_wrapped(text, width - 1)) == len(lines) and max(map(len, text.split())) < width - 1:
        width -= 1
    return "\n".join(_wrapped(text, width))


_FINGERS = {"first": "1st", "second": "2nd", "third": "3rd", "fourth": "4th"}
_NOTE = re.compile(r"\b([A-G])[ -]?(sharp|flat|natural)\b|\b([A-G])(#|♯|♭)(?!\w)")
_FINGER = re.compile(r"\b(first|second|third|fourth)(?=[ -]fingers?\b)", re.IGNORECASE)


def consistent_words(text: str) -> str:
    """Note names and fingers spelled one way.

    >>> consistent_words("F-sharp with the fourth finger, then C#")
    'F sharp with the 4th finger, then C sharp'
    """
    signs = {"#": "sharp", "♯": "sharp", "♭": "flat"}

    def note(match: re.Match[str]) -> str:
        return f"{match[1]} {match[2]}" if match[1] else f"{match[3]} {signs[match[4]]}"

    text = _NOTE.sub(note, text)
    text = _FINGER.sub(lambda match: _FINGERS[match[1].lower()], text)
    return re.sub(r"(1st|2nd|3rd|4th)-(finger)", r"\1 \2", text)


# The demonstration's own ---------------------------------------------------------------------------------------------


def demonstration_captions(timeline: Timeline) -> tuple[Caption, ...]:
    """The count before the music, and each section as it begins, with the hand it begins in."""
    found: list[Caption] = []
    counted = [
        (at, state.count) for at, state in zip(timeline.bow.times, timeline.bow.states, strict=True) if state.count
    ]
    if counted:
        numbers = ", ".join(str(n) for n in counted[0][1][1])
        found.append(
            Caption(start_seconds=counted[0][0], end_seconds=timeline.count_in_seconds, text=f"(count-in: {numbers})")
        )
    for span in timeline.sections:
        start = max(span.start_seconds, timeline.count_in_seconds)
        hand = timeline.words.at(start)[0]
        text = f"(music) {span.title}" + (f". {hand}" if hand else "")
        found.append(Caption(start_seconds=start, end_seconds=min(span.end_seconds, start + 5.0), text=text))
    return shape_captions(found, seconds=timeline.seconds)


def demonstration_chapters(timeline: Timeline) -> tuple[Chapter, ...]:
    """A chapter for each section as it is played; the first begins at 0:00 and holds the count-in."""
    spans = timeline.sections
    return tuple(
        Chapter(
            start_seconds=0.0 if index == 0 else round(span.start_seconds, 3),
            end_seconds=round(spans[index + 1].start_seconds if index + 1 < len(spans) else timeline.seconds, 3),
            title=span.title,
        )
        for index, span in enumerate(spans)
    )


def ruled_chapters(chapters: Sequence[Chapter]) -> tuple[Chapter, ...]:
    """Chapters as video platforms take them from a description: each at least 10 s, at least three; else none.

    A chapter that is too short joins the one before it, or the one after where it is the first.
    """
    joined: list[Chapter] = []
    for chapter in chapters:
        short = chapter.end_seconds - chapter.start_seconds < LEAST_CHAPTER_SECONDS
        if joined and (short or joined[-1].end_seconds - joined[-1].start_seconds < LEAST_CHAPTER_SECONDS):
            first = joined[-1]
            keeps = first.end_seconds - first.start_seconds >= LEAST_CHAPTER_SECONDS
            joined[-1] = Chapter(
                start_seconds=first.start_seconds,
                end_seconds=chapter.end_seconds,
                title=first.title if keeps or first.title == chapter.title else f"{first.title}; {chapter.title}",
            )
        else:
            joined.append(chapter)
    return tuple(joined) if len(joined) >= LEAST_CHAPTERS and joined[0].start_seconds == 0 else ()


# Writing -------------------------------------------------------------------------------------------------------------


def vtt_text(captions: Sequence[Caption]) -> str:
    """A WebVTT file. Cues must be in order."""
    blocks = ["WEBVTT\n"]
    for caption in captions:
        text = caption.text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
        blocks.append(f"{_stamp(caption.start_seconds)} --> {_stamp(caption.end_seconds)}\n{_no_blank(text)}\n")
    return "\n".join(blocks)


def srt_text(captions: Sequence[Caption]) -> str:
    """An SRT file: numbered cues, times with a comma."""
    return "\n".join(
        f"{number}\n{_stamp(c.start_seconds, ',')} --> {_stamp(c.end_seconds, ',')}\n{_no_blank(c.text)}\n"
        for number, c in enumerate(captions, start=1)
    )


def chapters_vtt(chapters: Sequence[Chapter]) -> str:
    """Chapters as a WebVTT file."""
    return vtt_text([Caption(start_seconds=c.start_seconds, end_seconds=c.end_seconds, text=c.title) for c in chapters])


def chapter_list(chapters: Sequence[Chapter]) -> tuple[str, ...]:
    """The plain lines of a description: "0:00 Section A"; () where the rules for them are not met."""
    ruled = ruled_chapters(chapters)
    long = any(c.start_seconds >= 3600 for c in ruled)
    return tuple(f"{_clock(c.start_seconds, long=long)} {c.title}" for c in ruled)


def overlapping(captions: Sequence[Caption]) -> tuple[int, ...]:
    """Indices of cues that begin before the one before them has ended."""
    return tuple(n for n, (a, b) in enumerate(pairwise(captions), start=1) if b.start_seconds < a.end_seconds - 1e-9)


def _no_blank(text: str) -> str:
    return "\n".join(line for line in text.split("\n") if line.strip())


def _stamp(seconds: float, mark: str = ".") -> str:
    whole = round(seconds * 1000)
    return f"{whole // 3600000:02}:{whole // 60000 % 60:02}:{whole // 1000 % 60:02}{mark}{whole % 1000:03}"


def _clock(seconds: float, *, long: bool = False) -> str:
    whole = int(seconds)
    if long:
        return f"{whole // 3600}:{whole // 60 % 60:02}:{whole % 60:02}"
    return f"{whole // 60}:{whole % 60:02}"
