"""Keys and octaves, level versions, second part, accompaniment: what to play, decided by how it lies on the instrument.

>>> from partwright.arranging import parse_key
>>> parse_key("F# minor")
(6, 'minor')
"""

from typing import TYPE_CHECKING

from partwright.lazy import lazy_names

if TYPE_CHECKING:
    from partwright.arranging.accompaniment import (
        Accompaniment,
        Style,
        accompaniment_score,
        accompany,
        style_for,
        style_table,
    )
    from partwright.arranging.clefs import clefs_for, ledger_lines
    from partwright.arranging.harmony import Harmony, unread_chords
    from partwright.arranging.judge import judge_level
    from partwright.arranging.keys import Displacement, KeyChoice, KeyRanking, PhraseSpan, keys_document, rank_keys
    from partwright.arranging.keys_of import interval_to, key_in_words, mode_of, parse_key, tonic_midi_class, tonic_of
    from partwright.arranging.part_writing import Breach, breaches, strong_moments
    from partwright.arranging.proposal import Proposal, propose_chords
    from partwright.arranging.rewriting import Step
    from partwright.arranging.second_line import KINDS, SecondPart, second_part
    from partwright.arranging.transposition import move_part, semitones_to
    from partwright.arranging.versions import Recognition, Version, make_version, recognition, steps_document
    from partwright.arranging.write_out import written_part, written_score, written_tune

__getattr__ = lazy_names(
    __name__,
    {
        "accompaniment": (
            "Accompaniment",
            "Style",
            "accompaniment_score",
            "accompany",
            "style_for",
            "style_table",
        ),
        "clefs": ("clefs_for", "ledger_lines"),
        "harmony": (
            "Harmony",
            "unread_chords",
        ),
        "judge": ("judge_level",),
        "keys": (
            "Displacement",
            "KeyChoice",
            "KeyRanking",
            "PhraseSpan",
            "keys_document",
            "rank_keys",
        ),
        "keys_of": (
            "interval_to",
            "key_in_words",
            "mode_of",
            "parse_key",
            "tonic_midi_class",
            "tonic_of",
        ),
        "part_writing": ("Breach", "breaches", "strong_moments"),
        "proposal": (
            "Proposal",
            "propose_chords",
        ),
        "rewriting": ("Step",),
        "second_line": (
            "KINDS",
            "SecondPart",
            "second_part",
        ),
        "transposition": ("move_part", "semitones_to"),
        "versions": (
            "Recognition",
            "Version",
            "make_version",
            "recognition",
            "steps_document",
        ),
        "write_out": (
            "written_part",
            "written_score",
            "written_tune",
        ),
    },
)

__all__ = [
    "KINDS",
    "Accompaniment",
    "Breach",
    "Displacement",
    "Harmony",
    "KeyChoice",
    "KeyRanking",
    "PhraseSpan",
    "Proposal",
    "Recognition",
    "SecondPart",
    "Step",
    "Style",
    "Version",
    "accompaniment_score",
    "accompany",
    "breaches",
    "clefs_for",
    "interval_to",
    "judge_level",
    "key_in_words",
    "keys_document",
    "ledger_lines",
    "make_version",
    "mode_of",
    "move_part",
    "parse_key",
    "propose_chords",
    "rank_keys",
    "recognition",
    "second_part",
    "semitones_to",
    "steps_document",
    "strong_moments",
    "style_for",
    "style_table",
    "tonic_midi_class",
    "tonic_of",
    "unread_chords",
    "written_part",
    "written_score",
    "written_tune",
]
