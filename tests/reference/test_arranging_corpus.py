"""Arranging against open music and a reference library (music21 10.5 and the scores it carries), and against
reference/difficulty.csv (Davidoff 1888 in Wilson's English; a grade 1 syllabus)."""

from __future__ import annotations

import itertools
from collections import Counter
from fractions import Fraction
from pathlib import Path

import music21
import pytest
from arranging_measures import (
    CHOSEN_ON_TUNE,
    agreement,
    cello_pieces,
    chorales,
    harmonised,
    moved_against_library,
    open_scores,
    printed_truth,
)
from reference_rows import rows

from made_parts import part_of
from partwright.arranging import Harmony, breaches, judge_level, propose_chords, rank_keys, second_part, strong_moments
from partwright.instrument import load_instrument
from partwright.score import Part

CELLO = load_instrument("cello")
LEVELS = list(CELLO.levels)
_SCALE = {"major": (2, 2, 1, 2, 2, 2, 1), "minor": (2, 1, 2, 2, 1, 2, 2)}
_CHOSEN_ON = 22  # chorales on which three weights of the proposal were chosen


def _compare(most: int) -> tuple[int, Counter[str]]:
    total: Counter[str] = Counter()
    scores = 0
    for _, part in open_scores(most):
        scores += 1
        for semitones in (-5, -2, 3, 6):
            total += moved_against_library(part, semitones)
    return scores, total


def _same_as_the_library(total: Counter[str]) -> None:
    assert total["same pitch"] == total["notes"] > 1000
    # Names differ only where the library writes a double sharp or flat that leads nowhere, or would need more than
    # seven sharps or flats in the signature.
    assert total["same name"] + total["plainer name"] >= 0.999 * total["notes"]
    assert total["same name"] >= 0.97 * total["notes"]
    assert total["within 7"] == total["signatures"]
    assert total["within 6"] >= 0.98 * total["signatures"]


def test_transposition_agrees_with_the_library() -> None:
    scores, total = _compare(25)
    assert scores == 25
    _same_as_the_library(total)


@pytest.mark.slow
def test_transposition_agrees_with_the_library_on_five_hundred_scores() -> None:
    scores, total = _compare(520)
    assert scores >= 500
    _same_as_the_library(total)


def _own_place(part: Part) -> int:
    ranking = rank_keys(part, CELLO).ranking
    return next(place for place, choice in enumerate(ranking, start=1) if choice.given)


def test_composers_key_lies_well_on_some_quartet_movements() -> None:
    """Haydn, Mozart and Beethoven wrote for players: their key and octave is in the best quarter of the 36 tried."""
    pieces = [part for _, part in itertools.islice(cello_pieces(), 0, 24, 6)]
    assert all(_own_place(part) <= 9 for part in pieces)


@pytest.mark.slow
def test_composers_key_is_in_the_best_quarter_for_seven_in_ten_movements() -> None:
    places = [_own_place(part) for _, part in cello_pieces()]
    assert len(places) >= 40
    assert sum(place <= 9 for place in places) >= 0.7 * len(places)


def _agreement(pairs: list[tuple[Part, list[tuple[Fraction, int, str]]]]) -> Counter[str]:
    total: Counter[str] = Counter()
    for part, truth in pairs:
        total += agreement(part, truth)
    return total


def _beats_the_baselines(total: Counter[str]) -> None:
    for what in ("root", "root and quality"):
        ours = total[f"proposal: {what}"]
        assert ours > total[f"tonic everywhere: {what}"]
        assert ours > total[f"nearest triad: {what}"]


def test_proposed_chords_are_nearer_to_printed_symbols_than_the_baselines() -> None:
    """A song and two tunes of the Nottingham collection with printed symbols; not the song weights were chosen on."""
    tunes = [(part, harmony) for name, part, harmony in harmonised() if name != CHOSEN_ON_TUNE]
    _beats_the_baselines(_agreement([(part, printed_truth(part, harmony)) for part, harmony in tunes]))


def test_proposed_chords_are_nearer_to_what_bach_wrote_than_the_baselines() -> None:
    """From the soprano alone, against root and quality of the four voices as the library names them."""
    pairs = [(part, truth) for _, part, truth in itertools.islice(chorales(_CHOSEN_ON + 8), _CHOSEN_ON, None)]
    _beats_the_baselines(_agreement(pairs))


