"""The steps that show the lesson: demonstration, overlays, captions of the takes, cards, burnt-in footage.

What takes long is made on request (`build --only NAME`); a plain build makes one demonstration and its texts.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from partwright.building.sound_steps import lesson_music
from partwright.building.step import Made, Step
from partwright.building.workshop import Workshop
from partwright.errors import InputError, Place

if TYPE_CHECKING:
    from partwright.checking.narration import CorrectionCard, NarrationCheck, NarrationFinding
    from partwright.sound import TimingMap
    from partwright.video import Caption, Chapter, Demonstration, Description, Footage, PlayedPieces, Timeline

__all__ = ["VIDEO_STEPS"]

_SHOWN = (
    "tune", "step:plan", "step:bows", "pins", "hand", "own tables", "tempo", "sound", "arranging", "sections", "marks",
    "credits",
)  # fmt: skip
_TEXTS = (*_SHOWN, "video", "teaching")
_FOLDER = "video"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Video:
    """One demonstration video: its file, format, tempo in per cent (0: the slowest practised), and rate."""

    file: str
    layout: str = "wide"
    percent: float = 100.0
    variable: bool = True


def _timeline(workshop: Workshop, percent: float) -> tuple[Timeline, TimingMap]:
    from partwright.sound import make_timing
    from partwright.video import TAIL_SECONDS, make_timeline

    job, teaching = workshop.prepared, workshop.teaching
    tempo = teaching.tempo_qpm * (percent or teaching.ladder[0]) / 100
    timing = make_timing(job.part, tempo_qpm=tempo, count_in_bars=1)
    timeline = make_timeline(
        job.part,
        workshop.plan,
        workshop.bowing,
        timing,
        instrument=job.instrument,
        sections=teaching.outline.sections,
        title=_title(workshop),
        seconds=timing.seconds + TAIL_SECONDS,
    )
    return timeline, timing


def _show(workshop: Workshop, timeline: Timeline, timing: TimingMap, layout: str) -> Demonstration:
    from partwright.lesson import page_instrument, page_tune
    from partwright.video import Demonstration, Work, picture_format

    job = workshop.prepared
    work = Work(
        tune=page_tune(job),
        marks=workshop.marks,
        instrument=page_instrument(job),
        plan=workshop.plan,
        bowing=workshop.bowing,
        title=_title(workshop),
    )
    bars = [bar.bar_index for bar in timing.bars]
    return Demonstration(work, timeline, bars, picture_format(layout))


def _demonstration(workshop: Workshop, video: _Video) -> Made:
    from partwright.sound import SAMPLE_RATE_HZ, VIDEO_LUFS, mix, render_stems, stereo_stems
    from partwright.video import demonstration_captions, demonstration_chapters, write_demonstration

    timeline, timing = _timeline(workshop, video.percent)
    show = _show(workshop, timeline, timing, video.layout)
    stems = render_stems(lesson_music(workshop), timing, only_count_in=True, seconds=timeline.seconds)
    whole, _ = mix(stereo_stems(stems, "with guide"), SAMPLE_RATE_HZ, target_lufs=VIDEO_LUFS)
    name = f"{_FOLDER}/{video.file}.mp4"
    path = workshop.build_folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    write_demonstration(
        path,
        show,
        samples=whole.samples,
        rate_hz=SAMPLE_RATE_HZ,
        captions=demonstration_captions(timeline),
        chapters=demonstration_chapters(timeline),
        title=_title(workshop),
        variable=video.variable,
    )
    remarks = tuple(
        f"bar {bar}: higher than the place for it in the {video.layout} picture, so its lettering is smaller than 3 %"
        for bar in show.line.shrunk
    )
    return Made(files={name: path}, remarks=remarks)


def _texts(workshop: Workshop) -> Made:
    """Captions, chapters, description and thumbnail of the demonstration."""
    from partwright.video import (
        chapters_vtt,
        demonstration_captions,
        demonstration_chapters,
        description_text,
        srt_text,
        thumbnail_png,
        vtt_text,
    )

    timeline, timing = _timeline(workshop, 100.0)
    captions, chapters = demonstration_captions(timeline), demonstration_chapters(timeline)
    show = _show(workshop, timeline, timing, "wide-720")
    first = timeline.sections[0].title if timeline.sections else ""
    start = f"{_FOLDER}/demonstration"
    return Made(
        files={
            f"{start}.vtt": vtt_text(captions).encode("utf-8"),
            f"{start}.srt": srt_text(captions).encode("utf-8"),
            f"{start}-chapters.vtt": chapters_vtt(chapters).encode("utf-8"),
            f"{start}-description.txt": description_text(_about(workshop, chapters)).encode("utf-8"),
            f"{start}-thumbnail.png": thumbnail_png(show, title=_title(workshop), section=first),
        }
    )


def _about(workshop: Workshop, chapters: tuple[Chapter, ...]) -> Description:
    from partwright.lesson import booklet_words
    from partwright.video import Description

    job, lesson, words = workshop.prepared, workshop.lesson, booklet_words()
    printed = job.credits
    return Description(
        title=_title(workshop),
        subtitle=printed.subtitle,
        composer=printed.composer,
        arranger=printed.arranger,
        teacher=lesson.teacher,
        rights=printed.rights,
        instrument=job.instrument.name.replace("_", " "),
        tuning=" ".join(string.letter for string in job.instrument.strings),
        level=job.level,
        tempo_qpm=workshop.teaching.tempo_qpm,
        chapters=chapters,
        episodes=tuple(
            f"{number}. {episode.title}" for number, episode in enumerate(workshop.teaching.episodes, start=1)
        )
        if len(workshop.teaching.episodes) > 1
        else (),
        links=lesson.links,
        cautions=(*(caution.text for caution in words.cautions), words.note),
    )


# Over the maker's own footage ----------------------------------------------------------------------------------------


def _overlay(workshop: Workshop, kind: str) -> Made:
    """The overlay of the played tune: finger and string, position, bow, titles; begins with the count-in."""
    from partwright.video import (
        OVERLAY_FORMATS,
        Overlay,
        picture_format,
        timeline_pieces,
        write_overlay,
        write_overlay_pictures,
    )

    timeline, _ = _timeline(workshop, 100.0)
    layout = picture_format("wide")
    pieces = timeline_pieces(timeline, workshop.prepared.instrument)
    overlay = Overlay(layout.width, layout.height, pieces, hands=workshop.lesson.hands_area)
    folder = workshop.build_folder / _FOLDER
    if kind == "pictures":
        folder /= "overlay"
        folder.mkdir(parents=True, exist_ok=True)
        written = write_overlay_pictures(folder, overlay, seconds=timeline.seconds)
        return Made(files={path.relative_to(workshop.build_folder).as_posix(): path for path in written})
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"overlay-{kind}{OVERLAY_FORMATS[kind].ending}"
    write_overlay(path, overlay, kind=kind, seconds=timeline.seconds)
    return Made(files={f"{_FOLDER}/{path.name}": path})


def _title_cards(workshop: Workshop) -> Made:
    """Section titles and the fingers of the first bars, as single pictures with alpha: one file a cue."""
    from partwright.video import Overlay, picture_format, pixels_png, timeline_pieces

    timeline, _ = _timeline(workshop, 100.0)
    layout = picture_format("wide")
    files: dict[str, bytes | Path] = {}
    rows = ["picture,start_seconds,end_seconds,words"]
    seen: set[str] = set()
    for piece in timeline_pieces(timeline, workshop.prepared.instrument, kinds=("title", "hand")):
        words = piece.words.partition("; next")[0].partition(", again")[0]
        if words in seen:
            continue
        seen.add(words)
        shown = replace(piece, words=words)
        overlay = Overlay(layout.width, layout.height, (shown,), hands=workshop.lesson.hands_area)
        name = f"{piece.kind}-{len(seen):02d}.png"
        files[f"{_FOLDER}/overlays/{name}"] = pixels_png(overlay.picture(piece.start_seconds))
        rows.append(f'{name},{piece.start_seconds:.3f},{piece.end_seconds:.3f},"{words}"')
    files[f"{_FOLDER}/overlays/cues.csv"] = ("\n".join(rows) + "\n").encode("utf-8")
    return Made(files=files)


def _check(workshop: Workshop, transcript: Path) -> tuple[NarrationCheck, tuple[NarrationFinding, ...]]:
    """The narration check of one transcript, and its findings after the teacher's decisions beside it."""
    from partwright.checking.narration import check_narration, decided, read_review, read_transcript

    job = workshop.prepared
    check = check_narration(
        read_transcript(transcript),
        job.part,
        job.instrument,
        plan=workshop.plan,
        bowing=workshop.bowing,
        sections=job.lesson.sections,
    )
    review = transcript.with_suffix(".review.json")
    return check, decided(check.located, read_review(review) if review.is_file() else {})


