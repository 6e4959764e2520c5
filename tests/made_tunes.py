"""Small tunes and folders for the command line to work on. All invented."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

__all__ = ["demo_tune", "small_tune", "write_lesson_folder"]

_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def demo_tune() -> bytes:
    """The demonstration tune as it lies in the package."""
    return (resources.files("partwright.lesson") / "data" / "demo" / "tune.musicxml").read_bytes()


def small_tune(*bars: str, title: str = "Small tune", metre: str = "4/4", tempo: str = "90", extra: str = "") -> str:
    """A MusicXML tune from bars of notes like "D3:1 F#3:1/2 r:1/2 A2+E3:2"; lengths in quarters, + joins a chord."""
    beats, beat_type = metre.split("/")
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0">',
        f"<work><work-title>{title}</work-title></work>" if title else "",
        '<identification><creator type="composer">Invented</creator><rights>CC0</rights></identification>',
        '<part-list><score-part id="P1"><part-name>Cello</part-name></score-part></part-list><part id="P1">',
    ]
    for number, bar in enumerate(bars, start=1):
        parts.append(f'<measure number="{number}">')
        if number == 1:
            parts.append(
                "<attributes><divisions>8</divisions><key><fifths>0</fifths></key>"
                f"<time><beats>{beats}</beats><beat-type>{beat_type}</beat-type></time>"
                "<clef><sign>F</sign><line>4</line></clef></attributes>"
            )
            if tempo:
                parts.append(
                    "<direction><direction-type><metronome><beat-unit>quarter</beat-unit>"
                    f"<per-minute>{tempo}</per-minute></metronome></direction-type></direction>"
                )
        for token in bar.split():
            pitches, length = token.split(":")
            numerator, _, denominator = length.partition("/")
            duration = 8 * int(numerator) // int(denominator or 1)
            for index, pitch in enumerate(pitches.split("+")):
                chord = "<chord/>" if index else ""
                parts.append(f"<note>{chord}{_pitch(pitch)}<duration>{duration}</duration><voice>1</voice></note>")
        parts.append("</measure>")
    return "".join(parts) + f"{extra}</part></score-partwise>"


def _pitch(name: str) -> str:
    if name == "r":
        return "<rest/>"
    alter = {"#": "<alter>1</alter>", "b": "<alter>-1</alter>"}.get(name[1], "")
    return f"<pitch><step>{name[0]}</step>{alter}<octave>{name[-1]}</octave></pitch>"


def write_lesson_folder(folder: Path, tune: str | bytes, settings: str = "format = 1\n") -> Path:
    """A lesson folder with this tune and these settings."""
    folder.mkdir()
    payload = tune.encode("utf-8") if isinstance(tune, str) else tune
    (folder / "tune.musicxml").write_bytes(payload)
    (folder / "lesson.toml").write_text(settings, encoding="utf-8")
    return folder
