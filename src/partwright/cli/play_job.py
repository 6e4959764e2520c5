"""What `partwright play` does: from the call to a file and its figures."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from partwright.cli.options import HAND_KEYS
from partwright.cli.read_job import plan_prepared, read_job, refuse_source
from partwright.errors import InputError, Place
from partwright.files import write_atomic
from partwright.lesson import Prepared, is_lesson
from partwright.score import Part, beat_text
from partwright.sound import Levelled, Music, Temperament, TimingMap

__all__ = ["Played", "play_job"]


@dataclass(frozen=True, kw_only=True)
class Played:
    """A written file, what sounds in it when, and what was measured of it (nothing for MIDI)."""

    file: Path
    timing: TimingMap
    seconds: float
    measured: Levelled | None
    remarks: tuple[str, ...]

    def document(self) -> dict[str, object]:
        """The contract's fields; a silent file and MIDI have no loudness (null)."""
        figures = self.measured
        return {
            "file": str(self.file),
            "seconds": round(self.seconds, 6),
            "lufs": _figure(figures.lufs) if figures else None,
            "true_peak_dbtp": _figure(figures.true_peak_dbtp) if figures else None,
            "count_in_s": round(self.timing.count_in_seconds, 6),
            "tempo_qpm": round(self.timing.tempo_qpm, 3),
            "notes": [
                {
                    "id": note.id,
                    "bar": note.bar,
                    "beat": beat_text(note.beat),
                    "start_s": round(note.start_seconds, 6),
                    "end_s": round(note.end_seconds, 6),
                    "pass": note.pass_number,
                }
                for note in self.timing.notes
            ],
        }

    def sentence(self) -> str:
        """One line for a person."""
        minutes, seconds = divmod(round(self.seconds), 60)
        text = f"{self.file}: {minutes}:{seconds:02d} at {self.timing.tempo_qpm:g} quarter notes a minute"
        if self.measured is not None:
            text += f", {self.measured.lufs:.1f} LUFS, true peak {self.measured.true_peak_dbtp:.1f} dBTP"
        return text + "."


def _figure(value: float) -> float | None:
    return round(value, 2) if math.isfinite(value) else None


def play_job(score: str, out: Path, options: Mapping[str, Any]) -> Played:
    """Read, plan, play and write. Raises InputError for what is not as it should be in the call or the tune."""
    from partwright.sound import font_remark, format_of, make_timing, passage_of_bars

    midi = out.suffix.casefold() in (".mid", ".midi")
    kind = None if midi else format_of(out)
    if not (math.isfinite(options["speed"]) and 0.1 <= options["speed"] <= 4):
        raise InputError(f"a speed of {options['speed']:g} is none to play at", "Give a factor from 0.1 to 4: 0.75.")
    job = read_job(score, **{key: options[key] for key in HAND_KEYS})
    refuse_source(out, job.tune_path)
    tempo = options["tempo_qpm"] if options["tempo_qpm"] is not None else job.lesson.tempo_qpm
    if tempo is not None and not (math.isfinite(tempo) and 10 <= tempo <= 400):
        raise InputError(f"a tempo of {tempo:g} quarter notes a minute cannot be played to", "Give one from 10 to 400.")
    passage = (
        passage_of_bars(job.part, *_bars(options["bars"], job.part))
        if options["bars"]
        else (0, len(job.part.played_bars))
    )
    timing = make_timing(
        job.part,
        speed=options["speed"],
        tempo_qpm=tempo,
        count_in_bars=0 if midi else options["count_in"],
        passage=passage,
    )
    tuned = _tuned(options, job.part)
    font = _font(job, score, options, midi=midi)
    music = replace(_music(job, tuned, options, midi=midi), font=font, count=_count(job, options, midi=midi))
    remarks = tuple(job.remarks)
    if kind is None:
        if options["bars"] or options["count_in"] or options["only"]:
            raise InputError(
                "a MIDI file holds the whole tune", "Leave out --bars, --count-in and --only, or write a sound file."
            )
        write_atomic(out, _midi(job, music, options, tempo))
        return Played(file=out, timing=timing, seconds=timing.seconds, measured=None, remarks=remarks)
    measured = _sound(job, music, timing, passage, options, out)
    heard = music.others or job.part.chord_symbols
    if font is not None and heard and (not options["only"] or "accompaniment" in options["only"]):
        remarks = (*remarks, font_remark(font))
    return Played(
        file=out, timing=timing, seconds=measured.samples.shape[1] / 48_000, measured=measured, remarks=remarks
    )


