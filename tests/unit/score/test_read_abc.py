"""The ABC reader, construct by construct. Paragraph numbers are those of the ABC standard 2.1 (December 2011)."""

from __future__ import annotations

from fractions import Fraction

import pytest
from lxml import etree

from partwright.errors import InputError, ScoreError
from partwright.score.converted import Converted
from partwright.score.read_abc import abc_to_musicxml, abc_tunes, decode_abc
from score_checks import schema, sounds


def read(music: str, *, header: str = "M:4/4\nL:1/4\nK:C", **more: int) -> Converted:
    converted = abc_to_musicxml(f"X:1\nT:A tune\n{header}\n{music}\n", file="tune.abc", **more)
    valid = schema()
    assert valid.validate(converted.tree), valid.error_log
    return converted


def pitches(converted: Converted) -> str:
    found = []
    for note in converted.tree.iter("pitch"):
        alter = {"1": "#", "-1": "b", "2": "##", "-2": "bb"}.get(note.findtext("alter", ""), "")
        found.append(f"{note.findtext('step')}{alter}{note.findtext('octave')}")
    return " ".join(found)


def lengths(converted: Converted) -> list[Fraction]:
    return [sound[1] for sound in sounds(converted.tree)]


def count(converted: Converted, tag: str) -> int:
    return len(list(converted.tree.iter(tag)))


@pytest.mark.parametrize(
    ("music", "expected"),
    [
        ("C, c c' C,, B", "C3 C5 C6 C2 B4"),  # 4.1
        ("^C _D =E ^^F __G", "C#4 Db4 E4 F##4 Gbb4"),  # 4.2
        ("^F F f | F", "F#4 F#4 F#5 F4"),  # 4.2: to the end of the bar; 11.3: in all octaves
        ("^F- | F F", "F#4 F#4 F4"),  # a tie carries its accidental over the bar line
    ],
)
def test_pitches(music: str, expected: str) -> None:
    assert pitches(read(music)) == expected


def test_accidentals_can_be_kept_to_their_octave_or_note() -> None:
    """11.3 I:propagate-accidentals."""
    assert pitches(read("I:propagate-accidentals octave\n^F f F")) == "F#4 F5 F#4"
    assert pitches(read("I:propagate-accidentals not\n^F F")) == "F#4 F4"


@pytest.mark.parametrize(
    ("key", "fifths", "mode"),
    [
        ("G", "1", "major"),
        ("Bb", "-2", "major"),
        ("F#m", "3", "minor"),
        ("Em", "1", "minor"),
        ("D Dorian", "0", "dorian"),
        ("Amix", "2", "mixolydian"),
        ("E phr", "0", "phrygian"),
        ("F lyd", "0", "lydian"),
        ("B loc", "0", "locrian"),
        ("C ionian", "0", "ionian"),
        ("A aeolian", "0", "aeolian"),
        ("none", "0", None),
        ("", "0", None),
        ("HP", "0", None),
        ("Hp", "2", None),
        ("D exp ^f ^c", "2", None),
        ("Am ^g _b", None, None),
    ],
)
def test_keys(key: str, fifths: str | None, mode: str | None) -> None:
    """3.1.14: tonic, mode, explicit accidentals, highland pipes."""
    tree = read("C", header=f"L:1/4\nK:{key}").tree
    assert tree.findtext(".//fifths") == fifths
    assert tree.findtext(".//mode") == mode


def test_explicit_accidentals_change_the_notes() -> None:
    assert pitches(read("F G A B", header="L:1/4\nK:Am ^g _b")) == "F4 G#4 A4 Bb4"


