"""Single elements of a MusicXML 4.0 tree: attributes, directions, chord symbols, bar lines, lyrics.

Each function writes one thing from its plain value below a parent; what stands between them is for `part_writer`.
"""

from __future__ import annotations

import dataclasses
import re
from fractions import Fraction

from lxml import etree

from partwright.score.note_values import note_value
from partwright.score.part import Pitch
from partwright.score.written import (
    WrittenBar,
    WrittenChord,
    WrittenKey,
    WrittenLyric,
    WrittenTempo,
    WrittenWords,
)

__all__ = [
    "CLEFS",
    "bar_alters",
    "clean",
    "decimal_text",
    "sub",
    "write_clef",
    "write_coda",
    "write_harmony",
    "write_jump",
    "write_key",
    "write_left_line",
    "write_lyric",
    "write_right_line",
    "write_segno",
    "write_tempo",
    "write_transpose",
    "write_words",
    "written_pitch",
]

CLEFS: dict[str, tuple[str, int, int]] = {
    "treble": ("G", 2, 0),
    "treble-8": ("G", 2, -1),
    "treble+8": ("G", 2, 1),
    "bass": ("F", 4, 0),
    "bass-8": ("F", 4, -1),
    "bass+8": ("F", 4, 1),
    "alto": ("C", 3, 0),
    "alto-8": ("C", 3, -1),
    "alto+8": ("C", 3, 1),
    "tenor": ("C", 4, 0),
    "tenor-8": ("C", 4, -1),
    "tenor+8": ("C", 4, 1),
    "soprano": ("C", 1, 0),
    "mezzosoprano": ("C", 2, 0),
    "baritone": ("F", 3, 0),
    "french violin": ("G", 1, 0),
    "subbass": ("F", 5, 0),
    "percussion": ("percussion", 2, 0),
}
"""Clef name to MusicXML sign, line and octave change."""

