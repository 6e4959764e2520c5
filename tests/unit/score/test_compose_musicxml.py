"""The composer: note values, ties, accidentals, beams, and output that the MusicXML 4.0 schema accepts.

Note values and their names: MusicXML 4.0, note-type-value. Accidentals hold for their own line until the bar line,
and a tied note takes none: general music theory. Beams by the beat: common practice, no source.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from partwright.errors import ScoreError
from partwright.score.beams import beam_lines
from partwright.score.chord_text import chord_from_text
from partwright.score.composing import clef_for_range, compose_musicxml
from partwright.score.note_values import note_value, split_duration
from partwright.score.part import Pitch
from partwright.score.pieces import MOST_DIVISIONS
from partwright.score.written import (
    Tuplet,
    WrittenBar,
    WrittenEvent,
    WrittenKey,
    WrittenLyric,
    WrittenMetre,
    WrittenPart,
    WrittenScore,
    WrittenTempo,
    WrittenWords,
)
from score_checks import schema, sounds

D3 = Pitch("D", 0, 3)


def event(quarters: object, *names: str, **more: object) -> WrittenEvent:
    """`event("3/2", "F#3")`; no name is a rest."""
    alters = {"#": 1, "b": -1}
    pitches = tuple(Pitch(name[0], alters.get(name[1], 0), int(name[-1])) for name in names)
    return WrittenEvent(duration_quarters=Fraction(quarters), pitches=pitches, **more)  # type: ignore[arg-type]


def bar(*events: WrittenEvent, number: str = "1", **more: object) -> WrittenBar:
    return WrittenBar(number=number, voices=(events,), **more)  # type: ignore[arg-type]


def composed(*bars: WrittenBar, **more: object) -> etree._ElementTree:
    return compose_musicxml(WrittenScore(parts=(WrittenPart(name="Cello", bars=bars, **more),)))  # type: ignore[arg-type]


def test_every_field_at_once_is_valid_and_nothing_is_lost() -> None:
    full = event(
        "1/2",
        "C#4",
        "E4",
        ties=(True, False),
        articulations=("staccato", "accent", "breath-mark"),
        ornaments=("trill-mark", "tremolo-3"),
        technical=("up-bow", "open-string", "thumb-position", "harmonic", "snap-pizzicato"),
        fingerings=("1", "3"),
        string_numbers=(2, 1),
        fermata=True,
        arpeggiated=True,
        slur_starts=("a",),
        chord_symbols=(chord_from_text("F#m7b5/A"), chord_from_text("C7b9")),
        dynamic="mf",
        wedge="crescendo",
        tempo=WrittenTempo(tempo_qpm=Fraction(90), beat_quarters=Fraction(3, 2), words="Andante"),
        words=(WrittenWords(text="dolce", placement="below"), WrittenWords(text="A", kind="rehearsal")),
        lyrics=(WrittenLyric(text="la", syllabic="begin"), WrittenLyric(text="two", verse=2, extends=True)),
        clef="tenor",
        key=WrittenKey(alters=(("F", 1), ("B", -1))),
    )
    first = WrittenBar(
        number="0",
        implicit=True,
        aligned="end",
        voices=((event("1/2", "G3", grace="slashed"), event("1/4", "A3", grace="unslashed"), event(1, "A3")),),
        metre=WrittenMetre(beats=(3, 2), beat_type=4),
        key=WrittenKey(fifths=-3, mode="minor"),
        clef="bass",
    )
    second = WrittenBar(
        number="1",
        voices=((full, event("9/2", "C#4", slur_stops=("a",), wedge_stop=True)), (event(2, "G2"),)),
        repeat_start=True,
        repeat_end=True,
        repeat_times=3,
        ending_start="1, 2",
        ending_stop="1, 2",
        segno=True,
        coda=True,
        to_coda=True,
        fine=True,
        da_capo="D.C. al Fine",
        dal_segno="D.S. al Coda",
        new_system=True,
    )
    third = bar(event(5), number="2", free_metre=True, right_line="light-heavy", left_line="light-light")
    drums = WrittenPart(name="Drums", percussion=True, bars=(bar(event(1, "C2"), event(1, "F#2"), event(2)),))
    horn = WrittenPart(name="Horn", bars=(first, second, third), transpose_semitones=-7, midi_program=60)
    tree = compose_musicxml(
        WrittenScore(
            title="Every \x00 field",
            subtitle="of all",
            creators=(("composer", "A. Nonymous"), ("arranger", "Nobody")),
            rights=("Public domain",),
            source="made here",
            other=(("note", "kept"),),
            parts=(WrittenPart(name="Cello", bars=(first, second, third)), horn, drums),
        )
    )
    valid = schema()
    assert valid.validate(tree), valid.error_log
    tags = {element.tag for element in tree.getroot().find("part").iter()}  # type: ignore[union-attr]
    expected = (
        "grace chord tie tied slur fingering string up-bow open-string thumb-position harmonic snap-pizzicato "
        "staccato accent breath-mark trill-mark tremolo fermata arpeggiate harmony degree bass dynamics wedge "
        "metronome beat-unit-dot words rehearsal lyric extend clef key-step backup forward segno coda ending repeat "
        "senza-misura print"
    )
    assert set(expected.split()) <= tags
    assert tree.findtext("work/work-title") == "Every  field"
    assert {s.get("dacapo") for s in tree.iter("sound")} >= {"yes"}


def test_same_values_same_bytes() -> None:
    bars = (bar(event(4, "D3"), metre=WrittenMetre(), clef="bass"),)
    assert etree.tostring(composed(*bars)) == etree.tostring(composed(*bars))


@given(st.lists(st.fractions(min_value=Fraction(1, 16), max_value=9, max_denominator=16), min_size=1, max_size=8))
def test_split_notes_sound_as_long_as_they_were_given(lengths: list[Fraction]) -> None:
    lengths = [Fraction(round(length * 16), 16) for length in lengths]
    tree = composed(bar(*(event(length, "D3" if k % 2 else "E3") for k, length in enumerate(lengths))))
    heard = sounds(tree)
    assert [sound[1] for sound in heard] == lengths
    for note in tree.iter("note"):
        assert note.findtext("type") is not None


@given(
    st.integers(1, 400).map(lambda k: Fraction(k, 32)),
    st.integers(0, 127).map(lambda k: Fraction(k, 32)),
    st.sampled_from([("2", "1", "1/2", "1/4"), ("3/2", "1/2"), (), ("1",)]),
)
def test_every_split_is_printable_and_complete(length: Fraction, offset: Fraction, points: tuple[str, ...]) -> None:
    strong = tuple(Fraction(point) for point in points)
    pieces = split_duration(length, offset_quarters=offset, strong_points=strong, most_dots=2)
    assert sum(pieces) == length
    assert all(note_value(piece, most_dots=2) for piece in pieces)


def test_long_notes_are_cut_at_the_middle_of_the_bar() -> None:
    """Five eighths from the second eighth of a 4/4 bar: three to the middle, then two. Common practice, no source."""
    points = (Fraction(2), Fraction(1), Fraction(1, 2))
    pieces = split_duration(Fraction(5, 2), offset_quarters=Fraction(1, 2), strong_points=points)
    assert pieces == (Fraction(3, 2), Fraction(1))


def test_accidentals_hold_for_the_bar_and_come_back_after_it() -> None:
    tree = composed(
        bar(event(1, "F#3"), event(1, "F3"), event(1, "F3"), event(1, "F#4"), key=WrittenKey(fifths=1)),
        bar(event(1, "F#3"), event(1, "B3"), event(1, "Bb3"), event(1, "B3"), number="2"),
        bar(event(1, "Bb3", ties=(True,)), number="3"),
        bar(event(1, "Bb3"), event(1, "Bb3"), number="4"),
    )
    printed = [note.findtext("accidental", "") for note in tree.iter("note")]
    assert printed == ["", "natural", "", "", "", "", "flat", "natural", "flat", "", "flat"]


def test_ties_need_the_same_pitch_next() -> None:
    tree = composed(bar(event(1, "D3", ties=(True,)), event(1, "E3", ties=(True,)), event(1), event(1, "E3")))
    assert not list(tree.iter("tie"))


def test_slurs_need_both_ends() -> None:
    tree = composed(bar(event(1, "D3", slur_starts=("a", "b")), event(1, "E3", slur_stops=("b", "c"))))
    assert [slur.get("type") for slur in tree.iter("slur")] == ["start", "stop"]


@pytest.mark.parametrize(
    ("metre", "lengths", "beams"),
    [
        ((4, 4), ["1/2"] * 8, "begin continue continue end begin continue continue end"),
        ((3, 4), ["1/2"] * 6, "begin continue continue continue continue end"),
        ((6, 8), ["1/2"] * 6, "begin continue end begin continue end"),
        ((4, 4), ["1/2", "1/4", "1/4", "1/2", "1/2", 2], "begin continue end begin end -"),
        ((2, 4), ["3/4", "1/4", 1], "begin end -"),
        ((7, 8), ["1/2"] * 7, "begin end begin end begin continue end"),  # no quaver is left alone
        ((5, 8), ["1/2"] * 5, "begin end begin continue end"),
        ((7, 16), ["1/4"] * 7, "begin continue continue end begin continue end"),
    ],
)
def test_beams_follow_the_metre(metre: tuple[int, int], lengths: list[object], beams: str) -> None:
    """Common practice, no source."""
    notes = [event(length, "D3") for length in lengths]
    tree = composed(bar(*notes, metre=WrittenMetre(beats=(metre[0],), beat_type=metre[1])))
    assert [note.findtext("beam[@number='1']", "-") for note in tree.iter("note")] == beams.split()


def test_hooks() -> None:
    assert beam_lines([1, 2]) == [["begin"], ["end", "backward hook"]]
    assert beam_lines([2, 1, 2]) == [["begin", "forward hook"], ["continue"], ["end", "backward hook"]]


def test_tuplets_are_bracketed_and_last_what_they_should() -> None:
    ratio = {"actual": 3, "normal": 2}
    tree = composed(
        bar(
            event("1/3", "D3", tuplet=Tuplet(**ratio, start=True)),
            event("2/3", "E3", tuplet=Tuplet(**ratio, stop=True)),
            event(3, "F3"),
        )
    )
    assert [note.findtext("type") for note in tree.iter("note")] == ["eighth", "quarter", "half"]
    assert [t.get("type") for t in tree.iter("tuplet")] == ["start", "stop"]
    assert [sound[1] for sound in sounds(tree)] == [Fraction(1, 3), Fraction(2, 3), Fraction(3)]


def test_whole_bar_rests_in_any_metre() -> None:
    tree = composed(bar(event("5/2"), metre=WrittenMetre(beats=(5,), beat_type=8)))
    assert tree.find(".//rest").get("measure") == "yes"  # type: ignore[union-attr]
    assert tree.findtext(".//duration") == "5"


def test_transposing_parts_are_written_where_they_are_read() -> None:
    """Horn in F: written a fifth above. Double bass: an octave. General music theory."""
    horn = composed(bar(event(4, "C4"), clef="treble"), transpose_semitones=-7)
    assert horn.find(".//pitch/step").text == "G"  # type: ignore[union-attr]
    bass = composed(bar(event(4, "E1"), clef="bass"), transpose_semitones=-12)
    assert bass.findtext(".//pitch/octave") == "2"
    assert bass.findtext(".//transpose/octave-change") == "-1"


@pytest.mark.parametrize(
    ("text", "kind", "degrees"),
    [
        ("Am7", "minor-seventh", ()),
        ("G", "major", ()),
        ("Bdim7", "diminished-seventh", ()),
        ("Bm7b5", "half-diminished", ()),
        ("C7b9", "dominant", ((9, -1, "add"),)),
        ("Gsus4", "suspended-fourth", ()),
        ("D6/9", "major-sixth", ((9, 0, "add"),)),
        ("E7#5", "dominant", ((5, 1, "alter"),)),
    ],
)
def test_chord_texts(text: str, kind: str, degrees: tuple[object, ...]) -> None:
    """Kinds: MusicXML 4.0, kind-value."""
    found = chord_from_text(text)
    assert found is not None
    assert (found.kind, found.degrees) == (kind, degrees)


@pytest.mark.parametrize("text", ["", "4", "hello", "H7", "A!", "SEGUE", "D.C.", "dolce", "/B", "Am7/"])
def test_no_chord_texts(text: str) -> None:
    assert chord_from_text(text) is None


def test_clef_for_range() -> None:
    assert clef_for_range([36, 45, 50]) == "bass"
    assert clef_for_range([67, 72]) == "treble"
    assert clef_for_range([]) == "treble"


def test_what_cannot_be_printed_is_said_with_its_bar() -> None:
    with pytest.raises(ScoreError, match="bar 7: a note of 1/5 quarters cannot be printed"):
        composed(bar(event("1/5", "D3"), number="7"))
    with pytest.raises(ScoreError, match=f"below {MOST_DIVISIONS}"):
        composed(bar(event(Fraction(1, 8192), "D3"), event(Fraction(1, 3), "D3", tuplet=Tuplet(actual=3, normal=2))))
    with pytest.raises(ScoreError, match="bar 1: the note C-1 lies outside"):
        composed(bar(WrittenEvent(duration_quarters=Fraction(1), pitches=(Pitch("C", 0, -1),))))
    with pytest.raises(ScoreError, match="no bars"):
        compose_musicxml(WrittenScore(parts=()))
    with pytest.raises(ScoreError, match="no duration"):
        composed(bar(event(0, "D3")))