@pytest.mark.parametrize(
    ("music", "expected"),
    [
        ("C2 C/ C// C3/2 C/4 C3/", "2 1/2 1/4 3/2 1/4 3/2"),  # 4.3
        ("C>D C<D C>>D C<<<D", "3/2 1/2 1/2 3/2 7/4 1/4 1/8 15/8"),  # 4.4
        ("C>.D", "3/2 1/2"),  # 4.4: what is between does not matter
        ("(3CDE (2CD (4CDEF", "2/3 2/3 2/3 3/2 3/2 3/4 3/4 3/4 3/4"),  # 4.13
        ("(3:2:2 C2 D", "4/3 2/3"),
        ("(3::2 CD", "2/3 2/3"),
        ("(5:4:5CDEFG", "4/5 4/5 4/5 4/5 4/5"),
    ],
)
def test_lengths(music: str, expected: str) -> None:
    assert lengths(read(music)) == [Fraction(length) for length in expected.split()]


def test_quintuplets_in_compound_metres_take_three() -> None:
    """4.13: (5, (7 and (9 are in the time of 3 in compound metres, of 2 otherwise."""
    assert lengths(read("(5CDEFG", header="M:6/8\nL:1/8\nK:C")) == [Fraction(3, 10)] * 5
    assert lengths(read("(5CDEFG", header="M:2/4\nL:1/8\nK:C")) == [Fraction(1, 5)] * 5


@pytest.mark.parametrize(("metre", "unit"), [("2/4", "1/4"), ("3/4", "1/2"), ("6/8", "1/2"), ("C", "1/2")])
def test_unit_length_from_the_metre(metre: str, unit: str) -> None:
    """3.1.7: below 3/4 a 16th, otherwise an eighth."""
    assert lengths(read("C", header=f"M:{metre}\nK:C")) == [Fraction(unit)]


@pytest.mark.parametrize(
    ("metre", "beats", "beat_type", "symbol"),
    [("C", "4", "4", "common"), ("C|", "2", "2", "cut"), ("(2+3)/8", "2+3", "8", None), ("9/8", "9", "8", None)],
)
def test_metres(metre: str, beats: str, beat_type: str, symbol: str | None) -> None:
    time = read("C", header=f"M:{metre}\nL:1/8\nK:C").tree.find(".//time")
    assert time is not None
    assert (time.findtext("beats"), time.findtext("beat-type"), time.get("symbol")) == (beats, beat_type, symbol)


def test_tempo() -> None:
    """3.1.8; a bare number counts unit note lengths (deprecated there) and is said in a remark."""
    tree = read("C", header='Q:"Allegro" 3/8=80\nL:1/8\nK:C').tree
    assert (tree.find(".//sound").get("tempo"), tree.findtext(".//words")) == ("120", "Allegro")  # type: ignore[union-attr]
    old = read("C", header="L:1/8\nQ:120\nK:C")
    assert old.tree.find(".//sound").get("tempo") == "60"  # type: ignore[union-attr]
    assert "unit note lengths a minute" in " ".join(old.remarks)


def test_repeats_and_endings() -> None:
    """4.8, 4.9."""
    tree = read("|: C4 | D4 |1 E4 :|2 F4 |] G4 ||").tree
    assert [e.get("type") for e in tree.iter("ending")] == ["start", "stop", "start", "discontinue"]
    assert [e.get("direction") for e in tree.iter("repeat")] == ["forward", "backward"]
    assert [e.text for e in tree.iter("bar-style")] == [
        "heavy-light", "light-heavy", "light-heavy", "light-light",
    ]  # fmt: skip
    twice = read("C4 :: D4 ::| E4 [1,3 F4 :|[2 G4 |]").tree
    assert [(e.get("direction"), e.get("times")) for e in twice.iter("repeat")] == [
        ("backward", None), ("forward", None), ("backward", "3"), ("forward", None), ("backward", None),
    ]  # fmt: skip
    assert [e.get("number") for e in twice.iter("ending") if e.get("type") == "start"] == ["1, 3", "2"]


def test_a_repeat_without_a_start_begins_after_the_last_double_bar() -> None:
    converted = read("C4 | D4 || E4 | F4 :| G4 | A4 :|")
    starts = [
        m.get("number")
        for m in converted.tree.iter("measure")
        if m.find("barline/repeat[@direction='forward']") is not None
    ]
    assert starts == ["3", "5"]
    assert "has no beginning" in converted.remarks[0]


