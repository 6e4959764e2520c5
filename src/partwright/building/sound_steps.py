"""The steps that make what a lesson sounds like: timing map, MIDI, stems, mixes, practice files, the backing."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from partwright.building.kept_sound import contents_product, files_or_kept
from partwright.building.step import Made, Step
from partwright.building.workshop import Workshop

if TYPE_CHECKING:
    from partwright.sound import Music, Order, Tags, Temperament

__all__ = ["SOUND_STEPS", "lesson_music"]

_MUSIC = ("tune", "step:plan", "pins", "hand", "own tables", "tempo", "sound", "credits", "arranging")
_LESSON = (*_MUSIC, "sections", "teaching")
_MIXES = (("with guide", "with-guide"), ("without guide", "without-guide"), ("guide left", "guide-left"))
_SECTION_TURNS, _DRILL_TURNS = 2, 1


def _timing(workshop: Workshop) -> Made:
    from partwright.sound import timings_document

    orders = (_stem_order(workshop), *_mix_orders(workshop), *_practice_orders(workshop))
    return Made(files={"sound/timing.json": _json(timings_document(orders))})


def _midi(workshop: Workshop) -> Made:
    from partwright.sound import midi_bytes, midi_program

    job, music = workshop.prepared, lesson_music(workshop)
    others = tuple((part, midi_program(voice)) for part, voice in music.others)
    return Made(
        files={
            f"sound/{name}.mid": midi_bytes(
                job.part,
                unfolded=unfolded,
                tempo_qpm=workshop.lesson.tempo_qpm,
                instrument=job.instrument.name,
                title=job.credits.title,
                others=others,
            )
            for name, unfolded in (("tune", True), ("tune-as-written", False))
        }
    )


def _stems(workshop: Workshop) -> Made:
    from partwright.sound import font_remark

    font = workshop.sound_font
    made = _made(workshop, "stems", (_stem_order(workshop),))
    return replace(made, remarks=(font_remark(font),)) if font is not None else made


def _mixes(workshop: Workshop) -> Made:
    return _made(workshop, "mixes", _mix_orders(workshop))


def _made(workshop: Workshop, name: str, orders: Sequence[Order]) -> Made:
    contents = f"sound/{name}.json"
    return contents_product(workshop, files_or_kept(workshop, orders, contents), contents)


def _practice(workshop: Workshop) -> Made:
    from partwright.sound import hearing_caution, practice_page

    contents = "sound/practice/contents.json"
    found = files_or_kept(workshop, _practice_orders(workshop), contents)
    made = contents_product(workshop, found, contents)
    files = [file for file, _ in found]
    page = practice_page(files, title=_title(workshop), caution=hearing_caution())
    return replace(made, files={**made.files, "sound/practice/practice.html": page.encode("utf-8")})


def _backing(workshop: Workshop) -> Made:
    """The player's own recording at each practice tempo."""
    import tempfile

    from partwright.sound import SPEED_RANGE, slow_file

    source = workshop.backing
    assert source is not None
    files, remarks = {}, []
    for percent in workshop.lesson.practice_percent:
        if not SPEED_RANGE[0] <= percent / 100 <= SPEED_RANGE[1]:
            remarks.append(f"{source.name} is not made at {percent:g} %: below 50 and above 150 it would not sound")
            continue
        name = f"backing-{percent:g}.{workshop.lesson.sound_format}"
        tags = _tags(workshop, f"{_title(workshop)}: backing at {percent:g} %")
        with tempfile.TemporaryDirectory() as folder:
            slowed = slow_file(source, Path(folder) / name, speed=percent / 100, tags=tags)
            files[f"sound/{name}"] = slowed.file.read_bytes()
        remarks += [text for text in slowed.remarks if text not in remarks]
    return Made(files=files, remarks=tuple(remarks))


# Orders --------------------------------------------------------------------------------------------------------------


def lesson_music(workshop: Workshop) -> Music:
    """The lesson's music with everything its sound depends on."""
    from partwright.lesson import lesson_band
    from partwright.sound import Music, other_voices

    job = workshop.prepared
    return Music(
        part=job.part,
        instrument=job.instrument,
        plan=workshop.plan,
        bowing=workshop.bowing,
        others=other_voices(job.tune) or lesson_band(job),
        tuned=_tuned(workshop),
        style=workshop.lesson.chord_sound,
        font=workshop.sound_font,
        count=workshop.lesson.count,
    ).light()


def _accompanied(music: Music) -> bool:
    return bool(music.others or music.part.chord_symbols)


def _tuned(workshop: Workshop) -> Temperament:
    from partwright.sound import key_note, temperament

    step, alter = key_note(workshop.prepared.part)
    lesson = workshop.lesson
    return temperament(lesson.temperament, a4_hz=lesson.a4_hz, drone_step=step, drone_alter=alter)


def _title(workshop: Workshop) -> str:
    job = workshop.prepared
    return job.credits.title or job.tune.source.stem


def _tags(workshop: Workshop, title: str, track: int | None = None) -> Tags:
    from partwright.sound import Tags, cover_png

    printed = workshop.prepared.credits
    artist = printed.composer or workshop.lesson.teacher
    return Tags(
        title=title,
        artist=artist,
        album=_title(workshop),
        track=track,
        copyright=" ".join(printed.rights),
        artwork_png=cover_png(_title(workshop), printed.subtitle, footer=artist),
    )


