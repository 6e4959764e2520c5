"""What stands on and between the notes: each check names the MusicXML 4.0 element whose definition it follows,
or says that the rule is common practice."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from made_scores import HEAD, bar, note, read, score
from partwright.score import Note, Part, find_faults

QUARTERS = "".join(note(p, 4) for p in ("C3", "D3", "E3", "F3"))


def direction(kind: str, *, sound: str = "", offset: str = "", staff: str = "") -> str:
    return f"<direction><direction-type>{kind}</direction-type>{offset}{staff}{sound}</direction>"


def words(text: str, **more: str) -> str:
    return direction(f"<words>{text}</words>", **more)


def marked(notations: str, *, pitch: str = "C3", duration: int = 16) -> str:
    return note(pitch, duration, tail=f"<notations>{notations}</notations>")


def one(folder: Path, text: str, attributes: str = HEAD) -> Note:
    return read(folder, score(bar(text), attributes=attributes)).part.notes[0]


def part_of(folder: Path, *bars: str, attributes: str = HEAD) -> Part:
    return read(folder, score(*bars, attributes=attributes)).part


# --- bars, beats, pick-ups -----------------------------------------------------------------------------------


def test_pickup_counts_from_the_end_of_the_bar(tmp_path: Path) -> None:
    """Common practice: one quarter before 4/4 is beat 4."""
    part = part_of(tmp_path, bar(note("G3", 4), head='implicit="yes"'), bar(QUARTERS), bar(note("C3", 12)))
    assert part.bars[0].pickup
    assert part.notes[0].beat == 4
    assert [n.beat for n in part.notes[1:5]] == [1, 2, 3, 4]
    assert not find_faults(part), "the last bar makes up for the pick-up"


def test_divided_bar_goes_on_counting(tmp_path: Path) -> None:
    half = note("C3", 8)
    part = part_of(tmp_path, bar(QUARTERS), bar(half), bar(half, head='implicit="yes"'), bar())
    assert [n.beat for n in part.notes[4:6]] == [1, 3]
    assert not find_faults(part)


@pytest.mark.parametrize(
    ("time", "beats", "beat_type", "quarters"),
    [
        ("<beats>6</beats><beat-type>8</beat-type>", 6, 8, 3),
        ("<beats>3+2</beats><beat-type>8</beat-type>", 5, 8, Fraction(5, 2)),
        ("<beats>3</beats><beat-type>8</beat-type><beats>2</beats><beat-type>4</beat-type>", 7, 8, Fraction(7, 2)),
    ],
)
def test_metres(time: str, beats: int, beat_type: int, quarters: Fraction, tmp_path: Path) -> None:
    """time: composite and compound signatures."""
    attributes = f"<divisions>4</divisions><time>{time}</time>"
    made = part_of(tmp_path, bar(note("C3", int(quarters * 4))), attributes=attributes).bars[0]
    assert (made.beats, made.beat_type, made.nominal_quarters) == (beats, beat_type, quarters)


def test_clef_key_and_their_changes(tmp_path: Path) -> None:
    """clef, key: in force until the next."""
    tenor = "<clef><sign>C</sign><line>4</line></clef>"
    bass = "<clef><sign>F</sign><line>4</line></clef>"
    change = f"<attributes>{tenor}</attributes>"
    second = note("C3", 8) + change + note("A4", 8)
    flat = "<key><fifths>-3</fifths><mode>minor</mode></key>"
    part = part_of(tmp_path, bar(), bar(second), bar(attributes=flat), attributes=HEAD + bass)
    assert [n.clef for n in part.notes] == ["bass", "bass", "tenor", "tenor"]
    assert [b.clef for b in part.bars] == ["bass", "bass", "tenor"]
    assert [(b.fifths, b.mode, b.key_changes) for b in part.bars] == [
        (0, "", False),
        (0, "", False),
        (-3, "minor", True),
    ]


def test_rehearsal_mark_and_double_bar(tmp_path: Path) -> None:
    part = part_of(
        tmp_path,
        bar(direction("<rehearsal>A</rehearsal>") + QUARTERS),
        bar(right="<bar-style>light-light</bar-style>"),
        bar('<print new-system="yes"/>' + QUARTERS),
    )
    assert [b.rehearsal for b in part.bars] == ["A", "", ""]
    assert [b.double_bar for b in part.bars] == [False, True, False]
    assert [b.new_system for b in part.bars] == [False, False, True]


# --- pitch ---------------------------------------------------------------------------------------------------


def test_double_bass_sounds_an_octave_lower(tmp_path: Path) -> None:
    """transpose: octave-change."""
    transpose = "<transpose><diatonic>0</diatonic><chromatic>0</chromatic><octave-change>-1</octave-change></transpose>"
    part = part_of(tmp_path, bar(), attributes=HEAD + transpose)
    assert (part.notes[0].written_pitch.name, part.notes[0].pitch.name) == ("C4", "C3")
    assert part.transpose_semitones == -12


def test_transposing_part_keeps_its_spelling(tmp_path: Path) -> None:
    """transpose: in B flat; E sounds D, F sharp sounds E."""
    transpose = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    part = part_of(tmp_path, bar(note("E4", 8) + note("F#4", 8)), attributes=HEAD + transpose)
    assert [n.pitch.name for n in part.notes] == ["D4", "E4"]


def test_octave_line_changes_what_is_printed_not_what_sounds(tmp_path: Path) -> None:
    """octave-shift: "a treble clef line noted with 8va will be indicated with an octave-shift down from the pitch
    data indicated in the notes"."""
    start, stop = direction('<octave-shift type="down" size="8"/>'), direction('<octave-shift type="stop" size="8"/>')
    part = part_of(tmp_path, bar(note("C5", 4) + start + note("D6", 8) + stop + note("E5", 4)))
    assert [n.pitch.name for n in part.notes] == ["C5", "D6", "E5"]
    assert [n.written_pitch.name for n in part.notes] == ["C5", "D5", "E5"]