def test_pickups_are_not_counted() -> None:
    tree = read("C | C4 | C3 :| D | D4 |]").tree
    assert [(m.get("number"), m.get("implicit")) for m in tree.iter("measure")] == [
        ("0", "yes"), ("1", None), ("2", None), ("2b", "yes"), ("3", None),
    ]  # fmt: skip


def test_ties_slurs_and_ties_that_are_slurs() -> None:
    """4.11; a tie between different pitches is read as a slur, and that is said."""
    converted = read("(C D- | D) E-F")
    assert (count(converted, "tie"), count(converted, "slur")) == (2, 4)
    assert any("read as a slur" in remark for remark in converted.remarks)


def test_nested_and_broken_slurs() -> None:
    converted = read("((C D) E) (F) G) (A")
    assert count(converted, "slur") == 4
    told = " ".join(converted.remarks)
    assert "single note" in told and "never began" in told and "never ends" in told


def test_chords_and_graces() -> None:
    """4.12, 4.17: the chord lasts as long as its first note; outer and inner lengths multiply."""
    converted = read("[CEG]2 [C2E2]/ {/d}c {ef}g")
    assert lengths(converted) == [2, 2, 2, 1, 1, 1, 1]
    assert [g.get("slash") for g in converted.tree.iter("grace")] == ["yes", None, None]


def test_bows_fingers_and_other_decorations() -> None:
    """4.14 and, for redefined letters, 4.16."""
    music = 'U:T=!downbow!\nuC vD !1!E "^2"F | !thumb!C !open!D !3!!4!E .F | TC !fermata!D !accent!E ~F | HC LD ME PF'
    converted = read(music)
    assert (count(converted, "up-bow"), count(converted, "down-bow")) == (1, 2)
    assert [f.text for f in converted.tree.iter("fingering")] == ["1", "2", "3", "4"]
    for tag, times in {
        "thumb-position": 1, "open-string": 1, "staccato": 1, "fermata": 2, "accent": 2, "turn": 1, "mordent": 1,
        "inverted-mordent": 1,
    }.items():  # fmt: skip
        assert count(converted, tag) == times, tag


def test_dynamics_jumps_and_lines() -> None:
    converted = read("!f!C !crescendo(!D E !crescendo)!F | !segno!C D E !D.S.alcoda!F | !coda!C4 !fine!|] C4 !D.C.!|")
    tree = converted.tree
    assert count(converted, "dynamics") == 1
    assert [w.get("type") for w in tree.iter("wedge")] == ["crescendo", "stop"]
    told = {name: value for s in tree.iter("sound") for name, value in s.attrib.items()}
    assert told == {"segno": "segno", "dalsegno": "segno", "coda": "coda", "fine": "yes", "dacapo": "yes"}
    assert not converted.remarks


@pytest.mark.parametrize(
    ("music", "bar"),
    [
        ("C4 | D4 !D.C.!|]", "2"),
        ("C4 | D4 |] !D.C.!", "2"),
        ("C4 | !D.C.!D4 |]", "2"),  # said before the note, it is the note's bar
        ("C4 | D4 |!D.C.!| E4 |]", "2"),
        ("C4 | D4 |] !D.C.!\nE4 |]", "2"),  # nothing follows on its line
        ("C4 | D4 | !D.C.!E2 F2 |]", "3"),
    ],
)
def test_a_jump_belongs_to_the_note_or_bar_line_behind_it(music: str, bar: str) -> None:
    """The standard, 4.14: a decoration stands before the note, rest or bar line it belongs to."""
    (sound,) = read(music).tree.xpath("//sound[@dacapo]")
    assert next(sound.iterancestors("measure")).get("number") == bar


def test_chord_symbols_annotations_and_what_is_neither() -> None:
    """4.18, 4.19."""
    converted = read('"Am7"C "G/B"D "^above"E "_below"F "wild"G')
    assert [h.findtext("kind") for h in converted.tree.iter("harmony")] == ["minor-seventh", "major"]
    assert [w.text for w in converted.tree.iter("words")] == ["above", "below", "wild"]
    assert any('"wild" is no chord symbol' in remark for remark in converted.remarks)