def _sound(
    job: Prepared, music: Music, timing: TimingMap, passage: tuple[int, int], options: Mapping[str, Any], out: Path
) -> Levelled:
    from partwright.sound import SAMPLE_RATE_HZ, Tags, encode_audio, format_of, mix, render_stems, stereo_stems

    asked = tuple(options["only"])
    wanted = asked or ("guide", "accompaniment")
    counted = options["count_in"] > 0 and "click" not in wanted
    stems = render_stems(
        music,
        timing,
        wanted=(*wanted, "click") if counted else wanted,
        passage=passage,
        subdivide=options["subdivide"],
        only_count_in=counted,
    )
    for name in asked:
        if name not in stems:
            raise InputError(
                f"there is no {name} to play: the tune has no chord symbols and no other parts",
                "Choose --only guide.",
                place=Place(file=str(job.tune_path)),
            )
    placed = stereo_stems(stems, "guide left" if options["split"] else "with guide")
    whole, _ = mix(placed, SAMPLE_RATE_HZ, target_lufs=options["lufs"])
    printed = job.credits
    tags = Tags(
        title=printed.title or job.tune_path.stem,
        artist=printed.composer or job.lesson.teacher,
        copyright=" ".join(printed.rights),
    )
    write_atomic(out, encode_audio(whole.samples, SAMPLE_RATE_HZ, format_of(out), tags=tags))
    return whole


def _music(job: Prepared, tuned: Temperament, options: Mapping[str, Any], *, midi: bool) -> Music:
    """The part planned for sound; what is not heard is not planned."""
    from partwright.bowing import plan_bowing
    from partwright.lesson import lesson_band
    from partwright.sound import Music, other_voices

    others = other_voices(job.tune) or lesson_band(job)
    if midi or (options["only"] and "guide" not in options["only"]):
        return Music(part=job.part, instrument=job.instrument, others=others, tuned=tuned, style=options["chords"])
    plan = plan_prepared(job)
    return Music(
        part=job.part,
        instrument=job.instrument,
        plan=plan,
        bowing=plan_bowing(job.part, job.instrument, plan, level=job.level),
        others=others,
        tuned=tuned,
        style=options["chords"],
        vibrato_cents=options["vibrato_cents"],
    )


def _font(job: Prepared, score: str, options: Mapping[str, Any], *, midi: bool) -> Path | None:
    """The sound font for the accompaniment: as typed, or the lesson's where an accompaniment is heard."""
    from partwright.sound import check_font

    if options["sound_font"]:
        if midi:
            raise InputError("a MIDI file holds no sound", "Leave out --sound-font, or write a sound file.")
        font = Path(options["sound_font"])
    else:
        found = job.lesson.sound_font_in(Path(score)) if is_lesson(Path(score)) else None
        if midi or found is None or (options["only"] and "accompaniment" not in options["only"]):
            return None
        font = found
    check_font(font)
    return font


def _count(job: Prepared, options: Mapping[str, Any], *, midi: bool) -> Literal["click", "spoken"]:
    """How the bars before are counted: as typed, or as the lesson says where they are counted at all."""
    from partwright.sound import check_speaker

    counted = options["count_in"] > 0 and not midi
    if options["count"] == "spoken" and not counted:
        raise InputError("there is no count-in to be spoken", "Add --count-in 1, to a sound file.")
    if not counted or (options["count"] or job.lesson.count) != "spoken":
        return "click"
    check_speaker()
    return "spoken"


def _midi(job: Prepared, music: Music, options: Mapping[str, Any], tempo: float | None) -> bytes:
    from partwright.sound import midi_bytes, midi_program

    return midi_bytes(
        job.part,
        unfolded=not options["written"],
        speed=options["speed"],
        tempo_qpm=tempo,
        instrument=job.instrument.name,
        title=job.credits.title,
        others=tuple((part, midi_program(voice)) for part, voice in music.others),
    )


def _tuned(options: Mapping[str, Any], part: Part) -> Temperament:
    from partwright.sound import key_note, temperament

    step, alter = key_note(part)
    if options["drone"]:
        found = re.fullmatch(r"\s*([A-Ga-g])(#|b|♯|♭)?\s*", options["drone"])
        if found is None:
            raise InputError(f'"{options["drone"]}" is no note to drone on', "Write a letter and an accidental: D, Bb.")
        step, alter = found[1].upper(), {"#": 1, "♯": 1, "b": -1, "♭": -1}.get(found[2] or "", 0)
    return temperament(options["temperament_name"], a4_hz=options["a4_hz"], drone_step=step, drone_alter=alter)


def _bars(text: str, part: Part) -> tuple[int, int]:
    """Two bar numbers as printed to indices."""
    numbers = [bar.number for bar in part.bars]
    first, _, last = (piece.strip() for piece in text.partition("-"))
    last = last or first
    for number in (first, last):
        if number not in numbers:
            raise InputError(f'there is no bar "{number}"', f"The tune has bars {numbers[0]} to {numbers[-1]}.")
    span = numbers.index(first), numbers.index(last)
    if span[0] > span[1]:
        raise InputError(f"bars {text} end before they begin", "Exchange the two.")
    return span