_STEPS = "CDEFGAB"
_SEMITONES = (0, 2, 4, 5, 7, 9, 11)
_SHARP_ORDER = "FCGDAEB"
_MODES = {"major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "aeolian", "ionian", "locrian"}
# Semitones within an octave to steps, for transposing instruments: the usual names of their intervals.
_DIATONIC = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def sub(parent: etree._Element, tag: str, text: str | None = None, **attributes: str) -> etree._Element:
    """A new element below `parent`; attributes with hyphens are written with underscores."""
    element = etree.SubElement(parent, tag, {key.rstrip("_").replace("_", "-"): v for key, v in attributes.items()})
    if text is not None:
        element.text = clean(text)
    return element


def clean(text: str) -> str:
    """Text without the characters XML 1.0 forbids."""
    return _NOT_XML.sub("", text)


def decimal_text(value: Fraction) -> str:
    """A decimal as MusicXML wants it: whole where it can be, four places otherwise."""
    if value.denominator == 1:
        return str(value.numerator)
    return f"{float(value):.4f}".rstrip("0").rstrip(".")


def bar_alters(key: WrittenKey) -> dict[str, Fraction]:
    """Step to semitones as the key signature says."""
    if key.alters:
        return {step: Fraction(alter) for step, alter in key.alters}
    sharps = key.fifths > 0
    order = _SHARP_ORDER if sharps else _SHARP_ORDER[::-1]
    alters: dict[str, Fraction] = {}
    for k in range(abs(key.fifths)):
        step = order[k % 7]
        alters[step] = alters.get(step, Fraction(0)) + (1 if sharps else -1)
    return alters


def write_key(attributes: etree._Element, key: WrittenKey) -> None:
    """A key signature, by fifths or by single steps."""
    element = sub(attributes, "key")
    if key.alters:
        for step, alter in key.alters:
            sub(element, "key-step", step)
            sub(element, "key-alter", str(alter))
        return
    sub(element, "fifths", str(key.fifths))
    if key.mode:
        sub(element, "mode", key.mode if key.mode in _MODES else "none")


def write_clef(attributes: etree._Element, name: str) -> None:
    """A clef by its name in `CLEFS`."""
    sign, line, octave_change = CLEFS[name]
    clef = sub(attributes, "clef")
    sub(clef, "sign", sign)
    sub(clef, "line", str(line))
    if octave_change:
        sub(clef, "clef-octave-change", str(octave_change))


def _transposition(semitones: int) -> tuple[int, int]:
    """(diatonic steps, semitones) of a transposition, both with its sign."""
    octaves, within = divmod(abs(semitones), 12)
    steps = 7 * octaves + _DIATONIC[within]
    return (steps, semitones) if semitones >= 0 else (-steps, semitones)


def written_pitch(sounding: Pitch, transpose_semitones: int) -> Pitch:
    """The pitch as a transposing instrument reads it."""
    if transpose_semitones == 0:
        return sounding
    steps, semitones = _transposition(transpose_semitones)
    place = 7 * sounding.octave + _STEPS.index(sounding.step) - steps
    octave, index = divmod(place, 7)
    natural = 12 * octave + _SEMITONES[index]
    target = 12 * sounding.octave + _SEMITONES[_STEPS.index(sounding.step)] + sounding.alter - semitones
    return dataclasses.replace(sounding, step=_STEPS[index], alter=target - natural, octave=octave)


def write_transpose(attributes: etree._Element, transpose_semitones: int) -> None:
    """How a transposing instrument sounds."""
    steps, semitones = _transposition(transpose_semitones)
    octaves = int(semitones / 12)
    element = sub(attributes, "transpose")
    sub(element, "diatonic", str(steps - 7 * octaves))
    sub(element, "chromatic", str(semitones - 12 * octaves))
    if octaves:
        sub(element, "octave-change", str(octaves))


def write_tempo(measure: etree._Element, tempo: WrittenTempo) -> None:
    """A tempo in words, as a metronome mark and for playback."""
    direction = sub(measure, "direction", placement="above")
    if tempo.words:
        sub(sub(direction, "direction-type"), "words", tempo.words, font_weight="bold")
    qpm = tempo.tempo_qpm
    value = note_value(tempo.beat_quarters, most_dots=2)
    shown = qpm is not None and tempo.shown and value is not None
    if qpm is not None and shown and value is not None:
        metronome = sub(sub(direction, "direction-type"), "metronome")
        sub(metronome, "beat-unit", value[0])
        for _ in range(value[1]):
            sub(metronome, "beat-unit-dot")
        sub(metronome, "per-minute", decimal_text(qpm / tempo.beat_quarters))
    elif not tempo.words:
        sub(sub(direction, "direction-type"), "words", "")
    if qpm is not None:
        sub(direction, "sound", tempo=decimal_text(qpm))


def write_words(measure: etree._Element, words: WrittenWords) -> None:
    """Words above or below the staff."""
    direction = sub(measure, "direction", placement=words.placement)
    sub(sub(direction, "direction-type"), words.kind, words.text)


def write_segno(measure: etree._Element) -> None:
    """A segno sign."""
    direction = sub(measure, "direction", placement="above")
    sub(sub(direction, "direction-type"), "segno")
    sub(direction, "sound", segno="segno")


def write_coda(measure: etree._Element) -> None:
    """A coda sign."""
    direction = sub(measure, "direction", placement="above")
    sub(sub(direction, "direction-type"), "coda")
    sub(direction, "sound", coda="coda")


def write_jump(measure: etree._Element, words: str, attribute: str, value: str) -> None:
    """Words that send the player elsewhere, and what they mean."""
    direction = sub(measure, "direction", placement="above")
    sub(sub(direction, "direction-type"), "words", words)
    sub(direction, "sound", **{attribute: value})


def write_harmony(measure: etree._Element, chord: WrittenChord) -> None:
    """A chord symbol."""
    harmony = sub(measure, "harmony")
    root = sub(harmony, "root")
    sub(root, "root-step", chord.root_step)
    if chord.root_alter:
        sub(root, "root-alter", str(chord.root_alter))
    kind = sub(harmony, "kind", chord.kind)
    if chord.kind_text:
        kind.set("text", clean(chord.kind_text))
    if chord.bass_step:
        bass = sub(harmony, "bass")
        sub(bass, "bass-step", chord.bass_step)
        if chord.bass_alter:
            sub(bass, "bass-alter", str(chord.bass_alter))
    for value, alter, what in chord.degrees:
        degree = sub(harmony, "degree")
        sub(degree, "degree-value", str(value))
        sub(degree, "degree-alter", str(alter))
        sub(degree, "degree-type", what)


def write_lyric(note: etree._Element, lyric: WrittenLyric) -> None:
    """A syllable below a note."""
    element = sub(note, "lyric", number=str(lyric.verse))
    if lyric.text:
        sub(element, "syllabic", lyric.syllabic)
        sub(element, "text", lyric.text)
    if lyric.extends or not lyric.text:
        sub(element, "extend")


def write_left_line(measure: etree._Element, bar: WrittenBar) -> None:
    """What stands at the beginning of a bar: a repeat sign, an ending, a line."""
    if not (bar.repeat_start or bar.ending_start or bar.left_line):
        return
    line = sub(measure, "barline", location="left")
    if bar.repeat_start or bar.left_line:
        sub(line, "bar-style", "heavy-light" if bar.repeat_start else bar.left_line)
    if bar.ending_start:
        sub(line, "ending", number=bar.ending_start, type="start")
    if bar.repeat_start:
        sub(line, "repeat", direction="forward")


def write_right_line(measure: etree._Element, bar: WrittenBar) -> None:
    """What stands at the end of a bar."""
    if not (bar.repeat_end or bar.ending_stop or bar.right_line):
        return
    line = sub(measure, "barline", location="right")
    if bar.repeat_end or bar.right_line:
        sub(line, "bar-style", "light-heavy" if bar.repeat_end else bar.right_line)
    if bar.ending_stop:
        sub(line, "ending", number=bar.ending_stop, type="discontinue" if bar.ending_open else "stop")
    if bar.repeat_end:
        repeat = sub(line, "repeat", direction="backward")
        if bar.repeat_times != 2:
            repeat.set("times", str(bar.repeat_times))