def test_quarter_tones_keep_their_alteration(tmp_path: Path) -> None:
    text = note("C4", 16).replace("<octave>", "<alter>0.5</alter><octave>")
    assert one(tmp_path, text).pitch.alter == 0.5


# --- chords, grace notes, ties, slurs, tuplets ---------------------------------------------------------------


def test_chord_shares_the_onset_of_the_note_before(tmp_path: Path) -> None:
    part = part_of(tmp_path, bar(note("C3", 8) + note("G3", 8, "<chord/>") + note("D3", 8)))
    assert [(n.pitch.name, n.onset_quarters, n.chord) for n in part.notes] == [
        ("C3", 0, False),
        ("G3", 0, True),
        ("D3", 2, False),
    ]


def test_grace_notes_stand_before_their_note(tmp_path: Path) -> None:
    part = part_of(tmp_path, bar(note("D3", 0, '<grace slash="yes"/>') + note("E3", 0, "<grace/>") + note("C3", 16)))
    assert [(n.pitch.name, n.grace, n.duration_quarters, n.onset_quarters) for n in part.notes] == [
        ("D3", "slashed", 0, 0),
        ("E3", "unslashed", 0, 0),
        ("C3", "", 4, 0),
    ]


def test_grace_note_at_the_end_of_a_bar_stays_there(tmp_path: Path) -> None:
    part = part_of(tmp_path, bar(note("C3", 16) + note("D3", 0, "<grace/>")), bar())
    assert [(n.pitch.name, n.bar_index) for n in part.notes] == [("C3", 0), ("D3", 0), ("C4", 1)]


def tie(kind: str) -> str:
    return f'<tie type="{kind}"/>'


def test_tie_over_the_barline(tmp_path: Path) -> None:
    first = note("C3", 16).replace("<voice>", tie("start") + "<voice>")
    second = note("C3", 16).replace("<voice>", tie("stop") + "<voice>")
    part = part_of(tmp_path, bar(first), bar(second))
    assert part.notes[0].tied_to == part.notes[1].id
    assert part.notes[1].tied_from == part.notes[0].id


def test_tie_to_nowhere_is_a_fault(tmp_path: Path) -> None:
    first = note("C3", 16).replace("<voice>", tie("start") + "<voice>")
    part = part_of(tmp_path, bar(first), bar(note("D3", 16)))
    assert part.notes[0].tied_to is None
    assert [(f.kind, f.bar, f.note_id) for f in find_faults(part)] == [("tie to nowhere", "1", part.notes[0].id)]


