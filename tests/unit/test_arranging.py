"""Edges of arranging: spelling, clefs, what is written out, single rules, bad chords, empty bars."""

from __future__ import annotations

import dataclasses
from fractions import Fraction
from pathlib import Path

import pytest

from made_parts import part_of
from made_tunes import small_tune
from partwright.arranging import (
    Harmony,
    accompaniment_score,
    accompany,
    breaches,
    clefs_for,
    interval_to,
    judge_level,
    make_version,
    mode_of,
    move_part,
    parse_key,
    propose_chords,
    second_part,
    style_for,
    tonic_of,
    unread_chords,
    written_part,
    written_score,
    written_tune,
)
from partwright.arranging.accompaniment import style_table
from partwright.arranging.clefs import ledger_lines
from partwright.arranging.rewriting import Step
from partwright.errors import InputError
from partwright.instrument import load_instrument
from partwright.score import ChordSymbol, Note, Part, Pitch, compose_musicxml, read_tune

CELLO = load_instrument("cello")


def read(tmp_path: Path, text: str) -> Part:
    path = tmp_path / "tune.musicxml"
    path.write_text(text, encoding="utf-8")
    return read_tune(path).part


def with_chords(part: Part, *chords: tuple[int, str, str]) -> Part:
    """Chords as (quarters from the start, root letter, kind)."""
    symbols = []
    for onset, root, kind in chords:
        bar = part.bar_at(Fraction(onset))
        symbols.append(
            ChordSymbol(
                onset_quarters=Fraction(onset), bar_index=bar.index, bar=bar.number,
                beat=1 + Fraction(onset) - bar.start_quarters, text=root, root_step=root[0],
                root_alter={"b": -1, "#": 1}.get(root[1:2], 0), kind=kind,
            )
        )  # fmt: skip
    return dataclasses.replace(part, chord_symbols=tuple(symbols))


# Keys and spelling ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fifths", "mode", "tonic"),
    [(0, "major", "C"), (6, "major", "F#"), (-6, "major", "Gb"), (3, "minor", "F#"), (-3, "minor", "C"),
     (0, "dorian", "D"), (0, "mixolydian", "G"), (7, "major", "C#"), (-7, "minor", "Ab")],
)  # fmt: skip
def test_tonic_of_a_signature(fifths: int, mode: str, tonic: str) -> None:
    """General music theory: the circle of fifths, and the modes on the white keys."""
    assert tonic_of(fifths, mode) == tonic


@pytest.mark.parametrize("fifths", range(-7, 8))
@pytest.mark.parametrize("semitones", range(-12, 13))
def test_no_signature_grows_beyond_six(fifths: int, semitones: int) -> None:
    letters = interval_to([fifths], semitones)
    assert abs(fifths + 7 * semitones - 12 * letters) <= (6 if semitones % 12 else 7)


@pytest.mark.parametrize("text", ["", "H", "G sharp flat", "7", "major"])
def test_what_is_no_key_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="is no key"):
        parse_key(text)


@pytest.mark.parametrize(("text", "key"), [("G", (7, "")), ("eb minor", (3, "minor")), ("F#m", (6, "minor")),
                                           ("B-flat major", (10, "major"))])  # fmt: skip
def test_keys_as_people_write_them(text: str, key: tuple[int, str]) -> None:
    assert parse_key(text) == key


def test_double_sharp_stays_only_where_it_leads(tmp_path: Path) -> None:
    """The leading note of G sharp minor is F double sharp (general music theory); elsewhere G is written."""
    part = part_of([62, 61, 62, 69], quarters=1)  # D C# D A: the leading note of D
    moved = move_part(dataclasses.replace(part, bars=tuple(_in_d_minor(part))), 6)
    assert [n.pitch.name for n in moved.notes][:3] == ["G#4", "F##4", "G#4"]
    leap = move_part(dataclasses.replace(part_of([62, 61, 69, 69], quarters=1), bars=tuple(_in_d_minor(part))), 6)
    assert [n.pitch.name for n in leap.notes][1] == "G4"


def _in_d_minor(part: Part) -> list[object]:
    return [dataclasses.replace(bar, fifths=-1, mode="minor") for bar in part.bars]


def test_key_changes_stay_within_seven() -> None:
    part = part_of([60] * 8, quarters=1)
    bars = (dataclasses.replace(part.bars[0], fifths=-5), dataclasses.replace(part.bars[1], fifths=6))
    for semitones in range(-11, 12):
        moved = move_part(dataclasses.replace(part, bars=bars), semitones)
        assert all(abs(bar.fifths) <= 7 for bar in moved.bars)


def test_chord_symbols_move_with_their_bass() -> None:
    part = with_chords(part_of([60] * 4, quarters=1), (0, "Bb", "minor-seventh"))
    slash = dataclasses.replace(part.chord_symbols[0], text="Bbm7/Db", bass_step="D", bass_alter=-1)
    moved = move_part(dataclasses.replace(part, chord_symbols=(slash,)), 2)
    assert moved.chord_symbols[0].text == "Cm7/Eb"