def _captions(workshop: Workshop) -> Made:
    """Captions and correction cards of each transcript in takes/."""
    from partwright.checking.narration import cards_document, corrected_captions, correction_cards
    from partwright.video import spoken_captions, srt_text, vtt_text

    files: dict[str, bytes | Path] = {}
    for transcript in workshop.transcripts:
        check, located = _check(workshop, transcript)
        captions = spoken_captions(corrected_captions(check).encode("utf-8"))
        start = f"{_FOLDER}/{transcript.stem}"
        files[f"{start}-captions.vtt"] = vtt_text(captions).encode("utf-8")
        files[f"{start}-captions.srt"] = srt_text(captions).encode("utf-8")
        files[f"{start}-cards.json"] = _json(cards_document(correction_cards(located)))
    return Made(files=files)


def _footage(workshop: Workshop) -> Made:
    """The recorded lesson with corrections, captions and fingers on it."""
    from partwright.checking.narration import corrected_captions, correction_cards
    from partwright.video import (
        Overlay,
        burn_in,
        chapters_vtt,
        description_text,
        narrated_pieces,
        read_footage,
        spoken_captions,
    )

    if not workshop.footage:
        raise InputError(
            "holds no recorded lesson",
            "Put the film into takes/, and its transcript, where there is one, beside it under the same name.",
            place=Place(file=str(workshop.folder / "takes")),
        )
    files: dict[str, bytes | Path] = {}
    remarks: list[str] = []
    for film in workshop.footage:
        footage = read_footage(film)
        transcript = next((path for path in workshop.transcripts if path.stem == film.stem), None)
        check: NarrationCheck | None = None
        cards: tuple[CorrectionCard, ...] = ()
        captions: tuple[Caption, ...] = ()
        if transcript is not None:
            check, located = _check(workshop, transcript)
            cards = correction_cards(located)
            captions = spoken_captions(corrected_captions(check).encode("utf-8"), seconds=footage.seconds)
            said = check.transcript.seconds
            if said > footage.seconds + 2:
                remarks.append(
                    f"{transcript.name} goes on to {said:.0f} s, but {film.name} ends after {footage.seconds:.0f} s: "
                    "is it the transcript of this recording? What lies beyond its end is left out"
                )
        played, remark = _played(workshop, footage)
        remarks += [remark] if remark else []
        made = narrated_pieces(
            check,
            cards,
            captions,
            plan=workshop.plan,
            instrument=workshop.prepared.instrument,
            sections=workshop.teaching.outline.sections,
            seconds=footage.seconds,
            played=played,
        )
        overlay = Overlay(footage.width, footage.height, made.pieces, hands=workshop.lesson.hands_area)
        ending = ".mp4" if footage.container == "mp4" else ".mov"
        name = f"{_FOLDER}/{film.stem}-finished{ending}"
        path = workshop.build_folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        burn_in(footage, path, overlay, captions=captions, chapters=made.chapters)
        files[name] = path
        files[f"{_FOLDER}/{film.stem}-chapters.vtt"] = chapters_vtt(made.chapters).encode("utf-8")
        about = description_text(_about(workshop, made.chapters))
        files[f"{_FOLDER}/{film.stem}-description.txt"] = about.encode("utf-8")
        remarks += footage.remarks
    return Made(files=files, remarks=tuple(remarks))