def slurred(pitch: str, *slurs: tuple[str, str]) -> str:
    inside = "".join(f'<slur type="{kind}" number="{number}"/>' for kind, number in slurs)
    return note(pitch, 4, tail=f"<notations>{inside}</notations>" if inside else "")


def test_slurs_join_events(tmp_path: Path) -> None:
    text = slurred("C3", ("start", "1")) + slurred("D3") + slurred("E3", ("stop", "1"), ("start", "1"))
    part = part_of(tmp_path, bar(text + slurred("F3", ("stop", "1"))))
    assert [n.slurred_to_next for n in part.notes] == [True, True, True, False]
    assert [n.slur_starts for n in part.notes] == [("slur1",), (), ("slur2",), ()]
    assert [n.slur_stops for n in part.notes] == [(), (), ("slur1",), ("slur2",)]


def test_nested_slurs(tmp_path: Path) -> None:
    text = slurred("C3", ("start", "1")) + slurred("D3", ("start", "2")) + slurred("E3", ("stop", "2"))
    part = part_of(tmp_path, bar(text + slurred("F3", ("stop", "1"))))
    assert [n.slurred_to_next for n in part.notes] == [True, True, True, False]


def test_slur_with_one_end_is_a_fault_and_joins_nothing(tmp_path: Path) -> None:
    part = part_of(tmp_path, bar(slurred("C3", ("start", "1")) + slurred("D3") + slurred("E3") + slurred("F3")))
    assert not any(n.slurred_to_next for n in part.notes)
    assert [f.kind for f in find_faults(part)] == ["unended slur"]


def test_triplet(tmp_path: Path) -> None:
    """time-modification; durations in divisions decide what sounds."""
    ratio = "<actual-notes>3</actual-notes><normal-notes>2</normal-notes>"
    made = f"<type>quarter</type><time-modification>{ratio}</time-modification>"
    text = "".join(note(p, 4, tail=made) for p in ("C3", "D3", "E3")) + note("F3", 12)
    part = part_of(tmp_path, bar(text), attributes=HEAD.replace(">4</div", ">6</div"))
    assert [n.onset_quarters for n in part.notes] == [0, Fraction(2, 3), Fraction(4, 3), 2]
    assert [n.tuplet for n in part.notes] == [(3, 2)] * 3 + [None]


def test_divisions_may_change(tmp_path: Path) -> None:
    part = part_of(tmp_path, bar(QUARTERS), bar(note("C3", 40), attributes="<divisions>10</divisions>"))
    assert part.bars[1].length_quarters == 4
    assert not find_faults(part)


# --- on the note ---------------------------------------------------------------------------------------------


def test_technical_marks(tmp_path: Path) -> None:
    fingers = "<fingering>2</fingering><fingering substitution='yes'>1</fingering>"
    made = one(tmp_path, marked(f"<technical>{fingers}<string>3</string><down-bow/></technical>"))
    assert [(f.text, f.substitution) for f in made.fingerings] == [("2", False), ("1", True)]
    assert (made.string_number, made.bow) == (3, "down")


@pytest.mark.parametrize(
    ("element", "field"),
    [
        ("<technical><open-string/></technical>", "open_string"),
        ("<technical><thumb-position/></technical>", "thumb"),
        ("<technical><harmonic><natural/></harmonic></technical>", "harmonic"),
        ("<fermata/>", "fermata"),
        ("<articulations><breath-mark/></articulations>", "breath_after"),
        ("<arpeggiate/>", "arpeggiated"),
        ('<glissando type="start"/>', "glissando_to_next"),
        ("<technical><snap-pizzicato/></technical>", "pizzicato"),
    ],
)
def test_single_marks(element: str, field: str, tmp_path: Path) -> None:
    assert getattr(one(tmp_path, marked(element)), field) is True
    assert getattr(one(tmp_path, note("C3", 16)), field) is False


