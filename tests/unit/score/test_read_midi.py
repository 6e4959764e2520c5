"""The MIDI reader: what is read, what is assumed, and one clear sentence for what cannot be read.

Format: Standard MIDI Files 1.0 (RP-001). Odd files: the open collection in shared/data/smf-edge-cases (MIT).
"""

from __future__ import annotations

from fractions import Fraction

import mido
import pytest
from lxml import etree

from conftest import shared_folder
from partwright.errors import InputError, PartwrightError, ScoreError
from partwright.score.converted import Converted
from partwright.score.quantise import quantise
from partwright.score.read_midi import midi_to_musicxml
from score_checks import midi_bytes, saved, schema, sounds

SCALE = [60, 62, 64, 65, 67, 69, 71, 72]


def line(*lengths: str, start: str = "0") -> list[tuple[float, float, int]]:
    """A rising line in these lengths; a minus sign is a rest."""
    at = Fraction(start)
    notes = []
    for k, length in enumerate(lengths):
        lasts = Fraction(length.removeprefix("-"))
        if not length.startswith("-"):
            notes.append((float(at), float(at + lasts), SCALE[k % 8]))
        at += lasts
    return notes


def read(data: bytes, **more: str) -> Converted:
    converted = midi_to_musicxml(data, file="tune.mid", **more)
    valid = schema()
    assert valid.validate(converted.tree), valid.error_log
    return converted


def told(converted: Converted) -> str:
    return " ".join(converted.remarks)


def written(tree: etree._ElementTree) -> list[str]:
    """Note values bar by bar: "quarter", "eighth." …, rests in brackets."""
    found = []
    for note in tree.iter("note"):
        value = (note.findtext("type") or "bar") + "." * len(note.findall("dot"))
        found.append(f"({value})" if note.find("rest") is not None else value)
    return found


def test_rhythm_with_triplets_and_ties() -> None:
    converted = read(midi_bytes(line("1/3", "1/3", "1/3", "1/2", "1/2", "3/2", "1/2", "1", "3")))
    assert [sound[1] for sound in sounds(converted.tree)] == [
        Fraction(length) for length in ["1/3", "1/3", "1/3", "1/2", "1/2", "3/2", "1/2", "1", "3"]
    ]
    assert [t.get("type") for t in converted.tree.iter("tuplet")] == ["start", "stop"]
    assert "with triplets in 1 beat (" in told(converted)


def test_half_a_beat_of_triplets_beside_plain_16ths() -> None:
    converted = read(midi_bytes(line("1/6", "1/6", "1/6", "1/4", "1/4", "1", "1", "1")))
    assert [note.findtext("time-modification/actual-notes") for note in converted.tree.iter("note")][:5] == [
        "3", "3", "3", None, None,
    ]  # fmt: skip


def test_ends_of_an_exact_file_are_kept_and_those_of_a_played_one_stretched() -> None:
    exact = read(midi_bytes(line("1/2", "-1/2", "1", "-1", "1")))
    assert written(exact.tree)[:4] == ["eighth", "(eighth)", "quarter", "(quarter)"]
    played = [(onset + 0.011, onset + 0.8 * (end - onset), midi) for onset, end, midi in line(*["1"] * 7)]
    converted = read(midi_bytes(played))
    assert [sound[1] for sound in sounds(converted.tree)][:6] == [Fraction(1)] * 6
    assert "held to the next one" in told(converted)


def test_notes_that_begin_together_are_chords_and_a_line_does_not_overlap() -> None:
    notes = [(0.0, 2.0, 60), (0.0, 2.0, 67), (1.0, 2.0, 64), (2.0, 4.0, 65)]
    converted = read(midi_bytes(notes))
    assert [(s[0], s[1]) for s in sounds(converted.tree)] == [(0, 1), (0, 1), (1, 1), (2, 2)]
    assert "1 chord was" in told(converted) and "sounded into the next" in told(converted)


