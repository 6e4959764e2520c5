"""What the chosen part takes from the rest of the score: marks that hold for everyone but are printed once."""

from __future__ import annotations

from collections.abc import Sequence

from partwright.score.measures import ScorePart
from partwright.score.parse_directions import RawMark
from partwright.score.tempo_map import is_tempo
from partwright.score.walk_part import RawPart, walk_part

__all__ = ["add_from_other_parts", "settle_lengths", "walk_others"]

# Printed above the top staff only, valid for all; each kind is taken from the first part that has it in a bar.
_SYSTEM_KINDS = {
    "metronome": "tempo",
    "sound-tempo": "tempo",
    "rehearsal": "rehearsal",
    "segno": "segno",
    "coda": "coda",
    "coda-sign": "coda",
    "to-coda": "to-coda",
    "fine": "fine",
    "da-capo": "jump",
    "dal-segno": "jump",
    "forward-repeat": "repeat",
}
_SYSTEM_ELEMENTS = ("direction", "sound", "harmony", "barline")


def walk_others(raw: RawPart, others: Sequence[ScorePart], resolution: int, *, file: str) -> list[RawPart]:
    """The other parts without their notes, as far as they are needed.

    They are needed where the chosen part has bars shorter than their metre, or where they say something that holds
    for everyone.
    """
    short = any(bar.length < bar.metre.quarters * resolution for bar in raw.bars)
    return [
        walk_part(part, resolution, file=file, with_notes=False)
        for part in others
        if short or any(child.tag in _SYSTEM_ELEMENTS for measure in part.measures for child in measure.content)
    ]


def settle_lengths(raw: RawPart, others: Sequence[RawPart], resolution: int) -> None:
    """Give every bar its final length and start.

    A bar as long as its metre or longer lasts as long as it is written. A shorter one lasts as long as the longest
    part says, because bars begin together in all parts; one with nothing in it lasts its metre.
    """
    start = 0
    for bar in raw.bars:
        if bar.length < bar.metre.quarters * resolution:
            lengths = [other.bars[bar.index].length for other in others if bar.index < len(other.bars)]
            bar.length = max([bar.length, *lengths])
        if bar.length == 0:
            bar.length = round(bar.metre.quarters * resolution)
        bar.start = start
        start += bar.length


def add_from_other_parts(raw: RawPart, others: Sequence[RawPart]) -> None:
    """Add tempo, rehearsal letters, jumps, repeats and chord symbols the chosen part does not have itself."""
    own = {(mark.bar_index, _SYSTEM_KINDS.get(mark.kind)) for mark in raw.marks}
    own_repeats = any(bar.barline.repeat_end or bar.barline.repeat_start for bar in raw.bars)
    own_endings = any(bar.barline.endings for bar in raw.bars)
    own_chords = bool(raw.chords)
    for other in others:
        count = len(raw.bars)
        here: set[tuple[int, str | None]] = set()
        for mark in other.marks:
            kind = _SYSTEM_KINDS.get(mark.kind)
            if mark.bar_index >= count or (kind is None and mark.kind != "words"):
                continue
            if mark.kind == "words":
                kind = "tempo"
                if not is_tempo(mark.text):
                    continue
            if (mark.bar_index, kind) in own:
                continue
            here.add((mark.bar_index, kind))
            raw.marks.append(RawMark(mark.kind, mark.tick, mark.bar_index, 0, mark.text, mark.value, mark.metronome))
        own |= here
        for bar, source in zip(raw.bars, other.bars, strict=False):
            line, their = bar.barline, source.barline
            if not own_repeats and (their.repeat_start or their.repeat_end):
                line.repeat_start, line.repeat_end = their.repeat_start, their.repeat_end
                line.repeat_times, line.after_jump = their.repeat_times, their.after_jump
            if not own_endings and (their.endings or their.ending_stops):
                line.endings, line.ending_starts = their.endings, their.ending_starts
                line.ending_stops = their.ending_stops
        own_repeats = any(bar.barline.repeat_end or bar.barline.repeat_start for bar in raw.bars)
        own_endings = any(bar.barline.endings for bar in raw.bars)
        if not own_chords:
            raw.chords = [chord for chord in other.chords if chord.bar_index < count]
            own_chords = bool(raw.chords)