def test_articulations_ornaments_tremolo_lyric(tmp_path: Path) -> None:
    inside = (
        "<articulations><staccato/><tenuto/></articulations>"
        "<ornaments><trill-mark/><tremolo type='single'>3</tremolo></ornaments>"
    )
    lyric = "<lyric number='1'><syllabic>single</syllabic><text>la</text><elision> </elision><text>lo</text></lyric>"
    made = one(tmp_path, note("C3", 16, tail=f"<type>whole</type><dot/><notations>{inside}</notations>{lyric}"))
    assert made.articulations == {"staccato", "tenuto"}
    assert made.ornaments == {"trill-mark"}
    assert (made.tremolo, made.lyric, made.written_type, made.dots) == (3, "la lo", "whole", 1)


def test_pizzicato_by_words_and_sound(tmp_path: Path) -> None:
    """sound: pizzicato; the words are common practice."""
    part = part_of(
        tmp_path,
        bar(words("pizz.") + note("C3", 16)),
        bar(words("arco") + note("C3", 16)),
        bar('<sound pizzicato="yes"/>' + note("C3", 16)),
        bar('<sound pizzicato="no"/>' + note("C3", 16)),
    )
    assert [n.pizzicato for n in part.notes] == [True, False, True, False]


def test_cue_hidden_and_unpitched_notes_are_left_out_and_said(tmp_path: Path) -> None:
    text = (
        note("C3", 4)
        + note("D3", 4, "<cue/>")
        + note("E3", 4).replace("<note>", '<note print-object="no">')
        + "<note><unpitched/><duration>4</duration></note>"
    )
    part = part_of(tmp_path, bar(text))
    assert [n.pitch.name for n in part.notes] == ["C3"]
    assert part.bars[0].length_quarters == 4
    assert sum("left out" in remark for remark in part.remarks) == 3


# --- tempo ---------------------------------------------------------------------------------------------------


def metronome(unit: str, value: str, dot: str = "") -> str:
    return direction(f"<metronome><beat-unit>{unit}</beat-unit>{dot}<per-minute>{value}</per-minute></metronome>")


@pytest.mark.parametrize(
    ("mark", "qpm", "source"),
    [
        (metronome("quarter", "72"), 72, "metronome"),
        (metronome("half", "60"), 120, "metronome"),
        (metronome("quarter", "60", "<beat-unit-dot/>"), 90, "metronome"),
        (metronome("quarter", "c. 66"), 66, "metronome"),
        (metronome("quarter", "60-72"), 66, "metronome"),
        ('<sound tempo="84.5"/>', 84.5, "sound"),
        (words("Allegro", sound='<sound tempo="140"/>'), 140, "sound"),
        (words("Adagio"), 65.5, "words"),
        (words("dolce"), 96, "assumed"),
        (metronome("quarter", "0"), 96, "assumed"),
        ('<sound tempo="-5"/>', 96, "assumed"),
        (metronome("quarter", "99999"), 96, "assumed"),
    ],
)
def test_tempo(mark: str, qpm: float, source: str, tmp_path: Path) -> None:
    found = part_of(tmp_path, bar(mark + QUARTERS)).tempo_marks[0]
    assert (found.tempo_qpm, found.source) == (qpm, source)


def test_every_tempo_word_lies_in_its_range(shared: Path) -> None:
    """reference/tempo_terms.csv: common practice, no source; our copy in the package must not drift from it."""
    import csv

    from partwright.score.tempo_words import words_to_bpm

    with (shared / "reference" / "tempo_terms.csv").open(encoding="utf-8") as stream:
        for row in csv.DictReader(stream):
            bpm = words_to_bpm(row["term"].upper() + " con brio")
            assert bpm is not None
            assert float(row["bpm_low"]) <= bpm <= float(row["bpm_high"])


def test_tempo_word_counts_the_dotted_beat_in_compound_metre(tmp_path: Path) -> None:
    """Common practice, no source: Andante in 6/8 counts dotted quarters."""
    six = HEAD.replace("<beats>4</beats><beat-type>4<", "<beats>6</beats><beat-type>8<")
    part = part_of(tmp_path, bar(words("Andante") + note("C3", 12)), attributes=six)
    assert part.tempo_marks[0].tempo_qpm == 90 * 1.5


def test_a_tempo_and_tempo_primo(tmp_path: Path) -> None:
    part = part_of(
        tmp_path,
        bar(metronome("quarter", "80") + QUARTERS),
        bar('<sound tempo="50"/>' + QUARTERS),
        bar(words("a tempo") + QUARTERS),
        bar(metronome("quarter", "120") + QUARTERS),
        bar(words("Tempo I") + QUARTERS),
    )
    assert [mark.tempo_qpm for mark in part.tempo_marks] == [80, 50, 80, 120, 80]


