"""Counts within some bars: "two Ds in that bar", "it comes three times in the whole tune"."""

from __future__ import annotations

from dataclasses import replace

from partwright.checking.narration.judged import Judged
from partwright.checking.narration.mentions import Claim
from partwright.checking.narration.places import Place
from partwright.checking.narration.telling import Telling
from partwright.checking.narration.wording import times_words

__all__ = ["compare_count", "counted_in"]

_SCOPE_WORDS, _SURE = 7, 0.85
_MOST_SURE = 0.9
_UNKNOWN = 0.5


def counted_in(telling: Telling, claim: Claim, here: Place) -> range | None:
    """The bars, by index, in which a count is made; None if unsaid. An empty range where it is said and not known."""
    words, k = telling.words, claim.last_word
    stop = next((j for j, word in enumerate(words[k : k + _SCOPE_WORDS]) if word.stop == 2), _SCOPE_WORDS)
    forms = [word.form for word in words[k + 1 : k + 1 + stop]]
    at = next((j for j, form in enumerate(forms[:2]) if form in ("in", "on")), -1)
    if at < 0 or not set(forms[at + 1 : at + 2]) & {"this", "that", "the", "our", "each", "every"}:
        return None
    bar = here.first.bar_index
    for form in forms[at + 2 :]:
        if form in ("bar", "measure"):
            return range(bar, bar + 1)
        if form in ("tune", "piece", "song", "page"):
            return range(len(telling.truth.part.bars))
        if form in ("section", "part", "half", "strain"):
            own = next((s for s in telling.sections if s.first_bar_index <= bar <= s.last_bar_index), None)
            return range(0) if own is None else range(own.first_bar_index, own.last_bar_index + 1)
        if form in ("phrase", "line", "passage"):
            return range(0)
    return None


def compare_count(telling: Telling, base: Judged, claim: Claim, here: Place, bars: range) -> Judged:
    """The verdict on a count within these bars, as printed or as played with the repeat."""
    if not bars:
        return replace(base, confidence=_UNKNOWN)
    truth = telling.truth
    struck = truth.struck(here.names, bars)
    places = sum(place.names == here.names and place.first.bar_index in bars for place in truth.places)
    said = int(claim.value[0])
    if said in (struck, places) or (len(bars) > 1 and said in (2 * struck, 2 * places)):
        return replace(base, confidence=_MOST_SURE)
    sure = telling.mentions[base.mention].p * claim.p  # wherever the speaker is, the page is known
    return replace(
        base, verdict="wrong" if sure >= _SURE else "check", right=times_words(struck),
        confidence=min(sure, _MOST_SURE), why="counted on the page",
    )  # fmt: skip
