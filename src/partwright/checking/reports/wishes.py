"""The tune a request asks for, and requests tallied by tune."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["Wish", "tally_wishes", "wished_tune"]

_QUOTED = re.compile(r"[\"“”«»]([^\"“”«»\n]{2,80})[\"“”«»]")
_ASKING = re.compile(
    r"\b(?:(?:can|could|will|would)(?:n['’]?t)? (?:you|u|we|someone)\b|please|pls|plz|kindly|i['’]?d\b|i would\b|"
    r"request(?:s|ing)?\b:?|suggestion\b:?|next video idea\b:?|video idea\b:?|any chance(?: of| you)?|"
    r"have you thought about|when (?:will|are|do) you|waiting for|hoping for|it would be \w+ to have|"
    r"(?:tutorial|lesson|video|version|cover|arrangement)s? (?:on|for|about|of)\b|wants? to learn|like to learn|"
    r"(?:do|doing|make|making|teach|teaching|play|playing|cover|covering|get|record|upload|have|consider|post|add|"
    r"arrange|pay|love|like|learn)\b(?= )|\bdo\b)",
    re.IGNORECASE,
)
_EMPTY = frozenset({
    "a", "about", "also", "an", "and", "another", "any", "as", "at", "be", "by", "can", "consider", "cool", "could",
    "cover", "d", "daughter", "day", "do", "doing", "for", "friend", "from", "get", "great", "have", "hello", "hey",
    "hi", "how", "i", "idea", "in", "is", "it", "lesson", "lessons", "like", "love", "lovely", "make", "making",
    "maybe", "me", "much", "my", "new", "next", "nice", "of", "on", "one", "pay", "play", "playing", "please", "pls",
    "plz", "point", "pretty", "really", "so", "some", "son", "soon", "style", "teach", "teaching", "thank", "thanks",
    "that", "the", "this", "to", "too", "tutorial", "us", "version", "video", "we", "well", "wife", "with", "would",
    "you", "your",
})  # fmt: skip
_LOWER_ENDS = re.compile(
    r"\s+(?:next(?: time| please| pls)?|please|pls|plz|lol|at some point|one day|some day|soon|for us|for me|as well|"
    r"too|in this style|would be \w+.*|could you.*|can you.*|thanks?.*|thank you.*)$",
    re.IGNORECASE,
)
_ENDS = re.compile(r"[?!.\n;]|,\s|\s[-–—]\s")
_LIKENESS = 0.84


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """A tune asked for, and the short ids of those who did."""

    tune: str
    viewers: tuple[str, ...]


def wished_tune(text: str) -> str:
    """The tune's title as it was written; empty where none can be made out."""
    text = re.sub(r"[^\w\s'’\"“”«»?!.,;:&\-–—()#]", " ", text)
    if quoted := _QUOTED.search(text):
        return quoted[1].strip()
    pieces: list[str] = []
    for sentence in _ENDS.split(text):
        cut = [_trimmed(piece) for piece in _ASKING.split(sentence)]
        pieces += [piece for piece in cut if piece]
    if not pieces:
        return ""
    return max(pieces, key=lambda piece: (_capitals(piece) > 0, _capitals(piece), min(len(piece.split()), 6)))


def _trimmed(piece: str) -> str:
    before = None
    piece = piece.strip(" \t,:;-–—()'’\"")
    while before != piece:
        before = piece
        piece = _LOWER_ENDS.sub("", piece).strip(" \t,:;-–—()'’\"")
    words = piece.split()
    while (
        words
        and words[0].casefold() in _EMPTY
        and not (words[0][0].isupper() and len(words) > 1 and words[1][0].isupper())
    ):
        words = words[1:]
    while words and words[-1].casefold() in _EMPTY:
        words = words[:-1]
    return " ".join(words)[:80]


def _capitals(piece: str) -> int:
    return sum(word[0].isupper() for word in piece.split() if word.casefold() != "i")


def tally_wishes(asked: Iterable[tuple[str, str]]) -> tuple[Wish, ...]:
    """(viewer, title) pairs summed by tune, most wanted first. Titles that differ by a slip of spelling are one."""
    import difflib

    viewers: dict[str, set[str]] = {}
    spellings: dict[str, Counter[str]] = {}
    for viewer, title in asked:
        key = _key(title)
        if not key:
            continue
        near = difflib.get_close_matches(key, list(viewers), n=1, cutoff=_LIKENESS) if key not in viewers else [key]
        known = near[0] if near else key
        viewers.setdefault(known, set()).add(viewer)
        spellings.setdefault(known, Counter())[title] += 1
    rows = [
        Wish(tune=max(spellings[k].items(), key=lambda row: (row[1], _capitals(row[0])))[0], viewers=tuple(sorted(v)))
        for k, v in viewers.items()
    ]
    return tuple(sorted(rows, key=lambda wish: (-len(wish.viewers), wish.tune.casefold())))


def _key(title: str) -> str:
    words = re.findall(r"\w+", title.casefold())
    return " ".join(word for word in words if word not in ("the", "a", "an"))