def test_mode_is_heard_where_the_source_is_silent() -> None:
    assert mode_of(part_of([57, 59, 60, 62, 64, 62, 60, 59, 57, 64, 60, 57], quarters=1)) == "minor"
    assert mode_of(part_of([60, 62, 64, 65, 67, 65, 64, 62, 60, 67, 64, 60], quarters=1)) == "major"


# Written out ----------------------------------------------------------------------------------------------------------


def test_ledger_lines_as_printed() -> None:
    """General music theory: middle C has one in bass and treble; the cello's C two below the bass staff."""
    assert ledger_lines(Pitch("C", 0, 4), "bass") == ledger_lines(Pitch("C", 0, 4), "treble") == 1
    assert ledger_lines(Pitch("C", 0, 2), "bass") == 2
    assert ledger_lines(Pitch("A", 0, 4), "tenor") == 1


def test_clef_follows_register_and_level() -> None:
    high = part_of([69, 71, 72, 71] * 4, quarters=1)
    low = part_of([43, 45, 47, 48] * 4, quarters=1)
    assert set(clefs_for(low, ("bass", "tenor", "treble"))) == {"bass"}
    assert "bass" not in clefs_for(high, ("bass", "tenor", "treble"))
    assert set(clefs_for(high, CELLO.levels["beginner"].clefs)) == {"bass"}


def test_chord_over_a_held_note_is_kept() -> None:
    part = with_chords(part_of([48, 55], quarters=4), (0, "C", "major"), (2, "F", "major"), (4, "G", "dominant"))
    made = written_tune(written_score([written_part(part)], part), name="held.musicxml").part
    assert [(c.root_step, c.onset_quarters) for c in made.chord_symbols] == [("C", 0), ("F", 2), ("G", 4)]
    assert len(made.notes) == 2


def test_triplets_keep_their_brackets(tmp_path: Path) -> None:
    third = Fraction(1, 3)
    part = part_of([48, 50, 52, 53, 55], quarters=[third, third, third, 1, 2])
    made = written_tune(written_score([written_part(part)], part), name="triplets.musicxml").part
    assert [n.tuplet for n in made.notes] == [(3, 2)] * 3 + [None] * 2


# Rules ----------------------------------------------------------------------------------------------------------------


def steps_of(part: Part, level: str = "beginner") -> dict[str, Step]:
    return {step.rule: step for step in make_version(part, CELLO, level=level).steps}


def test_fast_equal_notes_are_halved() -> None:
    version = make_version(part_of([50] * 16, quarters=Fraction(1, 4), tempo_qpm=100), CELLO, level="beginner")
    assert [n.duration_quarters for n in version.part.notes] == [Fraction(1, 2)] * 8
    assert version.steps[0].rule == "repeated notes"
    assert "equal notes a second" in version.steps[0].why


def test_syncopation_is_straightened() -> None:
    half = Fraction(1, 2)
    part = part_of([50, 52, 54, 55, 57], quarters=[half, 1, half, 1, 1])
    version = make_version(part, CELLO, level="beginner")
    assert [n.onset_quarters for n in version.part.notes] == [0, 1, Fraction(3, 2), 2, 3]
    assert sum(n.duration_quarters for n in version.part.notes) == 4
    assert "syncopation" not in steps_of(part, "intermediate")


def test_double_stops_become_the_tune() -> None:
    version = make_version(part_of([(43, 50), (45, 52), 54, 55], quarters=1), CELLO, level="beginner")
    assert [n.midi for n in version.part.notes] == [50, 52, 54, 55]


def test_graces_go_out_for_beginners() -> None:
    part = part_of([50, 52, 54, 55], quarters=1)
    grace = dataclasses.replace(part.notes[1], id="g", duration_quarters=Fraction(0), grace="slashed", index=1)
    notes = [part.notes[0], grace, *part.notes[1:]]
    decorated = dataclasses.replace(part, notes=tuple(dataclasses.replace(n, index=k) for k, n in enumerate(notes)))
    assert not [n for n in make_version(decorated, CELLO, level="beginner").part.notes if n.grace]
    assert [n for n in make_version(decorated, CELLO, level="intermediate").part.notes if n.grace]


def test_whole_phrase_moves_by_an_octave_and_says_why() -> None:
    part = part_of([50, 52, 54, 55, 69, 71, 72, 69, 50, 52, 54, 50], quarters=1)
    version = make_version(part, CELLO, level="beginner", phrases=[(0, 3), (4, 7), (8, 11)])
    assert [n.midi for n in version.part.notes][4:8] == [57, 59, 60, 57]
    step = next(step for step in version.steps if step.rule == "octave")
    assert step.name == "octave 2"
    assert "A4 in bar 2" in step.why


def test_unknown_undo_is_remarked() -> None:
    version = make_version(part_of([50, 52], quarters=2), CELLO, level="beginner", undo=["octave 99"])
    assert any("octave 99" in text for text in version.remarks)


