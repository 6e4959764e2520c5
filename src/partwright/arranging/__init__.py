"""Keys and octaves, level versions, second part, accompaniment: what to play, decided by how it lies on the instrument.

>>> from partwright.arranging import parse_key
>>> parse_key("F# minor")
(6, 'minor')
"""

from typing import TYPE_CHECKING

from partwright.lazy import lazy_names

if TYPE_CHECKING:
    from partwright.arranging.keys import Displacement, KeyChoice, KeyRanking, PhraseSpan, keys_document, rank_keys
    from partwright.arranging.keys_of import key_in_words, mode_of, parse_key, tonic_of

__getattr__ = lazy_names(
    __name__,
    {
        "keys": ("Displacement", "KeyChoice", "KeyRanking", "PhraseSpan", "keys_document", "rank_keys"),
        "keys_of": ("key_in_words", "mode_of", "parse_key", "tonic_of"),
    },
)

__all__ = [
    "Displacement",
    "KeyChoice",
    "KeyRanking",
    "PhraseSpan",
    "key_in_words",
    "keys_document",
    "mode_of",
    "parse_key",
    "rank_keys",
    "tonic_of",
]
