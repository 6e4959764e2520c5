"""Which part and which voice: by the user's word, by there being only one, or by a clear question."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from partwright.errors import InputError, Place, ScoreError
from partwright.score.measures import ScorePart
from partwright.score.parse_notes import RawNote

__all__ = ["ALL_VOICES", "VoiceChoice", "choose_part", "choose_voice"]

ALL_VOICES = "all"
_LISTED = 12
_MOST_PARTS = 1000
_MOST_VOICES_COMPARED = 32


def choose_part(parts: Sequence[ScorePart], wanted: str | None, *, file: str) -> ScorePart:
    """The part named by id, name, abbreviation or number (from 1); without a wish the only one with notes."""
    place = Place(file=file)
    if not parts:
        raise ScoreError("the score has no parts", "Export the tune again.", place=place)
    if len(parts) > _MOST_PARTS:
        raise ScoreError(
            f"the score has {len(parts):,} parts, more than the {_MOST_PARTS:,} read",
            "Export fewer parts.",
            place=place,
        )
    if wanted is not None:
        return _wanted_part(parts, wanted.strip(), place)
    if len(parts) == 1:
        return parts[0]
    sounding = [(number, part) for number, part in enumerate(parts, 1) if _has_pitches(part)]
    if len(sounding) == 1:
        return sounding[0][1]
    if not sounding:
        raise ScoreError("no part of the score has pitched notes", "Give a score with notes.", place=place)
    raise InputError(
        f"which of the {len(sounding)} parts with notes? {_list([f'{n} {p.label}' for n, p in sounding])}",
        "Choose one by number or name with --part.",
        place=place,
    )


def _wanted_part(parts: Sequence[ScorePart], wanted: str, place: Place) -> ScorePart:
    folded = wanted.casefold()
    for matches in (
        [part for part in parts if part.part_id == wanted],
        [part for part in parts if part.name and part.name.casefold() == folded],
        [part for part in parts if part.abbreviation and part.abbreviation.casefold() == folded],
    ):
        if len(matches) == 1:
            return matches[0]
        if len(matches) > 1:
            numbers = [f"{n} {p.label}" for n, p in enumerate(parts, 1) if p in matches]
            raise InputError(
                f"{len(matches)} parts are called {wanted!r}: {_list(numbers)}", "Choose one by number.", place=place
            )
    if wanted.isascii() and wanted.isdigit() and len(wanted) < 6 and 1 <= int(wanted) <= len(parts):
        return parts[int(wanted) - 1]
    raise InputError(
        f"there is no part {wanted[:60]!r}; the score has {_list([f'{n} {p.label}' for n, p in enumerate(parts, 1)])}",
        "Choose one of these with --part.",
        place=place,
    )


def _has_pitches(part: ScorePart) -> bool:
    return any(measure.content.find("note/pitch") is not None for measure in part.measures)


@dataclass(frozen=True, slots=True)
class VoiceChoice:
    """The notes of the voice or voices read as one line, and what to say about it."""

    notes: tuple[RawNote, ...]
    merged: bool = False  # notes of several voices stand together
    remark: str = ""


def choose_voice(
    notes: Sequence[RawNote], starts: Sequence[int], wanted: str | None, *, file: str, part_label: str
) -> VoiceChoice:
    """The voice to read out of all the notes of a part; `starts` are the bars' start ticks.

    Without a wish: the only voice; several that never sound together, as one line; a second voice that only adds
    notes of the same length to the first, as double stops. Otherwise InputError asks which.
    """
    voices = _by_voice(notes, starts)
    if wanted is not None:
        name = wanted.strip()
        if name.casefold() == ALL_VOICES:
            return VoiceChoice(tuple(notes), merged=len(voices) > 1)
        if name in voices:
            return VoiceChoice(tuple(voices[name]))
        raise InputError(
            f"part {part_label!r} has no voice {name[:40]!r} with notes; it has {_list(_described(voices))}",
            "Choose one of these with --voice.",
            place=Place(file=file),
        )
    if len(voices) <= 1:
        return VoiceChoice(tuple(notes))
    question = InputError(
        f"part {part_label!r} has several voices that sound together: {_list(_described(voices))}",
        "Choose one with --voice, or --voice all to read them together as double stops.",
        place=Place(file=file),
    )
    if len(voices) > _MOST_VOICES_COMPARED:
        raise question
    ranked = sorted(voices.items(), key=lambda item: -len(item[1]))  # stable: the first of equals leads
    main = _spans(ranked[0][1], starts)
    doubling = []
    for name, voice in ranked[1:]:
        how = _meets(main, _spans(voice, starts))
        if how == "crosses" or (how == "doubles" and {n.staff for n in voice} != {n.staff for n in ranked[0][1]}):
            raise question
        if how == "doubles":
            doubling.append(name)
        main = sorted({*main, *_spans(voice, starts)})
    if doubling:
        remark = f"Voice {_list(doubling)} only adds notes to voice {ranked[0][0]}: read as double stops."
    else:
        remark = f"Voices {_list(sorted(voices))} never sound together: read as one line."
    return VoiceChoice(tuple(notes), merged=True, remark=remark)


def _by_voice(notes: Sequence[RawNote], starts: Sequence[int]) -> dict[str, list[RawNote]]:
    """Notes by voice name. A name used on two staves at once stands for two voices: "1/1" and "1/2" (voice/staff)."""
    voices: dict[str, list[RawNote]] = {}
    for note in notes:
        voices.setdefault(note.voice, []).append(note)
    split: dict[str, list[RawNote]] = {}
    for name, members in voices.items():
        staves: dict[int, list[RawNote]] = {}
        for note in members:
            staves.setdefault(note.staff, []).append(note)
        if len(staves) > 1:
            spans = [_spans(staff, starts) for staff in staves.values()]
            seen = spans[0]
            for more in spans[1:]:
                if _meets(seen, more) != "apart":
                    split.update({f"{name}/{staff}": found for staff, found in sorted(staves.items())})
                    break
                seen = sorted({*seen, *more})
            else:
                split[name] = members
        else:
            split[name] = members
    return split


def _spans(notes: Sequence[RawNote], starts: Sequence[int]) -> list[tuple[int, int]]:
    return sorted(
        {
            (starts[note.bar_index] + note.onset, starts[note.bar_index] + note.onset + note.duration)
            for note in notes
            if not note.grace
        }
    )


def _meets(main: list[tuple[int, int]], other: list[tuple[int, int]]) -> str:
    """ "apart", "doubles" (every meeting pair begins and ends together) or "crosses"."""
    how = "apart"
    known = set(main)
    at = 0
    longest = 0
    ends: list[int] = []  # running maximum of ends, so that a long note is not missed
    for _, end in main:
        longest = max(longest, end)
        ends.append(longest)
    for start, end in other:
        if (start, end) in known:
            how = "doubles"
            continue
        while at < len(main) and ends[at] <= start:
            at += 1
        if at < len(main) and main[at][0] < end:
            return "crosses"
    return how


def _described(voices: dict[str, list[RawNote]]) -> list[str]:
    described = []
    for name, notes in voices.items():
        staff = f", staff {notes[0].staff}" if any(note.staff != 1 for note in notes) else ""
        described.append(f"{name} ({len(notes)} notes{staff})")
    return described


def _list(names: Sequence[str]) -> str:
    shown = [" ".join(name.split())[:60] for name in names[:_LISTED]]
    if len(names) > _LISTED:
        shown.append(f"and {len(names) - _LISTED} more")
    return ", ".join(shown)
