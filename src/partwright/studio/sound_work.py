"""Sounds to play along with on the page: made once for everything they depend on, and kept in build/studio/.

Guide, accompaniment and click of one tempo are made together, as long as each other and in step to the sample; the
player's own backing is stretched, its pitch kept.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from partwright.building import BUILD_FOLDER, Workshop
from partwright.errors import InputError, Place
from partwright.files import content_hash, write_atomic
from partwright.lesson import Lesson, read_lesson
from partwright.score import Part

__all__ = ["COUNT_IN_BARS", "STUDIO_FOLDER", "make_sound", "sound_path", "timing_of"]

STUDIO_FOLDER = "studio"
COUNT_IN_BARS = 1
_WAY = "1"  # of making: another number makes everything anew
_INPUTS = ("tune", "pins", "hand", "own tables", "tempo", "sound", "arranging")
_MADE_TOGETHER = ("guide", "accompaniment", "click", "with_guide")


def sound_path(folder: Path, lesson: Lesson, what: str, percent: float) -> Path:
    """Where this sound lies once it is made: its name stands for everything it is made from."""
    workshop = Workshop(folder, lesson)
    if what == "backing":
        if workshop.backing is None:
            raise InputError(
                "holds no backing", "Put a recording called backing.wav (or .mp3, .m4a …) into it.",
                place=Place(file=folder.name),
            )  # fmt: skip
        key = content_hash(_WAY, what, f"{percent:g}", workshop.fingerprint("backing"))
    else:
        key = content_hash(_WAY, f"{percent:g}", *(workshop.fingerprint(name) for name in _INPUTS))
    return folder / BUILD_FOLDER / STUDIO_FOLDER / f"{what.replace('_', '-')}-{percent:g}-{key[:16]}.flac"


def timing_of(part: Part, lesson: Lesson, percent: float) -> Any:
    """When every note of the tune sounds at this tempo."""
    from partwright.sound import make_timing

    return make_timing(part, speed=percent / 100, tempo_qpm=lesson.tempo_qpm, count_in_bars=COUNT_IN_BARS)


def make_sound(folder: Path, what: str, percent: float, tell: Callable[[Mapping[str, Any]], None]) -> dict[str, Any]:
    """Make a sound, with those that come with it. Raises InputError where the lesson has none of the kind."""
    lesson = read_lesson(folder)
    path = sound_path(folder, lesson, what, percent)
    if not path.is_file():
        path.parent.mkdir(parents=True, exist_ok=True)
        if what == "backing":
            _backing(folder, lesson, path, percent, tell)
        else:
            _stems(folder, lesson, percent, tell)
    if not path.is_file():
        raise InputError(
            f"there is no {what.replace('_', ' ')} to hear", "The tune has no chord symbols and no other parts.",
            place=Place(file=folder.name),
        )  # fmt: skip
    _sweep(path)
    return {"what": what, "percent": percent, "path": f"{BUILD_FOLDER}/{STUDIO_FOLDER}/{path.name}"}


def _stems(folder: Path, lesson: Lesson, percent: float, tell: Callable[[Mapping[str, Any]], None]) -> None:
    from partwright.building.sound_steps import lesson_music
    from partwright.sound import FORMATS, SAMPLE_RATE_HZ, encode_audio, mix, render_stems, stereo_stems

    tell({"words": "planning fingers and bow", "done": 0, "total": 3})
    workshop = Workshop(folder, lesson)
    music = lesson_music(workshop)
    part = workshop.prepared.part
    timing = timing_of(part, lesson, percent)
    tell({"words": "playing every note", "done": 1, "total": 3})
    stems = render_stems(music, timing, wanted=("guide", "accompaniment", "click"), passage=(0, len(part.played_bars)))
    whole, parts = mix(stereo_stems(stems, "with guide"), SAMPLE_RATE_HZ)
    tell({"words": "writing the sound", "done": 2, "total": 3})
    for name, samples in (*parts.items(), ("with_guide", whole.samples)):
        if name in _MADE_TOGETHER:
            data = encode_audio(samples, SAMPLE_RATE_HZ, FORMATS[".flac"], bits=16)
            write_atomic(sound_path(folder, lesson, name, percent), data)


def _backing(
    folder: Path, lesson: Lesson, path: Path, percent: float, tell: Callable[[Mapping[str, Any]], None]
) -> None:
    from partwright.sound import slow_file

    source = Workshop(folder, lesson).backing
    assert source is not None
    last = 0

    def heard(seconds: float, of: float | None) -> None:
        nonlocal last
        if int(seconds) > last:
            last = int(seconds)
            tell({"words": "stretching your recording", "done": last, "total": int(of or 0)})

    slow_file(source, path, speed=percent / 100, heard=heard)


def _sweep(made: Path) -> None:
    """Keep the newest sounds; the others can be made again."""
    sounds = sorted(
        (path for path in made.parent.glob("*.flac") if path != made),
        key=lambda path: path.stat().st_mtime,
        reverse=True,
    )
    for path in sounds[40:]:
        path.unlink(missing_ok=True)