def test_words() -> None:
    """5.1: hyphens, holds, skips, joined words, verses, continued lines."""
    tree = read("C D E F | G A B c\nw: won-der-ful day_ * of~all\nw: two\n+: more").tree
    sung = list(tree.iter("lyric"))
    first = [(s.findtext("syllabic"), s.findtext("text")) for s in sung if s.get("number") == "1"]
    assert first == [
        ("begin", "won"), ("middle", "der"), ("end", "ful"), ("single", "day"), ("single", "of all"),
    ]  # fmt: skip
    assert [s.findtext("text") for s in sung if s.get("number") == "2"] == ["two", "more"]
    assert sum(s.find("extend") is not None for s in sung) == 1


def test_words_go_on_in_the_next_bar() -> None:
    tree = read("C D E F | G A B c\nw: one | two").tree
    under = [note.findtext("pitch/step") for note in tree.iter("note") if note.find("lyric") is not None]
    assert under == ["C", "G"]


def test_inline_fields_and_changes() -> None:
    tree = read("C D [K:G] F G | [M:3/4] [L:1/8] C2 D2 E2 | [Q:1/4=60] C6").tree
    assert [key.findtext("fifths") for key in tree.iter("key")] == ["0", "1"]
    assert pitches(read("C D [K:G] F G")) == "C4 D4 F#4 G4"
    assert [time.findtext("beats") for time in tree.iter("time")] == ["4", "3"]
    assert tree.find(".//sound[@tempo='60']") is not None


def test_rests() -> None:
    """4.5: z, invisible x, whole bars Z."""
    tree = read("z2 x2 | Z2 | C4").tree
    assert len(list(tree.iter("measure"))) == 4
    assert [note.get("print-object") for note in tree.iter("note")] == [None, "no", None, None, None]


def test_voices_become_parts_and_are_padded() -> None:
    """7: voices by V: lines and inline."""
    converted = read(
        "[V:1] C4 | D4 |\n[V:2] G,4 |", header='M:4/4\nL:1/4\nV:1 name="Tune"\nV:2 clef=bass name="Bass"\nK:C'
    )
    assert [p.text for p in converted.tree.iter("part-name")] == ["Tune", "Bass"]
    assert [len(p.findall("measure")) for p in converted.tree.getroot().findall("part")] == [2, 2]
    assert [c.findtext("sign") for c in converted.tree.iter("clef")] == ["G", "F"]
    assert any("2 voices" in remark for remark in converted.remarks)


def test_voice_overlay() -> None:
    """7.4."""
    tree = read("C2 D2 & G,4 | E4").tree
    assert [note.findtext("voice") for note in tree.iter("note")] == ["1", "1", "2", "1"]


def test_clefs_and_octaves() -> None:
    """4.6; a clef with 8 sounds where it says."""
    assert pitches(read("C", header="L:1/4\nK:C clef=treble-8")) == "C3"
    assert pitches(read("C", header="L:1/4\nK:C octave=-1")) == "C3"
    assert read("C,", header="L:1/4\nK:C bass").tree.findtext(".//clef/sign") == "F"


def test_header_goes_to_credits_and_the_rest_is_kept() -> None:
    """3.1; 8.2 for accents and entities."""
    header = r"T:Second \'etude" + "\nC:Caf\\'e &amp; Co\nR:reel\nZ:abc-copyright nobody\nN:a note\nL:1/4\nK:C"
    tree = read("C", header=header).tree
    assert tree.findtext("movement-title") == "Second étude"
    assert tree.find(".//creator[@type='composer']").text == "Café & Co"  # type: ignore[union-attr]
    assert tree.findtext(".//rights") == "nobody"
    kept = {field.get("name"): field.text for field in tree.iter("miscellaneous-field")}
    assert kept["abc-rhythm"] == "reel" and kept["abc-notes"] == "a note"


BOOK = "%%staffsep 3\nM:6/8\n\nX:1\nT:One\nK:C\nCDE\n\nX:2\nT:Two\nK:G\nFGA\n"