def _played(workshop: Workshop, footage: Footage) -> tuple[PlayedPieces | None, str]:
    """What is played on the film, followed through the score; None, and what to say, where nothing of it is found."""
    from partwright.checking.take import check_take, read_recording
    from partwright.video import played_pieces

    if not footage.sound:
        return None, f"{footage.path.name} has no sound, so nothing played on it can be followed"
    job = workshop.prepared
    try:
        take = check_take(read_recording(footage.path), job.part)
    except InputError as error:
        return None, f"nothing played was followed, fingers come with the words alone: {error}"
    found = played_pieces(
        take,
        plan=workshop.plan,
        bowing=workshop.bowing,
        instrument=job.instrument,
        sections=workshop.teaching.outline.sections,
        sound_begins_seconds=footage.sound_begins_seconds,
    )
    return found, ""


def _title(workshop: Workshop) -> str:
    job = workshop.prepared
    return job.credits.title or job.tune.source.stem


def _json(document: object) -> bytes:
    return (json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode("utf-8")


def _made_as(video: _Video) -> Callable[[Workshop], Made]:
    return lambda workshop: _demonstration(workshop, video)


_VIDEOS: tuple[tuple[str, str, _Video], ...] = (
    ("demonstration-slow", "the demonstration at the slowest tempo practised", _Video(file="slow", percent=0.0)),
    (
        "demonstration-constant",
        "the demonstration at thirty pictures a second, for editors",
        _Video(file="demonstration-30", variable=False),
    ),
    ("demonstration-2160", "the demonstration at 3840 × 2160", _Video(file="demonstration-2160", layout="wide-2160")),
    ("demonstration-square", "the demonstration, square", _Video(file="demonstration-square", layout="square")),
    ("demonstration-upright", "the demonstration, upright", _Video(file="demonstration-upright", layout="upright")),
)

_OVERLAYS = (
    ("overlay", "animation", "the fingers over your own film, QuickTime Animation"),
    ("overlay-prores", "prores", "the fingers over your own film, ProRes 4444"),
    ("overlay-webm", "webm", "the fingers over your own film, VP9 with alpha"),
    ("overlay-pictures", "pictures", "the fingers over your own film, as pictures"),
)


def _overlay_as(kind: str) -> Callable[[Workshop], Made]:
    return lambda workshop: _overlay(workshop, kind)


VIDEO_STEPS: tuple[Step, ...] = (
    Step(
        name="demonstration",
        words="the demonstration video",
        inputs=_SHOWN,
        make=_made_as(_Video(file="demonstration")),
    ),
    Step(
        name="demonstration-texts",
        words="captions, chapters, description and thumbnail of the demonstration",
        inputs=_TEXTS,
        make=_texts,
    ),
    *(
        Step(name=name, words=words, inputs=_SHOWN, make=_made_as(video), on_request=True)
        for name, words, video in _VIDEOS
    ),
    Step(
        name="overlay-cues",
        words="titles and positions to lay over your own film, one picture each",
        inputs=(*_SHOWN, "video"),
        make=_title_cards,
    ),
    *(
        Step(name=name, words=words, inputs=(*_SHOWN, "video"), make=_overlay_as(kind), on_request=True)
        for name, kind, words in _OVERLAYS
    ),
    Step(
        name="captions",
        words="captions and corrections of what was said",
        inputs=(*_SHOWN, "transcripts"),
        make=_captions,
        wanted=lambda workshop: bool(workshop.transcripts),
    ),
    Step(
        name="footage",
        words="the recorded lesson with corrections, captions and fingers on it",
        inputs=(*_TEXTS, "transcripts", "footage"),
        make=_footage,
        on_request=True,
    ),
)