def test_metric_modulation(tmp_path: Path) -> None:
    """metronome with two beat units: the first lasts as long as the second from here on."""
    change = "<metronome><beat-unit>quarter</beat-unit><beat-unit>quarter</beat-unit><beat-unit-dot/></metronome>"
    part = part_of(tmp_path, bar(metronome("quarter", "80") + QUARTERS), bar(direction(change) + QUARTERS))
    assert part.tempo_marks[1].tempo_qpm == 120


def test_disagreeing_tempi_are_said(tmp_path: Path) -> None:
    part = part_of(tmp_path, bar(metronome("quarter", "80") + '<sound tempo="120"/>' + QUARTERS))
    assert part.tempo_marks[0].tempo_qpm == 80
    assert any("the mark is used" in remark for remark in part.remarks)


def test_assumed_tempo_is_said(tmp_path: Path) -> None:
    part = part_of(tmp_path, bar())
    assert part.tempo_marks[0].source == "assumed"
    assert "No tempo is given: 96 quarter notes a minute assumed." in part.remarks


def test_tempo_letters_and_chords_come_from_the_top_part(tmp_path: Path) -> None:
    """Common practice: what holds for everyone is printed once, above the top staff."""
    top = (
        bar(metronome("quarter", "80") + direction("<rehearsal>A</rehearsal>") + note("C5", 16), right="")
        .replace('number="?"', 'number="1"')
        .replace("<measure", "<measure", 1)
    )
    chord = "<harmony><root><root-step>G</root-step></root><kind>dominant</kind></harmony>"
    repeat = '<barline location="right"><repeat direction="backward"/></barline>'
    top = top.replace("</measure>", repeat + "</measure>").replace("<note>", chord + "<note>", 1)
    top = top.replace(">", f"><attributes>{HEAD}</attributes>", 1)
    parts = "".join(f'<score-part id="P{i}"><part-name>P{i}</part-name></score-part>' for i in (2, 1))
    text = score(bar(note("C3", 16)), part_list=parts).replace("<part id=", f'<part id="P2">{top}</part><part id=', 1)
    part = read(tmp_path, text, part="P1").part
    assert part.tempo_marks[0].tempo_qpm == 80
    assert part.bars[0].rehearsal == "A"
    assert part.bars[0].repeat_end
    assert [c.text for c in part.chord_symbols] == ["G7"]


# --- loudness ------------------------------------------------------------------------------------------------


def dynamic(name: str) -> str:
    return direction(f"<dynamics><{name}/></dynamics>")


def test_dynamics_are_carried(tmp_path: Path) -> None:
    part = part_of(
        tmp_path, bar(note("C3", 4) + dynamic("p") + note("D3", 4) + note("E3", 4) + dynamic("ff") + note("F3", 4))
    )
    assert [n.dynamic for n in part.notes] == [0.55, 0.28, 0.28, 0.85]


def test_stress_marks_do_not_change_the_level(tmp_path: Path) -> None:
    part = part_of(tmp_path, bar(dynamic("p") + note("C3", 8) + dynamic("sfz") + note("D3", 8)))
    assert [n.dynamic for n in part.notes] == [0.28, 0.28]


def test_hairpin_between_two_marks(tmp_path: Path) -> None:
    start, stop = direction('<wedge type="crescendo"/>'), direction('<wedge type="stop"/>')
    part = part_of(tmp_path, bar(dynamic("p") + start + QUARTERS + stop), bar(dynamic("f") + note("C3", 16)))
    levels = [n.dynamic for n in part.notes]
    assert levels[0] == 0.28
    assert levels == sorted(levels)
    assert levels[-1] == 0.7
    assert len(set(levels)) == 5


def test_offset_moves_the_sound_only_when_it_says_so(tmp_path: Path) -> None:
    """direction/offset: "affects the visual appearance"; with sound="yes" playback too."""
    for how, expected in (("", [0.28, 0.28]), (' sound="yes"', [0.55, 0.28])):
        mark = direction("<dynamics><p/></dynamics>", offset=f"<offset{how}>8</offset>")
        assert [n.dynamic for n in part_of(tmp_path, bar(mark + note("C3", 8) + note("D3", 8))).notes] == expected