def test_metre_key_tempo_names_and_rights() -> None:
    extra = [
        mido.MetaMessage("track_name", name="Cello"),
        mido.MetaMessage("key_signature", key="Eb"),
        mido.MetaMessage("set_tempo", tempo=1_000_000),
        mido.MetaMessage("copyright", text="nobody"),
        mido.MetaMessage("text", text="made up"),
    ]
    converted = read(midi_bytes([(k / 2, k / 2 + 0.5, 63) for k in range(12)], metre=(6, 8), extra=extra))
    tree = converted.tree
    assert tree.findtext(".//part-name") == "Cello"
    assert tree.findtext(".//fifths") == "-3"
    assert (tree.findtext(".//beats"), tree.findtext(".//beat-type")) == ("6", "8")
    assert tree.find(".//sound").get("tempo") == "60"  # type: ignore[union-attr]
    assert tree.findtext(".//rights") == "nobody"
    assert tree.findtext(".//miscellaneous-field") == "made up"
    assert not any(word in told(converted) for word in ("gives no tempo", "gives no metre", "gives no key"))


def test_what_the_file_does_not_say_is_said_to_be_assumed() -> None:
    converted = read(midi_bytes(line(*["1"] * 8), metre=None))
    for sentence in ("4/4 was assumed", "it is in C major", "120 quarters a minute was assumed", "grid of quarters"):
        assert sentence in told(converted), sentence


def test_metre_and_tempo_changes() -> None:
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("time_signature", numerator=4, denominator=4))
    for k in range(14):
        if k == 8:
            track.append(mido.MetaMessage("time_signature", numerator=3, denominator=4))
            track.append(mido.MetaMessage("set_tempo", tempo=400_000))
        track.append(mido.Message("note_on", note=60 + k % 5, velocity=80))
        track.append(mido.Message("note_off", note=60 + k % 5, time=480))
    tree = read(saved(mido.MidiFile(type=1, ticks_per_beat=480, tracks=[track]))).tree
    assert [time.findtext("beats") for time in tree.iter("time")] == ["4", "3"]
    assert len(list(tree.iter("measure"))) == 4
    assert tree.findall(".//measure")[2].find("direction/sound").get("tempo") == "150"  # type: ignore[union-attr]


def test_silence_at_the_start_makes_a_pickup() -> None:
    converted = read(midi_bytes(line("-3", "1", "4", "4")))
    assert [m.get("number") for m in converted.tree.iter("measure")] == ["0", "1", "2"]
    assert "pick-up of one quarter" in told(converted)


def test_a_short_first_metre_is_a_pickup() -> None:
    track = mido.MidiTrack([mido.MetaMessage("time_signature", numerator=1, denominator=4)])
    for k in range(9):
        if k == 1:
            track.append(mido.MetaMessage("time_signature", numerator=4, denominator=4))
        track.append(mido.Message("note_on", note=60 + k, velocity=80))
        track.append(mido.Message("note_off", note=60 + k, time=96))
    tree = read(saved(mido.MidiFile(type=1, ticks_per_beat=96, tracks=[track]))).tree
    assert [(m.get("number"), m.get("implicit")) for m in tree.iter("measure")] == [
        ("0", "yes"),
        ("1", None),
        ("2", None),
    ]


def test_a_pickup_is_found_in_the_line_itself() -> None:
    """Every bar ends in a short note that leads to a long one; the last note is the first of its bar."""
    rhythm = ["1", *(["2", "1"] * 8), "2"]
    converted = read(midi_bytes(line(*rhythm), metre=(3, 4)))
    assert converted.tree.find(".//measure").get("number") == "0"  # type: ignore[union-attr]
    assert "ask for a pick-up of one quarter" in told(converted)


def _tracks(*names: str, kind: int = 1) -> bytes:
    tracks = []
    for k, name in enumerate(names):
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=name)])
        for pitch in SCALE:
            track.append(mido.Message("note_on", note=pitch + k, velocity=80, channel=k))
            track.append(mido.Message("note_off", note=pitch + k, time=480, channel=k))
        tracks.append(track)
    return saved(mido.MidiFile(type=kind, ticks_per_beat=480, tracks=tracks))


@pytest.mark.parametrize("kind", [1, 2])
def test_several_tracks_are_a_question_that_lists_them(kind: int) -> None:
    data = _tracks("Violin", "Cello", kind=kind)
    with pytest.raises(InputError, match=r"2 tracks carry notes: 1 Violin \(8 notes, C4 to C5\), 2 Cello"):
        read(data)
    assert sounds(read(data, track="2").tree)[0][2] == 61
    assert sounds(read(data, track="violin").tree)[0][2] == 60
    with pytest.raises(InputError, match="no track with notes is called 'Viola'"):
        read(data, track="Viola")