def test_judge_is_silent_where_nothing_holds() -> None:
    assert judge_level(part_of([(36, 38, 40), 50], quarters=2), CELLO) is None


# Chords ---------------------------------------------------------------------------------------------------------------


def test_chords_that_cannot_be_read_are_named_and_kept(tmp_path: Path) -> None:
    part = part_of([48, 50, 52, 53], quarters=1)
    odd = ChordSymbol(
        onset_quarters=Fraction(0), bar_index=0, bar="1", beat=Fraction(1), text="Zorp", root_step="", kind=""
    )  # fmt: skip
    part = dataclasses.replace(part, chord_symbols=(odd,))
    assert 'bar 1, beat 1: "Zorp"' in unread_chords(part)[0]
    made = written_tune(written_score([written_part(part)], part), name="odd.musicxml").part
    assert "Zorp" in [d.text for d in made.directions]


def test_without_chords_there_is_nothing_to_accompany() -> None:
    part = part_of([48, 50], quarters=2)
    with pytest.raises(InputError, match="no chord symbols"):
        accompany(part)
    with pytest.raises(InputError, match="no chord symbols"):
        second_part(part, CELLO)


def test_plain_cadence_is_proposed() -> None:
    """C E G, F A, G B D, C: the primary triads (Prout 1889, from memory)."""
    tune = part_of([48, 52, 55, 52, 53, 57, 53, 57, 55, 59, 50, 55, 48], quarters=[1] * 12 + [4])
    symbols = propose_chords(tune).symbols
    assert next(s.text for s in symbols if s.beat == 1) == "C"
    assert symbols[-1].text == "C"
    by_bar = {s.bar: s.root_step for s in symbols}
    assert by_bar["2"] == "F"
    assert by_bar["3"] == "G"


def test_empty_bars_get_chords_and_no_second_voice(tmp_path: Path) -> None:
    part = read(tmp_path, small_tune("C3:1 E3:1 G3:2", "r:4", "B2:1 D3:1 G2:2", "C3:4"))
    harmony = Harmony(part, propose_chords(part).symbols)
    made = second_part(part, CELLO, kind="bass", level="beginner", harmony=harmony)
    assert {n.bar for n in made.part.notes} == {"1", "3", "4"}
    assert accompany(part, harmony=harmony).bass.notes
    assert make_version(part, CELLO, level="advanced", harmony=harmony).part.bars == part.bars


def test_a_voice_in_parallel_fifths_is_caught() -> None:
    tune = with_chords(part_of([60, 62, 64, 65], quarters=2), (0, "F", "major"))
    below = part_of([53, 55, 57, 58], quarters=2)
    found = breaches(tune, below, Harmony(tune))
    assert {b.rule for b in found} >= {"parallel fifths"}
    above = part_of([72, 74, 76, 77], quarters=2)
    assert "crossing" in {b.rule for b in breaches(tune, above, Harmony(tune))}
    foreign = part_of([54, 50, 46, 49], quarters=2)
    assert "foreign on a strong beat" in {b.rule for b in breaches(tune, foreign, Harmony(tune))}
    leaping = part_of([36, 43, 50, 57], quarters=2)
    assert "leap not turned" in {b.rule for b in breaches(tune, leaping, Harmony(tune))}


def test_every_style_writes_a_score_in_its_metre() -> None:
    for name, style in style_table().items():
        for metre in style.metres or ("4/4",):
            beats, beat_type = map(int, metre.split("/"))
            part = with_chords(_in_metre(beats, beat_type), (0, "C", "major"), (3, "G", "dominant"))
            made = accompany(part, style=name)
            assert made.style == name
            compose_musicxml(accompaniment_score(made, part))


def test_style_by_metre() -> None:
    assert style_for(_in_metre(3, 4)).name == "waltz"
    assert style_for(_in_metre(6, 8)).name == "lilt"
    assert style_for(_in_metre(2, 4), "straight").name == "straight two"
    assert style_for(_in_metre(5, 4)).name == "held"
    with pytest.raises(InputError, match="no style"):
        style_for(_in_metre(3, 4), "polka")


def _in_metre(beats: int, beat_type: int) -> Part:
    length = Fraction(4 * beats, beat_type)
    part = part_of([48, 50, 52], quarters=1)
    bars = tuple(
        dataclasses.replace(
            part.bars[0], index=k, number=str(k + 1), start_quarters=k * length, length_quarters=length,
            nominal_quarters=length, beats=beats, beat_type=beat_type,
        )
        for k in range(3)
    )  # fmt: skip
    notes: list[Note] = [
        dataclasses.replace(
            part.notes[0], id=f"n{k}", index=k, bar_index=k, bar=str(k + 1), onset_quarters=k * length,
            duration_quarters=length, beat=Fraction(1),
        )
        for k in range(3)
    ]  # fmt: skip
    return dataclasses.replace(part, bars=bars, notes=tuple(notes))