@pytest.mark.parametrize("kind", ["bass", "counter"])
def test_second_parts_have_no_parallels_by_the_library(kind: str) -> None:
    """music21's VoiceLeadingQuartet finds no consecutive fifths or octaves on strong beats, contrary ones included."""
    checked = 0
    for _, part, _ in itertools.islice(chorales(4), 4):
        harmony = Harmony(part, propose_chords(part).symbols)
        made = second_part(part, CELLO, kind=kind, level="intermediate", harmony=harmony)
        assert breaches(part, made.part, harmony, bass=kind == "bass") == ()
        assert not made.plan.relaxed
        strong = [at for at in strong_moments(part) if at >= harmony.spans[0].start_quarters]
        pairs = [(_sounding(part, at), _sounding(made.part, at)) for at in strong]
        for (a, c), (b, d) in itertools.pairwise(pairs):
            if None in (a, b, c, d):
                continue
            quartet = music21.voiceLeading.VoiceLeadingQuartet(a, b, c, d)
            assert not quartet.parallelFifth()
            assert not quartet.parallelOctave()
            checked += 1
    assert checked > 20


def _sounding(part: Part, onset: Fraction) -> str | None:
    notes = [n for n in part.notes if not n.grace and n.onset_quarters <= onset < n.end_quarters]
    return max(notes, key=lambda n: n.midi).pitch.name.replace("b", "-") if notes else None


# reference/difficulty.csv: what each listed item is played on, lowest note first. Where a row names positions, the
# notes are those that the position adds on the A string (reference/positions.csv).
_PIECES: dict[str, list[tuple[int, str, int]]] = {
    "C, G, F major in first position": [(36, "major", 2), (43, "major", 1), (41, "major", 1)],
    "extended first position; Bb, Eb major, g, c minor": [
        (46, "major", 1), (39, "major", 1), (43, "minor", 1), (36, "minor", 1),
    ],
    "raised first position (I 1/2); D, A, E major low": [(38, "major", 1), (45, "major", 1), (40, "major", 1)],
    "all major and minor scales, two octaves": [(low, mode, 2) for low in range(36, 48) for mode in ("major", "minor")],
    "grade 1: G, D major one octave from the open string; a natural minor; C major two octaves": [
        (43, "major", 1), (50, "major", 1), (45, "minor", 1), (36, "major", 2),
    ],
}  # fmt: skip
_NOTES: dict[str, tuple[int, ...]] = {
    "first position, closed hand": (57, 59, 60, 61, 62),
    "fourth position (taught first of the positions)": (64, 65, 66, 67),
    "half position": (58, 59, 60, 61),
    "second, third, III 1/2 positions": (60, 62, 63, 64, 65, 66),
    "IV 1/2 position": (65, 66, 67, 68),
    "V to VII, three-finger shapes": (66, 67, 68, 69, 71, 72),
    "thumb position": (69, 71, 72, 74, 76),
}


@pytest.mark.parametrize("row", [r for r in rows("difficulty") if r["item"] in {**_PIECES, **_NOTES}],
                         ids=lambda r: r["item"][:30])  # fmt: skip
def test_level_judge_puts_each_listed_item_at_its_grade_or_lower(row: dict[str, str]) -> None:
    item = row["item"]
    pieces = [_scale(*spec) for spec in _PIECES.get(item, ())]
    if item in _NOTES:
        pieces.append(part_of(_NOTES[item], quarters=1, tempo_qpm=60))
    for piece in pieces:
        judged = judge_level(piece, CELLO)
        assert judged is not None
        assert LEVELS.index(judged) <= LEVELS.index(row["stage"]), (item, piece.notes[0].pitch.name, judged)


def test_level_judge_tells_levels_apart() -> None:
    """Davidoff teaches fourth position after the first, and the thumb after all others."""
    assert judge_level(part_of((57, 59, 60, 62), quarters=1), CELLO) == "beginner"
    assert judge_level(part_of((64, 65, 67, 65), quarters=1), CELLO) == "intermediate"
    assert judge_level(part_of((76, 77, 79, 81), quarters=1), CELLO) == "advanced"


def _scale(low: int, mode: str, octaves: int) -> Part:
    up = [low, *itertools.accumulate(_SCALE[mode] * octaves, initial=low)][1:]
    return part_of([*up, *reversed(up[:-1])], quarters=1, tempo_qpm=60)


def test_corpus_is_there() -> None:
    assert (Path(music21.__file__).parent / "corpus").is_dir()
