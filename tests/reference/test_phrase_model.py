"""Phrase ends against the phrase marks of the Essen folk songs (music21's corpus), on songs the weights never saw.

The half is told by a hash of the songs' names (essen.py). The published comparison of phrase models on this collection
(Pearce, Muellensiefen and Wiggins 2010; from memory) has the best rule models between 0.6 and 0.7 in F1.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from essen import Song, essen_folder, is_test_song, read_songs
from phrase_baselines import at_rests, every_four_bars, found_ends, scores

from made_parts import part_of
from partwright.lesson import Bars, find_phrases
from partwright.lesson.phrases import best_cuts, local_boundaries

FILES = ("altdeu10.abc", "dva0.abc", "lux.abc")


@cache
def unseen_songs() -> tuple[Song, ...]:
    """About four hundred songs of the unseen half, of three collections."""
    folder = essen_folder()
    if folder is None:
        pytest.skip("music21's corpus is not installed")
    return tuple(song for song in read_songs(folder, files=FILES) if is_test_song(song.name))


def test_phrase_ends_beat_every_four_bars_and_rests() -> None:
    songs = unseen_songs()
    assert len(songs) > 150
    ours = scores(songs, found_ends)[2]
    assert ours > 0.7
    assert ours > scores(songs, every_four_bars)[2] + 0.15
    assert ours > scores(songs, at_rests)[2] + 0.15


@pytest.mark.slow
def test_phrase_ends_of_the_whole_unseen_half() -> None:
    folder = essen_folder()
    if folder is None:
        pytest.skip("music21's corpus is not installed")
    songs = [song for song in read_songs(folder) if is_test_song(song.name)]
    assert len(songs) > 4000
    assert scores(songs, found_ends)[2] > 0.77


@pytest.mark.filterwarnings("ignore::Warning")  # music21 warns of its own accord
def test_songs_are_read_as_music21_reads_them() -> None:
    """The small reader of this test's data against music21's: pitches, onsets and lengths of the first songs."""
    music21 = pytest.importorskip("music21")
    folder = essen_folder()
    assert folder is not None
    songs = {song.name: song for song in read_songs(folder, files=("dva0.abc",))}
    opus = music21.corpus.parse("essenFolksong/dva0")
    compared = 0
    for score in list(opus.scores)[:30]:
        song = songs.get(f"dva0 {score.metadata.number}")
        if song is None:
            continue
        notes = list(score.flatten().stripTies().notes)
        theirs = [(n.pitch.midi, Fraction(n.quarterLength).limit_denominator(48)) for n in notes]
        ours = [(n.midi, n.duration_quarters) for n in song.part.notes]
        assert ours == theirs, song.name
        compared += 1
    assert compared >= 15


def test_local_boundary_is_the_published_formula() -> None:
    """Cambouropoulos 2001, worked by hand: intervals 2, 2, 7, 2 in pitch alone give the peak at the seventh."""
    pitch = np.array([60.0, 62.0, 64.0, 71.0, 73.0])
    even = np.ones(4)
    strengths = local_boundaries(even, np.zeros(4), pitch)
    change = abs(2 - 7) / (2 + 7)
    worked = np.array([0.0, 2 * change, 7 * (change + change), 2 * change])
    assert strengths == pytest.approx(0.25 * worked / worked.max())


def test_best_cut_is_that_of_brute_force() -> None:
    random = np.random.default_rng(3)
    for _ in range(40):
        count = int(random.integers(2, 10))
        strengths, stretches = random.normal(size=count - 1), random.normal(size=(count, count))
        ways = []
        for mask in range(2 ** (count - 1)):
            cuts = [k for k in range(count - 1) if mask >> k & 1]
            bounds = [-1, *cuts, count - 1]
            lengths = [(b, b - a - 1) for a, b in pairwise(bounds)]
            ways.append((strengths[cuts].sum() + sum(stretches[b, size] for b, size in lengths), tuple(cuts)))
        assert best_cuts(strengths, stretches) == max(ways)[1]


def test_slur_is_never_cut() -> None:
    """Common practice, no source: a slur is under one bow, so a phrase does not end inside it."""
    lengths = [Fraction(1, 2)] * 7 + [Fraction(5, 2)] + [Fraction(1, 2)] * 8
    sounds = [50, 52, 54, 55, 57, 55, 54, 50, 50, 52, 54, 55, 57, 55, 54, 50]
    free = find_phrases(Bars(part_of(sounds, quarters=lengths)))
    assert 7 in {phrase.last for phrase in free}
    bound = find_phrases(Bars(part_of(sounds, quarters=lengths, slurred=range(15))))
    assert [(phrase.first, phrase.last) for phrase in bound] == [(0, 15)]


def test_phrases_cover_every_event_once() -> None:
    for song in unseen_songs()[:60]:
        bars = Bars(song.part)
        phrases = find_phrases(bars)
        assert [k for p in phrases for k in range(p.first, p.last + 1)] == list(range(len(bars.events)))


def test_weights_are_those_that_were_learnt() -> None:
    """Every term of the model has its row, and every row its term."""
    import tomllib

    from partwright.lesson import phrases

    table = Path(phrases.__file__).parent / "data" / "phrases.toml"
    rows = tomllib.loads(table.read_text(encoding="utf-8"))
    assert set(rows) == {*phrases.PLACE_TERMS, *phrases.STRETCH_TERMS}
    assert all(row["counts"] for row in rows.values())
