"""Mutated ABC and MIDI: whatever comes in, a valid tree comes out or one sentence, and never anything else.

Long runs (17,000 ABC texts, 26,000 MIDI files and as many seconds of generated events as patience allowed) found the
cases kept at the end; the last 7,600 and 20,000 found nothing. Schema: MusicXML 4.0.
"""

from __future__ import annotations

import random
from functools import cache
from typing import Any

import mido
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lxml import etree

from conftest import shared_folder
from partwright.errors import PartwrightError
from partwright.score.quantise import GRIDS
from partwright.score.read_abc import abc_to_musicxml, decode_abc
from partwright.score.read_midi import midi_to_musicxml
from score_checks import corpus_abc, midi_bytes, saved, schema

SHORT = (
    "[ | \" { } ( ) - (3 (5:4:6 :| |: [1 & !f! ! % \\ ^ __ '''' ,,, / // 999 > <<< Z3 z x [K:Bbm] [M:C|] [L:1/1] é y u "
    "v A8/3 (1 (64:1:64 [CEG]2 {/cd} :: |] .| [| +f+ ~ H T $ * # ; ? @ `"
)
LINES = (
    "\n", "\\\n", "K:C#\n", "M:7/8\n", "L:1/64\n", "Q:0\n", "V:3\n", "w: a-b_c*|\n", "+: more\n", "s: !f! *\n",
    "U:T=!trill!\n", "\x00", "\u2028", "\\u0041", "I:propagate-accidentals not\n", "%%MIDI transpose 12\n", "X:2\n",
    "m: a = b\n", "P:B\n", "T:\n",
)  # fmt: skip
FRAGMENTS = (*SHORT.split(" "), *LINES)

EVERYTHING = """X:1
T:All
C:N
M:6/8
L:1/8
Q:"Allegro" 3/8=100
V:1 name="A" clef=bass
V:2 clef=treble-8
K:D dor ^f
V:1
|:"Am7"!1!A>"^x"B {/cd}(c(3efg) |1 [CEG]2-[CEG]!f!z Z2 & c3 d3 :|2 [K:Bb][M:2/4]_B,,2 !D.C.!|]
w: a-b c_ * | d~e
+: f
V:2
d3 e3|x6|y2 .(a2b)u[ac'] :|
[V:1] P:A
"""


@cache
def _schema() -> etree.XMLSchema:
    return schema()


@cache
def _tunes() -> tuple[str, ...]:
    folders = ("ryansMammoth", "oneills1850", "josquin", "miscFolk", "airdsAirs")
    return tuple(text for _, text in corpus_abc(folders, count=60, seed=5)) + (EVERYTHING,) * 5


def _mutated_text(rng: random.Random) -> str:
    text = rng.choice(_tunes())
    for _ in range(rng.choice((1, 1, 2, 4, 10, 30))):
        at = rng.randrange(len(text) + 1)
        match rng.randrange(5):
            case 0:
                text = text[:at] + text[at + rng.randrange(1, 10) :]
            case 1 | 2:
                text = text[:at] + rng.choice(FRAGMENTS) + text[at:]
            case 3:
                text = text[:at] + chr(rng.choice((rng.randrange(32, 127), rng.randrange(1, 300)))) + text[at + 1 :]
            case _:
                other = rng.randrange(len(text) + 1)
                text = text[:at] + text[other : other + rng.randrange(60)] + text[at:]
    return text


def _abc_outcome(text: str) -> str:
    try:
        converted = abc_to_musicxml(text, file="f.abc")
    except PartwrightError as error:
        assert "\n" not in str(error)
        return "refused"
    assert _schema().validate(converted.tree), _schema().error_log
    return "read"


def _run_abc(count: int, seed: int) -> None:
    rng = random.Random(seed)
    outcomes = [_abc_outcome(_mutated_text(rng)) for _ in range(count)]
    assert outcomes.count("read") > 0.4 * count


def test_mutated_abc() -> None:
    _run_abc(150, 31)


@pytest.mark.slow
def test_much_mutated_abc() -> None:
    _run_abc(4000, 32)