def test_several_tunes_are_a_question_that_lists_them() -> None:
    with pytest.raises(InputError, match=r"tunes.abc: the file holds 2 tunes: 1 One, 2 Two. Say the number"):
        abc_to_musicxml(BOOK, file="tunes.abc")
    with pytest.raises(InputError, match="no tune number 9"):
        abc_to_musicxml(BOOK, file="tunes.abc", number=9)
    assert pitches(abc_to_musicxml(BOOK, file="tunes.abc", number=2)) == "F#4 G4 A4"
    assert abc_to_musicxml(BOOK, file="tunes.abc", number=2).tree.findtext(".//beats") == "6"
    assert [(tune.number, tune.title) for tune in abc_tunes(BOOK)] == [(1, "One"), (2, "Two")]


def test_encodings() -> None:
    assert decode_abc("T:é".encode()) == ("T:é", ())
    assert decode_abc("T:é".encode("utf-8-sig"))[0] == "T:é"
    text, remarks = decode_abc("T:é".encode("latin-1"))
    assert text == "T:é" and "Latin-1" in remarks[0]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "bad.abc: there is no tune in it"),
        ("X:1\nT:No key\n", "bad.abc, line 3: the tune has no key"),
        ("X:1\nK:Q\nC", 'bad.abc, line 2: column 3: the key "Q" is not known'),
        ("X:1\nM:4/5\nK:C\nC", 'line 2: column 3: the metre "4/5" has impossible numbers'),
        ("X:1\nL:0\nK:C\nC", 'line 2: column 3: the note length "0" is not known'),
        ("X:1\nK:C\n", "bad.abc, line 1: the tune has no notes"),
        ("X:1\nK:C\nz4|", "bad.abc, line 1: the tune has only rests"),
        ("X:1\nK:C\nCD [CE", "bad.abc, line 3: column 6: a chord is not closed. Close it with ]."),
        ('X:1\nK:C\nC "Am D', "bad.abc, line 3: column 3: a quotation is not closed"),
        ("X:1\nK:C\nC {d E", "bad.abc, line 3: column 3: a group of grace notes is not closed"),
        ("X:1\nK:C\nC {d | E}", "a bar line stands inside grace notes"),
        ("X:1\nK:C\nC99999", "a note length has impossible numbers"),
        ("X:1\nK:C\nC4096", "a note is longer than 64 whole notes"),
        ("X:1\nK:C\nC/3", "cannot be printed with ordinary note values"),
        ("X:1\nK:C\nC,,,,,,", "lies beyond any instrument"),
        ("X:1\nK:C\n(99:1:2CD", "a tuplet of 99"),
        ("X:1\nK:C\nZ99999", "more than can be read"),
        ("X:1\nK:C\n[K:Q]C", 'line 3: column 1: the key "Q" is not known'),
    ],
)
def test_bad_input_is_one_sentence_with_line_and_column(text: str, message: str) -> None:
    with pytest.raises(ScoreError) as caught:
        abc_to_musicxml(text, file="bad.abc")
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("music", "remark"),
    [
        ("C !nonsense! D", "line 6, column 3: the decoration !nonsense! is not known"),
        ("C kD", 'the letter "k" stands for no sign'),
        ("C - | z", "a tie leads into a rest"),
        ("uz C", "signs that belong to notes stand before a rest"),
        ("[C2E] F", "different lengths"),
        ("C D |\n\nE F |", "the music after it was not read"),
        ("C=20\nD", "leftovers of mail"),
        ("^F G, F,", "another octave"),
    ],
)
def test_what_is_left_out_or_assumed_is_said(music: str, remark: str) -> None:
    assert remark in " ".join(read(music).remarks)


def test_a_tune_of_a_hundred_thousand_notes_is_refused() -> None:
    with pytest.raises(ScoreError, match="more than 50000 notes"):
        abc_to_musicxml("X:1\nL:1/8\nK:C\n" + "CDEF GABc|\n" * 7000, file="long.abc")


def test_element_order_is_stable() -> None:
    assert etree.tostring(read("C>D [CE]2 |").tree) == etree.tostring(read("C>D [CE]2 |").tree)
