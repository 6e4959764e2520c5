"""Reading a transcript of any of the usual forms: WebVTT, SubRip (.srt), lines with [m:ss], or plain text.

The form is told by the content, not by the file's name. Encodings: UTF-8 and UTF-16 by their marks, UTF-8 where it
decodes, else Windows-1252 (a superset of Latin-1's printing signs), which is said. Nothing is passed over in silence:
every line that could not be read as what it should be is a fault with its number.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from partwright.checking.narration.transcript import Cue, Transcript, TranscriptFault
from partwright.checking.narration.vtt import SIGNATURE, cue_text, parse_vtt
from partwright.errors import InputError, Place

__all__ = ["parse_transcript", "read_transcript"]

_LARGEST_BYTES = 50_000_000
_SRT_TIME = r"(?:(\d+):)?(\d{1,2}):(\d{1,2})[.,](\d{1,3})"
_SRT_LINE = re.compile(rf"\s*{_SRT_TIME}\s*-->\s*{_SRT_TIME}(.*)")
_SBV_LINE = re.compile(r"^\s*(\d+:\d\d:\d\d\.\d{3}),(\d+:\d\d:\d\d\.\d{3})\s*$")
_STAMP = re.compile(r"\s*[\[(]?\s*(?:(\d{1,2}):)?(\d{1,3}):(\d{2})(?:[.,](\d{1,3}))?\s*[\])]\s*(.*)")
_BARE_STAMP = re.compile(r"\s*(?:(\d{1,2}):)?(\d{1,3}):(\d{2})(?:[.,](\d{1,3}))?\s*(?:$|[-–:]?\s+(.*))")


def read_transcript(path: Path) -> Transcript:
    """The transcript in this file. Raises InputError where it cannot be read or is no text."""
    where = Place(file=str(path))
    try:
        if path.is_dir():
            raise InputError("is a folder", "Name the transcript's file.", place=where)
        size = path.stat().st_size
        if size > _LARGEST_BYTES:
            raise InputError(
                f"has {size / 1e6:.0f} MB, far more than speech can fill", "Is it the recording itself?", place=where
            )
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise InputError("is not there", "Check the path.", place=where) from error
    except OSError as error:
        raise InputError(f"cannot be read ({(error.strerror or str(error)).lower()})", place=where) from error
    transcript = parse_transcript(data, file=str(path))
    _refuse_wordless(transcript, str(path))
    return transcript


def parse_transcript(data: bytes, *, file: str = "transcript") -> Transcript:
    """The transcript in these bytes. Raises InputError for binary data and for an empty file."""
    text, encoding, faults = _decode(data, file)
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    first_line = text.split("\n", 1)[0]
    if SIGNATURE.fullmatch(first_line):
        cues, vtt_faults, header = parse_vtt(text.replace("\0", "\ufffd"))
        faults += vtt_faults
        cues = _unrolled(cues, faults)
        return Transcript(cues=cues, kind="WebVTT", encoding=encoding, faults=tuple(faults), header=header)
    found: list[TranscriptFault]
    lines = [_SBV_LINE.sub(r"\1 --> \2", line) for line in text.split("\n")]
    subrip = any(_SRT_LINE.match(line) for line in lines)
    if file.casefold().endswith(".vtt"):
        faults.append(TranscriptFault(line=1, what="does not begin with WEBVTT", done="read by what it holds"))
    elif file.casefold().endswith((".srt", ".sbv")) and not subrip:
        faults.append(TranscriptFault(line=1, what="no time line can be read", done="read by what it holds"))
    if subrip:
        cues, found = _parse_srt(lines)
        kind = "SubRip"
    elif sum(bool(_STAMP.match(line)) for line in lines) or _mostly_bare_stamps(lines):
        cues, found = _parse_stamped(lines)
        kind = "stamped text"
    else:
        cues, found = _parse_plain(lines), []
        kind = "plain text"
    found = [*faults, *found]
    return Transcript(cues=_unrolled(cues, found), kind=kind, encoding=encoding, faults=tuple(found))  # type: ignore[arg-type]


def _refuse_wordless(transcript: Transcript, file: str) -> None:
    if any(c.isalnum() for cue in transcript.cues for c in cue.text):
        return
    first = next(iter(transcript.faults), None)
    why = f" ({first})" if first else ""
    raise InputError(
        f"holds no word of speech, read as {transcript.kind}{why}",
        "Give it the transcript of the lesson: WebVTT, SubRip, lines with [m:ss], or plain text.",
        place=Place(file=file),
    )


def _decode(data: bytes, file: str) -> tuple[str, str, list[TranscriptFault]]:
    faults: list[TranscriptFault] = []
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be")):
        if data.startswith(mark):
            text = data[len(mark) :].decode(encoding, errors="replace")
            if "�" in text:
                faults.append(_unreadable(text))
            return text, encoding, faults
    if not data.strip(b"\0 \t\r\n"):
        raise InputError("is empty", "Give it the transcript of the lesson.", place=Place(file=file))
    sample = data[:4096]
    if len(sample) >= 8 and sample[1::2].count(0) > 0.4 * len(sample[1::2]):
        return data.decode("utf-16-le", errors="replace"), "utf-16-le", faults
    try:
        text = data.decode("utf-8")
        encoding = "utf-8"
    except UnicodeDecodeError as error:
        if data.startswith(b"WEBVTT") and _mostly_utf8(data):
            text, encoding = data.decode("utf-8", errors="replace"), "utf-8"
            faults.append(_unreadable(text))
        else:
            text, encoding = data.decode("cp1252", errors="replace"), "windows-1252"
            line = data[: error.start].count(b"\n") + 1
            faults.append(TranscriptFault(line=line, what="not UTF-8", done="read as Windows-1252 (Latin-1)"))
    if not data.startswith(b"WEBVTT"):
        control = sum(ord(c) < 32 and c not in "\t\n\r\f\x0b\x1c\x1d\x1e" for c in text[:20000])
        if control > 0.02 * min(len(text), 20000):
            raise InputError(
                "is no text but binary data", "Give it the transcript, not the recording.", place=Place(file=file)
            )
    return text, encoding, faults


def _mostly_utf8(data: bytes) -> bool:
    text = data.decode("utf-8", errors="replace")
    return text.count("�") < 0.2 * max(1, sum(byte > 127 for byte in data))


def _unreadable(text: str) -> TranscriptFault:
    line = text[: text.index("�")].count("\n") + 1
    return TranscriptFault(line=line, what="a sign that cannot be read", done="shown as �")


def _parse_srt(lines: list[str]) -> tuple[tuple[Cue, ...], list[TranscriptFault]]:
    """SubRip: a number, a time line, text, a blank line. Common practice, no source: the form has no standard."""
    faults: list[TranscriptFault] = []
    cues: list[Cue] = []
    starts = [i for i, line in enumerate(lines) if "-->" in line]
    before = [line for line in lines[: starts[0]] if line.strip()]
    if before and not (len(before) == 1 and before[0].strip().isdigit()):
        faults.append(TranscriptFault(line=1, what="text above the first cue", done="passed over"))
    last = 0.0
    for number, index in enumerate(starts):
        stop = starts[number + 1] if number + 1 < len(starts) else len(lines)
        body = lines[index + 1 : stop]
        if number + 1 < len(starts):
            while body and not body[-1].strip():
                body.pop()
            if body and body[-1].strip().isdigit() and (len(body) == 1 or not body[-2].strip()):
                body.pop()
        inner = next((k for k, line in enumerate(body) if not line.strip() and any(b.strip() for b in body[k:])), None)
        if inner is not None:
            faults.append(
                TranscriptFault(
                    line=index + 2 + inner,
                    what="a blank line within a cue, or a cue without a time line",
                    done="what follows is read with the cue above",
                )
            )
        text, marks, remarks = cue_text("\n".join(body).strip("\n"))
        identifier = lines[index - 1].strip() if index and lines[index - 1].strip().isdigit() else ""
        found = _SRT_LINE.match(lines[index])
        if found is None:
            faults.append(
                TranscriptFault(line=index + 1, what="no time can be read here", done="its words are read without one")
            )
            cues.append(Cue(start_s=None, end_s=None, text=text, line=index + 1, identifier=identifier, recovered=True))
            continue
        start, end = _seconds(found.groups()[:4]), _seconds(found.groups()[4:8])
        if end <= start:
            faults.append(
                TranscriptFault(line=index + 1, what="the cue ends before it begins", done="read by its beginning")
            )
            end = start
        if start < last:
            faults.append(
                TranscriptFault(
                    line=index + 1, what="the cue begins before the one above it", done="read in the order of the file"
                )
            )
        last = start
        faults += [TranscriptFault(line=index + 1, what=remark, done="passed over") for remark in remarks]
        cues.append(Cue(start_s=start, end_s=end, text=text, line=index + 1, identifier=identifier, marks=marks))
    return tuple(cues), faults


def _parse_stamped(lines: list[str]) -> tuple[tuple[Cue, ...], list[TranscriptFault]]:
    """Lines that begin with [m:ss] or [h:mm:ss]; lines without a time go on with the cue above them."""
    cues: list[Cue] = []
    faults: list[TranscriptFault] = []
    bare = _mostly_bare_stamps(lines)
    for index, line in enumerate(lines):
        if not line.strip():
            continue
        found = _STAMP.match(line) or (_BARE_STAMP.match(line) if bare else None)
        if found:
            start = _seconds(found.groups()[:4])
            if cues and cues[-1].start_s is not None and start < cues[-1].start_s:
                faults.append(
                    TranscriptFault(line=index + 1, what="the time goes back", done="read in the order of the file")
                )
            cues.append(Cue(start_s=start, end_s=None, text=(found[5] or "").strip(), line=index + 1))
        elif cues:
            joined = f"{cues[-1].text}\n{line.strip()}" if cues[-1].text else line.strip()
            cues[-1] = replace(cues[-1], text=joined)
        else:
            cues.append(Cue(start_s=None, end_s=None, text=line.strip(), line=index + 1))
    for index, cue in enumerate(cues):
        if cue.start_s is None:
            continue
        following = next((c.start_s for c in cues[index + 1 :] if c.start_s is not None), None)
        spoken = max(1.0, len(cue.text.split()) / 2.5)  # about 150 words a minute
        end = cue.start_s + spoken
        if following is not None and following > cue.start_s:
            end = min(end, following)
        cues[index] = replace(cue, end_s=end)
    return tuple(cues), faults


def _mostly_bare_stamps(lines: list[str]) -> bool:
    filled = [line for line in lines if line.strip()]
    return bool(filled) and sum(bool(_BARE_STAMP.match(line)) for line in filled) >= max(1, len(filled) // 3)


def _parse_plain(lines: list[str]) -> tuple[Cue, ...]:
    return tuple(
        Cue(start_s=None, end_s=None, text=line.strip(), line=index + 1)
        for index, line in enumerate(lines)
        if line.strip()
    )


def _unrolled(cues: tuple[Cue, ...], faults: list[TranscriptFault]) -> tuple[Cue, ...]:
    """Cues without the lines that roll-up captions carry over from the cue before."""
    kept: list[Cue] = []
    shown: list[str] = []
    dropped = 0
    first = 0
    for cue in cues:
        lines = [line.strip() for line in cue.text.split("\n")]
        near = bool(kept) and cue.start_s is not None and (kept[-1].end_s or 0.0) >= cue.start_s - 0.1
        overlap = 0
        if near and shown:
            for size in range(min(len(lines), len(shown)), 0, -1):
                if lines[:size] == shown[-size:] and any(lines[:size]) and len(" ".join(lines[:size]).split()) > 2:
                    overlap = size
                    break
        if overlap and (len(lines) > overlap or len(shown) > 1):
            first = first or cue.line
            dropped += overlap
            cut = len("\n".join(cue.text.split("\n")[:overlap])) + 1
            marks = tuple((at - cut, seconds) for at, seconds in cue.marks if at >= cut)
            kept.append(replace(cue, text=cue.text[cut:], marks=marks))
        else:
            kept.append(cue)
        shown = lines
    if dropped > 2:
        faults.append(
            TranscriptFault(
                line=first, what=f"{dropped} lines are carried over from cue to cue", done="each is read once"
            )
        )
        return tuple(kept)
    return cues


def _seconds(groups: Iterable[str | None]) -> float:
    hours, minutes, seconds, fraction = groups
    return (
        int(hours or 0) * 3600
        + int(minutes or 0) * 60
        + int(seconds or 0)
        + int((fraction or "0").ljust(3, "0")) / 1000
    )