def _tempi(workshop: Workshop) -> tuple[tuple[float, float], ...]:
    """Per cent and quarters a minute of every practice tempo, the performance's last."""
    teaching = workshop.teaching
    return tuple((percent, teaching.tempo_qpm * percent / 100) for percent in teaching.ladder)


def _stem_order(workshop: Workshop) -> Order:
    """The performance tempo with its stems, in FLAC whatever the lesson's format: they add up to the sample."""
    from partwright.sound import Order, Rung

    percent, tempo = _tempi(workshop)[-1]
    music = lesson_music(workshop)
    stems = ("guide", "accompaniment", "click") if _accompanied(music) else ("guide", "click")
    return Order(
        music=music,
        title=_title(workshop),
        files=(("with guide", f"sound/with-guide-{percent:g}.flac"),),
        stems=tuple((stem, f"sound/stem-{stem}.flac") for stem in stems),
        rungs=(Rung(tempo_qpm=tempo, percent=percent),),
        tags=_tags(workshop, _title(workshop)),
    )


def _mix_orders(workshop: Workshop) -> tuple[Order, ...]:
    from partwright.sound import Order, Rung

    ending = workshop.lesson.sound_format
    music = lesson_music(workshop)
    # Without an accompaniment nothing is left to play to once the guide is taken out.
    known = _MIXES if _accompanied(music) else _MIXES[:1]
    orders: list[Order] = []
    for percent, tempo in _tempi(workshop):
        title = f"{_title(workshop)} at {percent:g} %"
        mixes = known[1:] if percent == 100 else known
        if not mixes:
            continue
        orders.append(
            Order(
                music=music,
                title=title,
                files=tuple((mix, f"sound/{name}-{percent:g}.{ending}") for mix, name in mixes),
                rungs=(Rung(tempo_qpm=tempo, percent=percent),),
                tags=_tags(workshop, title),
            )
        )
    return tuple(orders)


def _practice_orders(workshop: Workshop) -> tuple[Order, ...]:
    """Each section at each tempo, going round; each drill climbing the tempi."""
    from partwright.sound import Music, Order, Rung, passage_of_bars

    teaching, ending = workshop.teaching, workshop.lesson.sound_format
    tempi = _tempi(workshop)
    music = lesson_music(workshop)
    sections = teaching.outline.sections
    orders: list[Order] = []
    for section in sections:
        for percent, tempo in tempi:
            title = f"{section.name}, bars {section.first_bar}–{section.last_bar}, {percent:g} %"
            number = len(orders) + 1
            orders.append(
                Order(
                    music=music,
                    title=title,
                    files=(("with guide", f"sound/practice/{number:02d}-{_slug(section.name)}-{percent:g}.{ending}"),),
                    rungs=(Rung(tempo_qpm=tempo, percent=percent, times=_SECTION_TURNS),),
                    passage=passage_of_bars(teaching.part, section.first, section.last),
                    tags=_tags(workshop, title, number),
                )
            )
    for drill, planned in zip(teaching.drills, workshop.drills, strict=True):
        title = f"Drill {drill.id}: {drill.title}"
        number = len(orders) + 1
        orders.append(
            Order(
                music=Music(
                    part=planned.tune.part,
                    instrument=teaching.instrument,
                    plan=planned.plan,
                    bowing=planned.bowing,
                    tuned=music.tuned,
                    count=music.count,
                ).light(),
                title=title,
                files=(("with guide", f"sound/practice/{number:02d}-drill-{drill.id}.{ending}"),),
                rungs=tuple(
                    Rung(tempo_qpm=drill.tempo_qpm * percent / tempi[0][0], percent=percent, times=_DRILL_TURNS)
                    for percent, _ in tempi
                ),
                wanted=("guide", "click"),
                tags=_tags(workshop, title, number),
            )
        )
    return tuple(orders)


def _slug(name: str) -> str:
    """A name as part of a file's name: letters and digits, lower case."""
    return re.sub(r"[^\w]+", "-", name.casefold()).strip("-")[:40] or "section"


def _json(document: object) -> bytes:
    return (json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode("utf-8")


SOUND_STEPS: tuple[Step, ...] = (
    Step(
        name="timing",
        words="when every note sounds, in every file",
        inputs=_LESSON,
        make=_timing,
    ),
    Step(
        name="midi",
        words="the tune as MIDI, as played and as written",
        inputs=("tune", "hand", "tempo", "credits", "arranging"),
        make=_midi,
    ),
    Step(
        name="stems",
        words="guide, accompaniment and click, each alone and together",
        inputs=_MUSIC,
        make=_stems,
    ),
    Step(
        name="mixes",
        words="with and without the guide, at every tempo",
        inputs=_MUSIC,
        make=_mixes,
    ),
    Step(
        name="practice",
        words="sections and drills to practise with",
        inputs=_LESSON,
        make=_practice,
    ),
    Step(
        name="backing",
        words="your own backing, slower",
        inputs=("backing", "tempo", "sound", "credits", "tune"),
        make=_backing,
        wanted=lambda workshop: workshop.backing is not None,
    ),
)
