"""Sound: guide, accompaniment, click, slow versions, loudness, and the timing map that everything else reads.

>>> from partwright.sound import midi_hz
>>> midi_hz(69)
440.0
"""

from typing import TYPE_CHECKING

from partwright.lazy import lazy_names

if TYPE_CHECKING:
    from partwright.sound.accompaniment import (
        AccompanimentNote,
        accompaniment_from_chords,
        accompaniment_from_parts,
        midi_program,
        render_accompaniment,
        voice_for,
    )
    from partwright.sound.audio_io import FORMATS, Tags, encode_audio, encode_stream, format_of, read_pieces
    from partwright.sound.bowed import bowed_voice
    from partwright.sound.cautions import hearing_caution
    from partwright.sound.chords import plain_chords
    from partwright.sound.clock import Clock, make_clock
    from partwright.sound.cover import cover_png
    from partwright.sound.font_io import check_font, font_remark, render_with_font
    from partwright.sound.guide import SAMPLE_RATE_HZ, render_guide
    from partwright.sound.heard_key_io import HeardKey, heard_key
    from partwright.sound.loudness import Limiter, Meter, integrated_lufs, level_gain, short_term_lufs, true_peak_dbtp
    from partwright.sound.metronome import clicks, render_click
    from partwright.sound.midi_file import midi_bytes
    from partwright.sound.mixing import MIXES, PRACTICE_LUFS, VIDEO_LUFS, Levelled, levelled, mix, stereo_stems
    from partwright.sound.music import STEMS, Music, key_note, other_voices, passage_of_bars, render_stems
    from partwright.sound.page import practice_page
    from partwright.sound.performance import GuideNote, Run, perform
    from partwright.sound.practice import (
        Order,
        Rung,
        SoundFile,
        make_orders,
        order_key,
        order_timings,
        timings_document,
    )
    from partwright.sound.slow_io import SPEED_RANGE, Slowed, slow_file, stretch_pieces
    from partwright.sound.spoken_io import check_speaker, render_count, spoken_onset
    from partwright.sound.tempering import Temperament, frequency_hz, midi_hz, temperament
    from partwright.sound.timing import TimedBar, TimedBeat, TimedNote, TimingMap, make_timing, timing_document

_HOMES: dict[str, tuple[str, ...]] = {
    "accompaniment": (
        "AccompanimentNote",
        "accompaniment_from_chords",
        "accompaniment_from_parts",
        "midi_program",
        "render_accompaniment",
        "voice_for",
    ),
    "audio_io": ("FORMATS", "Tags", "encode_audio", "encode_stream", "format_of", "read_pieces"),
    "bowed": ("bowed_voice",),
    "cautions": ("hearing_caution",),
    "chords": ("plain_chords",),
    "clock": ("Clock", "make_clock"),
    "cover": ("cover_png",),
    "font_io": ("check_font", "font_remark", "render_with_font"),
    "guide": ("SAMPLE_RATE_HZ", "render_guide"),
    "loudness": ("Limiter", "Meter", "integrated_lufs", "level_gain", "short_term_lufs", "true_peak_dbtp"),
    "metronome": ("clicks", "render_click"),
    "midi_file": ("midi_bytes",),
    "mixing": ("MIXES", "PRACTICE_LUFS", "VIDEO_LUFS", "Levelled", "levelled", "mix", "stereo_stems"),
    "music": ("STEMS", "Music", "key_note", "other_voices", "passage_of_bars", "render_stems"),
    "performance": ("GuideNote", "Run", "perform"),
    "practice": ("Order", "Rung", "SoundFile", "make_orders", "order_key", "order_timings", "timings_document"),
    "page": ("practice_page",),
    "heard_key_io": ("HeardKey", "heard_key"),
    "slow_io": ("SPEED_RANGE", "Slowed", "slow_file", "stretch_pieces"),
    "spoken_io": ("check_speaker", "render_count", "spoken_onset"),
    "tempering": ("Temperament", "frequency_hz", "midi_hz", "temperament"),
    "timing": ("TimedBar", "TimedBeat", "TimedNote", "TimingMap", "make_timing", "timing_document"),
}

__getattr__ = lazy_names(__name__, _HOMES)

__all__ = [
    "FORMATS",
    "MIXES",
    "PRACTICE_LUFS",
    "SAMPLE_RATE_HZ",
    "SPEED_RANGE",
    "STEMS",
    "VIDEO_LUFS",
    "AccompanimentNote",
    "Clock",
    "GuideNote",
    "HeardKey",
    "Levelled",
    "Limiter",
    "Meter",
    "Music",
    "Order",
    "Run",
    "Rung",
    "Slowed",
    "SoundFile",
    "Tags",
    "Temperament",
    "TimedBar",
    "TimedBeat",
    "TimedNote",
    "TimingMap",
    "accompaniment_from_chords",
    "accompaniment_from_parts",
    "bowed_voice",
    "check_font",
    "check_speaker",
    "clicks",
    "cover_png",
    "encode_audio",
    "encode_stream",
    "font_remark",
    "format_of",
    "frequency_hz",
    "heard_key",
    "hearing_caution",
    "integrated_lufs",
    "key_note",
    "level_gain",
    "levelled",
    "make_clock",
    "make_orders",
    "make_timing",
    "midi_bytes",
    "midi_hz",
    "midi_program",
    "mix",
    "order_key",
    "order_timings",
    "other_voices",
    "passage_of_bars",
    "perform",
    "plain_chords",
    "practice_page",
    "read_pieces",
    "render_accompaniment",
    "render_click",
    "render_count",
    "render_guide",
    "render_stems",
    "render_with_font",
    "short_term_lufs",
    "slow_file",
    "spoken_onset",
    "stereo_stems",
    "stretch_pieces",
    "temperament",
    "timing_document",
    "timings_document",
    "true_peak_dbtp",
    "voice_for",
]