def test_channels_of_type_0_are_a_question_too() -> None:
    track = mido.MidiTrack()
    for channel in (0, 3, 9):
        track.append(mido.Message("note_on", note=60 + channel, velocity=80, channel=channel))
        track.append(mido.Message("note_off", note=60 + channel, time=480, channel=channel))
    data = saved(mido.MidiFile(type=0, ticks_per_beat=480, tracks=[track]))
    with pytest.raises(InputError, match=r"2 channels carry notes: 1 channel 1 .*, 2 channel 4"):
        read(data)
    assert sounds(read(data, track="2").tree)[0][2] == 63


def test_lyrics_stand_under_their_notes() -> None:
    track = mido.MidiTrack()
    for k, word in enumerate(("La-", "la ", "la")):
        track.append(mido.MetaMessage("lyrics", text=word))
        track.append(mido.Message("note_on", note=60 + k, velocity=80))
        track.append(mido.Message("note_off", note=60 + k, time=480))
    tree = read(saved(mido.MidiFile(type=1, ticks_per_beat=480, tracks=[track]))).tree
    assert [lyric.findtext("text") for lyric in tree.iter("lyric")] == ["La", "la", "la"]


def test_film_time_is_read_at_the_standard_tempo() -> None:
    """A division of -25 frames of 40 ticks: 500 ticks are half a second, a quarter at 120 (RP-001)."""
    data = bytearray(midi_bytes(line(*["1"] * 8), ticks=500))
    data[12:14] = bytes([256 - 25, 40])
    converted = read(bytes(data))
    assert [sound[1] for sound in sounds(converted.tree)] == [Fraction(1)] * 8
    assert "film frames (25 a second)" in told(converted)


def test_a_grid_can_be_asked_for() -> None:
    data = midi_bytes(line("1/3", "1/3", "1/3", "1", "1", "1"))
    assert sounds(read(data, grid="eighths").tree)[1][0] == Fraction(1, 2)
    with pytest.raises(InputError, match="no grid"):
        read(data, grid="64ths")


def test_riff_wrapped_files_are_read() -> None:
    inner = midi_bytes(line("1", "1"))
    data = b"RIFF" + (len(inner) + 12).to_bytes(4, "little") + b"RMIDdata" + len(inner).to_bytes(4, "little") + inner
    assert len(sounds(read(data).tree)) == 2


def test_only_percussion_and_no_notes() -> None:
    track = mido.MidiTrack([mido.Message("note_on", note=38, channel=9), mido.Message("note_off", note=38, channel=9)])
    with pytest.raises(ScoreError, match="only percussion"):
        read(saved(mido.MidiFile(tracks=[track])))
    with pytest.raises(ScoreError, match="holds no notes"):
        read(saved(mido.MidiFile(tracks=[mido.MidiTrack()])))
    with pytest.raises(ScoreError, match="no MIDI file"):
        read(b"<score-partwise/>")


def test_every_odd_file_reads_or_is_refused_in_one_sentence() -> None:
    """All 70 files of the open collection. The library underneath refuses 10 of them."""
    folder = shared_folder() / "data" / "smf-edge-cases" / "midi"
    valid = schema()
    outcomes = {"read": 0, "asked": 0, "refused": 0}
    for path in sorted(folder.iterdir()):
        try:
            converted = midi_to_musicxml(path.read_bytes(), file=path.name)
        except PartwrightError as error:
            outcomes["refused" if isinstance(error, ScoreError) else "asked"] += 1
            text = str(error)
            assert text.startswith(path.name) and "\n" not in text and len(text) < 700, text
            continue
        outcomes["read"] += 1
        assert valid.validate(converted.tree), (path.name, valid.error_log)
        assert all(remark.startswith(path.name) and remark.endswith(".") for remark in converted.remarks)
    assert outcomes == {"read": 38, "asked": 8, "refused": 24}


def test_quantise_prefers_the_plainest_grid_that_explains_the_notes() -> None:
    beat = Fraction(1)
    assert quantise([0.01, 0.98], beat_quarters=beat).onsets == (0, 1)
    assert quantise([0.0, 0.34, 0.66], beat_quarters=beat).onsets == (0, Fraction(1, 3), Fraction(2, 3))
    assert quantise([0.0, 0.26, 0.49, 0.74], beat_quarters=beat).onsets == (
        0,
        Fraction(1, 4),
        Fraction(1, 2),
        Fraction(3, 4),
    )
    assert quantise([0.0, 0.52, 0.98], beat_quarters=Fraction(3, 2)).onsets == (0, Fraction(1, 2), 1)
    assert quantise([], beat_quarters=beat).onsets == ()