# --- chord symbols, words, header ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("inside", "text"),
    [
        ("<root><root-step>D</root-step></root><kind>minor-seventh</kind>", "Dm7"),
        ("<root><root-step>D</root-step></root><kind text='min7'>minor-seventh</kind>", "Dmin7"),
        (
            "<root><root-step>B</root-step><root-alter>-1</root-alter></root><kind>major</kind>"
            "<bass><bass-step>D</bass-step></bass>",
            "Bb/D",
        ),
        ("<root><root-step>C</root-step></root><kind>none</kind>", "N.C."),
        (
            "<root><root-step>G</root-step></root><kind>dominant</kind><degree><degree-value>9</degree-value>"
            "<degree-alter>-1</degree-alter><degree-type>add</degree-type></degree>",
            "G7b9",
        ),
    ],
)
def test_chord_symbols(inside: str, text: str, tmp_path: Path) -> None:
    part = part_of(tmp_path, bar(note("C3", 8) + f"<harmony>{inside}</harmony>" + note("D3", 8)))
    assert [(c.text, c.onset_quarters, c.beat) for c in part.chord_symbols] == [(text, 2, 3)]


def test_words_that_are_no_tempo_are_directions(tmp_path: Path) -> None:
    part = part_of(tmp_path, bar(words("Andante") + words("sul D") + dynamic("p") + QUARTERS))
    assert [(d.text, d.kind) for d in part.directions] == [("sul D", "words"), ("p", "dynamics")]


def test_credits(tmp_path: Path) -> None:
    before = (
        "<work><work-title>Harbour Dance</work-title></work><movement-title>First set</movement-title>"
        '<identification><creator type="composer">A. Nobody</creator><creator type="arranger">B. Nobody</creator>'
        "<rights>Public domain</rights><rights>Own work</rights></identification>"
    )
    found = read(tmp_path, score(bar(), before=before)).part.credits
    assert (found.title, found.subtitle, found.composer, found.arranger) == (
        "Harbour Dance",
        "First set",
        "A. Nobody",
        "B. Nobody",
    )
    assert found.rights == ("Public domain", "Own work")


# --- faults --------------------------------------------------------------------------------------------------


def test_faults_name_the_bar_and_what_to_do(tmp_path: Path) -> None:
    part = part_of(
        tmp_path,
        bar(QUARTERS),
        bar(note("C3", 20)),
        bar(note("C3", 12)),
        bar(left='<repeat direction="forward"/>'),
        bar(words("D.S. al Coda") + QUARTERS),
        bar(left='<ending number="1" type="start"/>'),
    )
    found = [(f.kind, f.bar) for f in find_faults(part)]
    assert found == [
        ("overfull bar", "2"),
        ("short bar", "3"),
        ("repeat without end", "4"),
        ("unknown jump", "5"),
        ("unknown jump", "5"),
        ("ending without end", "6"),
    ]
    assert all(f.what and f.todo.endswith(".") for f in find_faults(part))
    assert find_faults(part)[0].what == "the bar holds 5 beats, its metre is 4/4"


# --- the table -----------------------------------------------------------------------------------------------


def test_table_says_what_the_notes_say(tmp_path: Path) -> None:
    first = note("C3", 8).replace("<voice>", tie("start") + "<voice>")
    second = note("C3", 8).replace("<voice>", tie("stop") + "<voice>")
    part = part_of(tmp_path, bar(metronome("quarter", "80") + first + second))
    table = part.table
    assert table.shape == (2,)
    assert np.array_equal(table["onset_quarters"], [0, 2])
    assert np.array_equal(table["midi"], [48, 48])
    assert np.array_equal(table["tied_to"], [1, -1])
    assert np.array_equal(table["tied_from"], [-1, 0])
    assert table["tempo_qpm"][0] == 80
    assert not table.flags.writeable


def test_importing_score_does_not_import_numpy() -> None:
    import subprocess
    import sys

    code = "import sys, partwright.score; sys.exit('numpy' in sys.modules or 'music21' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