@settings(max_examples=150, suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(st.text(alphabet="ABcd,'^_=/23|:[]()-{}\"!<>&zZxuv.~ \\\n%w:K-", max_size=80))
def test_any_music_line(music: str) -> None:
    _abc_outcome(f"X:1\nL:1/8\nK:C\n{music}")


@given(st.binary(max_size=60))
def test_any_bytes_as_text(data: bytes) -> None:
    _abc_outcome(decode_abc(b"X:1\nK:C\nCDE|" + data)[0])


def _midi_outcome(data: bytes, **more: Any) -> str:
    try:
        converted = midi_to_musicxml(data, file="f.mid", **more)
    except PartwrightError as error:
        assert "\n" not in str(error)
        return "refused"
    assert _schema().validate(converted.tree), _schema().error_log
    return "read"


@cache
def _files() -> tuple[bytes, ...]:
    folder = shared_folder() / "data" / "smf-edge-cases" / "midi"
    odd = tuple(path.read_bytes() for path in sorted(folder.glob("*.mid")) if path.stat().st_size)
    plain = midi_bytes([(k / 3, k / 3 + 0.3, 50 + k % 20) for k in range(40)])
    return odd + (plain,) * 20


def _mutated_bytes(rng: random.Random) -> bytes:
    data = bytearray(rng.choice(_files()))
    for _ in range(rng.choice((1, 1, 2, 4, 10))):
        at = rng.randrange(len(data)) if data else 0
        match rng.randrange(4):
            case 0 if data:
                data[at] = rng.randrange(256)
            case 1:
                del data[at : at + rng.randrange(1, 8)]
            case 2:
                data[at:at] = bytes(rng.randrange(256) for _ in range(rng.randrange(1, 6)))
            case _ if data:
                data[at] = rng.choice((0, 0x7F, 0x80, 0xFF, 0x90, 0x51, 0x58, 0x59))
    return bytes(data)


def test_mutated_midi() -> None:
    rng = random.Random(41)
    outcomes = [_midi_outcome(_mutated_bytes(rng), track=rng.choice((None, "1"))) for _ in range(400)]
    assert outcomes.count("read") > 20


@pytest.mark.slow
def test_much_mutated_midi() -> None:
    rng = random.Random(42)
    for _ in range(15_000):
        _midi_outcome(_mutated_bytes(rng), track=rng.choice((None, "1", "2")), grid=rng.choice(GRIDS))


_times = st.one_of(st.integers(0, 50), st.integers(0, 900))
_events = st.one_of(
    st.builds(lambda n, v, c, t: mido.Message("note_on", note=n, velocity=v, channel=c, time=t),
              st.integers(0, 127), st.integers(0, 127), st.sampled_from([0, 0, 0, 1, 9]), _times),
    st.builds(lambda n, c, t: mido.Message("note_off", note=n, channel=c, time=t),
              st.integers(0, 127), st.sampled_from([0, 0, 0, 1, 9]), _times),
    st.builds(lambda n, d, t: mido.MetaMessage("time_signature", numerator=n, denominator=2**d, time=t),
              st.integers(1, 255), st.integers(0, 8), _times),
    st.builds(lambda k, t: mido.MetaMessage("key_signature", key=k, time=t),
              st.sampled_from(["C", "Cb", "C#", "Abm", "A#m", "F#"]), _times),
    st.builds(lambda v, t: mido.MetaMessage("set_tempo", tempo=v, time=t), st.integers(1, 2**24 - 1), _times),
    st.builds(lambda v, t: mido.MetaMessage("lyrics", text=v, time=t), st.text("a- /\\", max_size=4), _times),
    st.builds(lambda v, t: mido.MetaMessage("marker", text=v, time=t), st.text("ab", max_size=4), _times),
)  # fmt: skip


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(
    tracks=st.lists(st.lists(_events, max_size=25), min_size=1, max_size=3),
    kind=st.sampled_from([0, 1, 2]),
    ticks=st.sampled_from([1, 7, 24, 96, 480, 32767]),
    grid=st.sampled_from(GRIDS),
)
def test_any_well_formed_midi(tracks: list[list[Any]], kind: int, ticks: int, grid: str) -> None:
    tracks = tracks[:1] if kind == 0 else tracks
    made = [mido.MidiTrack(events) for events in tracks]
    _midi_outcome(saved(mido.MidiFile(type=kind, ticks_per_beat=ticks, tracks=made)), track="1", grid=grid)


def test_kept_find_words_go_on_after_another_voice_begins() -> None:
    assert _abc_outcome("X:1\nL:1/4\nV:1\nV:2\nK:C\nV:1\nCDE|\nw: a b\nV:2\n+: c\nGAB|\n") == "read"


def test_kept_find_notes_below_the_lowest_octave() -> None:
    data = midi_bytes([(0.0, 1.0, 5), (1.0, 2.0, 60), (2.0, 3.0, 0), (3.0, 4.0, 12)])
    assert _midi_outcome(data) == "read"
    remarks = midi_to_musicxml(data, file="f.mid").remarks
    assert any("3 notes below" in remark for remark in remarks)


def test_kept_find_a_metre_over_64() -> None:
    """Its beat is shorter than the finest place of the coarsest grid."""
    track = mido.MidiTrack([mido.MetaMessage("time_signature", numerator=1, denominator=64)])
    track.append(mido.Message("note_on", note=60, velocity=1))
    data = saved(mido.MidiFile(type=0, ticks_per_beat=1, tracks=[track]))
    assert _midi_outcome(data, grid="eighths") == "read"
