"""Tempo words to a tempo, by the table in `data/tempo_terms.csv` (common practice, no source; ranges overlap)."""

from __future__ import annotations

import csv
import re
from functools import cache
from pathlib import Path

__all__ = ["ASSUMED_QPM", "beat_quarters", "is_a_tempo", "is_first_tempo", "words_to_bpm"]

ASSUMED_QPM = 96.0
"""What is assumed when a tune gives no tempo at all; always said in a remark."""

_A_TEMPO = re.compile(r"\ba\s+tempo\b", re.IGNORECASE)
_FIRST_TEMPO = re.compile(r"\btempo\s+(i|1|1o|1º|1°|primo)(?!\w)|\bl'istesso\s+primo\b", re.IGNORECASE)


def words_to_bpm(text: str) -> float | None:
    """Beats per minute for the first tempo word in a text: the middle of its range; None if there is none.

    >>> words_to_bpm("Andante con moto")
    90.0
    >>> words_to_bpm("dolce") is None
    True
    """
    if len(text) > 200:
        return None
    terms, pattern = _table()
    found = pattern.search(text)
    return None if found is None else terms[found.group(1).casefold()]


def beat_quarters(beats: int, beat_type: int) -> float:
    """What a tempo word counts, in quarter notes: the dotted beat in 6/8, 9/8 and 12/8, else the metre's beat.

    Common practice, no source.
    """
    if beat_type >= 8 and beats in (6, 9, 12):
        return 12 / beat_type
    return 4 / min(beat_type, 4)


def is_a_tempo(text: str) -> bool:
    """Whether the words call back the tempo before a ritardando."""
    return _A_TEMPO.search(text) is not None


def is_first_tempo(text: str) -> bool:
    """Whether the words call back the tempo of the beginning ("Tempo I", "Tempo primo")."""
    return _FIRST_TEMPO.search(text) is not None


@cache
def _table() -> tuple[dict[str, float], re.Pattern[str]]:
    text = (Path(__file__).parent / "data" / "tempo_terms.csv").read_text(encoding="utf-8")
    terms = {
        row["term"].casefold(): (float(row["bpm_low"]) + float(row["bpm_high"])) / 2
        for row in csv.DictReader(text.splitlines())
    }
    longest_first = sorted(terms, key=len, reverse=True)
    return terms, re.compile(rf"\b({'|'.join(longest_first)})\b", re.IGNORECASE)
