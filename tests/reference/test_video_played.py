"""Pieces over what is played on a film, against when it was played; the performance is the tests' own, not the guide.

Outside facts: the times at which the performance asks its voice (additive, or the sound font of `take_sounds`) for
each note; the decoded pictures of the finished film, by FFmpeg's decoders.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from partwright.checking.take import TakeCheck, check_take, read_recording, recording_of, score_events
from partwright.sound import make_timing
from partwright.video import (
    Caption,
    Overlay,
    Piece,
    PlayedPieces,
    burn_in,
    narrated_pieces,
    played_pieces,
    read_footage,
)
from take_sounds import RATE, Performance, additive, perform, shifted, talk
from video_pieces import ready

TALK_SECONDS = 6.0
LAST = 40


@dataclass(frozen=True)
class Film:
    """Talk, then the first events of the demonstration tune with a new start, then talk."""

    sound: np.ndarray
    performance: Performance
    check: TakeCheck
    pieces: PlayedPieces


def _pieces(check: TakeCheck, begins: float = 0.0) -> PlayedPieces:
    made = ready()
    return played_pieces(
        check,
        plan=made.work.plan,
        bowing=made.work.bowing,
        instrument=made.job.instrument,
        sections=made.teaching.outline.sections,
        sound_begins_seconds=begins,
    )


@cache
def film() -> Film:
    part = ready().job.part
    events = score_events(part, make_timing(part))
    played = perform(events, seed=4, last=LAST, drift=0.08, restart_after=24, restart_from=16)
    sound = np.concatenate([talk(TALK_SECONDS), additive(played, seed=4), talk(4.0, seed=3)]).astype(np.float32)
    check = check_take(recording_of(sound, RATE), part)
    return Film(sound, shifted(played, TALK_SECONDS), check, _pieces(check))


def _lines(pieces: Sequence[Piece]) -> list[Piece]:
    return [piece for piece in pieces if piece.kind == "line"]


def test_finger_and_string_come_with_the_note() -> None:
    """The line that is shown a moment after each asked-for onset names the planned string and finger of that note."""
    made, shown = ready(), film()
    lines = _lines(shown.pieces.pieces)
    right, wanted = 0, 0
    for note in shown.performance.notes:
        event = shown.check.events[note.event]
        middle = note.onset_s + 0.5 * note.seconds
        words = " ".join(piece.words for piece in lines if piece.start_seconds <= middle < piece.end_seconds)
        stop = made.work.plan.by_id[event.note_ids[0]].placement
        letter = made.job.instrument.strings[stop.string].letter
        finger = "open" if stop.finger == 0 else str(stop.finger)
        wanted += 1
        right += f"  {finger}" in words and f"{letter} string" in words
    assert right >= 0.95 * wanted


def test_a_line_changes_within_a_tenth_of_a_second_of_the_note() -> None:
    shown = film()
    starts = np.array([piece.start_seconds for piece in _lines(shown.pieces.pieces)])
    onsets = np.array([note.onset_s for note in shown.performance.notes])
    apart = np.array([np.abs(onsets - start).min() for start in starts])
    assert np.median(apart) < 0.05
    assert np.mean(apart < 0.1) >= 0.9


def test_nothing_stands_over_the_talk() -> None:
    shown = film()
    first, last = shown.performance.notes[0].onset_s, max(n.onset_s + n.seconds for n in shown.performance.notes)
    assert min(piece.start_seconds for piece in shown.pieces.pieces) > first - 0.3
    assert max(piece.end_seconds for piece in shown.pieces.pieces) < last + 0.6
    assert len(shown.pieces.spans) == 2  # begun again once
    kinds = {piece.kind for piece in shown.pieces.pieces}
    assert kinds == {"line", "hand", "bow"}


def test_sound_that_begins_late_shifts_all() -> None:
    shown = film()
    later = _pieces(shown.check, begins=1.25)
    assert [p.start_seconds - 1.25 for p in later.pieces] == pytest.approx(
        [p.start_seconds for p in shown.pieces.pieces], abs=1e-6
    )


def test_without_words_the_sections_begin_where_they_are_played() -> None:
    made, shown = ready(), film()
    found = narrated_pieces(
        None,
        (),
        (),
        plan=made.work.plan,
        instrument=made.job.instrument,
        sections=made.teaching.outline.sections,
        seconds=len(shown.sound) / RATE,
        played=shown.pieces,
    )
    assert [c.title.partition(",")[0] for c in found.chapters[:2]] == ["Welcome", "Section A"]
    assert found.chapters[1].start_seconds == pytest.approx(shown.performance.notes[0].onset_s, abs=0.1)
    assert _lines(found.pieces) == _lines(shown.pieces.pieces)


def _filmed(path: Path, sound: np.ndarray, *, width: int = 640, height: int = 360) -> None:
    """Grey pictures, ten a second, with this sound."""
    target: Any
    with av.open(str(path), "w") as target:
        stream = target.add_stream("libx264", rate=10)
        stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
        stream.options = {"preset": "ultrafast", "bf": "0"}
        tone = target.add_stream("aac", rate=RATE)
        tone.layout = "mono"
        for number in range(int(len(sound) / RATE * 10)):
            frame = av.VideoFrame.from_ndarray(np.full((height, width, 3), 90, np.uint8), format="rgb24")
            frame.pts, frame.time_base = number, Fraction(1, 10)
            target.mux(stream.encode(frame.reformat(format="yuv420p")))
        target.mux(stream.encode(None))
        for start in range(0, len(sound), 1024):
            block = av.AudioFrame.from_ndarray(np.ascontiguousarray(sound[None, start : start + 1024]), "fltp", "mono")
            block.sample_rate, block.pts, block.time_base = RATE, start, Fraction(1, RATE)
            target.mux(tone.encode(block))
        target.mux(tone.encode(None))


def test_the_finished_film_shows_the_line_while_it_is_played_and_carries_the_captions(tmp_path: Path) -> None:
    shown = film()
    source, out = tmp_path / "lesson.mp4", tmp_path / "out.mp4"
    _filmed(source, shown.sound)
    footage = read_footage(source)
    check = check_take(read_recording(source), ready().job.part)
    pieces = _pieces(check, footage.sound_begins_seconds)
    captions = (
        Caption(start_seconds=1.0, end_seconds=3.0, text="Now the second section, größer"),
        Caption(start_seconds=3.5, end_seconds=5.0, text="with the\n4th finger"),
    )
    burn_in(footage, out, Overlay(footage.width, footage.height, _lines(pieces.pieces)), captions=captions)
    container: Any
    with av.open(str(out)) as container:
        foot = {round(float(f.time), 1): f.to_ndarray()[290:350, 20:60] for f in container.decode(video=0)}
    lit = {at for at, part in foot.items() if int(part.max()) > 180}  # paper is light, the film is grey
    first, last = shown.performance.notes[0].onset_s, max(n.onset_s + n.seconds for n in shown.performance.notes)
    assert not {at for at in lit if at < first - 0.3 or at > last + 0.6}
    playing = [at for at in foot if first + 0.3 < at < last - 0.3]
    assert np.mean([at in lit for at in playing]) > 0.85  # but for the pause before it is begun again
    with av.open(str(out)) as container:
        (track,) = container.streams.subtitles
        assert track.codec_context.name == "mov_text"
        found = [
            (float(p.pts * p.time_base), float(p.duration * p.time_base), bytes(p)[2:].decode())
            for p in container.demux(track)
            if p.size > 2
        ]
    assert [text for _, _, text in found] == [c.text for c in captions]
    for (start, length, _), caption in zip(found, captions, strict=True):
        assert start == pytest.approx(caption.start_seconds, abs=0.002)
        assert length == pytest.approx(caption.end_seconds - caption.start_seconds, abs=0.002)
