"""What is made from the findings: correction cards for the video, better captions, what to say instead.

Units: seconds. Source of the reading speed: BBC Subtitle Guidelines, 160 to 180 words a minute, that is 0.33 to 0.375 s
a word; of what a cue may hold: W3C WebVTT ("&" and "<" escaped, no blank line, no "-->").
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from partwright.checking.narration.narration import NarrationCheck, NarrationFinding
from partwright.checking.narration.transcript import Cue
from partwright.checking.narration.wording import card_value, finger_words, note_words

__all__ = ["CorrectionCard", "cards_document", "corrected_captions", "correction_cards", "say_instead"]

_SECONDS_A_WORD = 0.375
_LEAST_SECONDS = 2.5
_GAP_SECONDS = 0.2
_SENTENCE_WORDS = 18
_BREATH_WORDS = 7  # where the captions have no full stops


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectionCard:
    """A line to show on screen while the mistake is heard."""

    start_s: float
    end_s: float
    text: str
    bar: str
    beat: str
    kind: str


def correction_cards(located: Iterable[NarrationFinding]) -> tuple[CorrectionCard, ...]:
    """One card for every *wrong* finding with a time, each long enough to be read, none over another."""
    cards: list[CorrectionCard] = []
    for item in sorted(located, key=lambda i: i.finding.time_s or 0.0):
        finding = item.finding
        if finding.verdict != "wrong" or finding.time_s is None:
            continue
        said, right = card_value(finding.kind, item.claimed), card_value(finding.kind, finding.right)
        text = right if finding.kind == "structure" else f"{right}, not {_shortened(said, right)}"
        text = f"Bar {finding.bar}: {text}" if finding.bar else text
        seconds = max(_LEAST_SECONDS, _SECONDS_A_WORD * len(text.split()))
        start = max(0.0, finding.time_s)
        if cards and start < cards[-1].end_s + _GAP_SECONDS:
            start = cards[-1].end_s + _GAP_SECONDS
        cards.append(
            CorrectionCard(
                start_s=round(start, 3), end_s=round(start + seconds, 3), text=text, bar=finding.bar,
                beat=finding.beat, kind=finding.kind,
            )
        )  # fmt: skip
    return tuple(cards)


def _shortened(said: str, right: str) -> str:
    """What was said without the word both end with: "2nd finger, not 3rd"."""
    one, two = said.split(), right.split()
    return " ".join(one[:-1]) if len(one) > 1 and len(two) > 1 and one[-1] == two[-1] else said


def cards_document(cards: Iterable[CorrectionCard]) -> dict[str, object]:
    """The cards as plain values."""
    return {
        "cards": [
            {"start_s": c.start_s, "end_s": c.end_s, "text": c.text, "bar": c.bar, "beat": c.beat, "kind": c.kind}
            for c in cards
        ]
    }


def corrected_captions(check: NarrationCheck) -> str:
    """A WebVTT file of the same speech: misheard note names and fingers mended where the check is sure of them.

    What was really said stays, even where it is wrong: captions say what is heard. Cues without a time are left out of
    a WebVTT file, as it cannot hold them; overlapping cues end where the next one begins.
    """
    mended = _mended_words(check)
    lines = ["WEBVTT", ""]
    timed = [(k, cue) for k, cue in enumerate(check.transcript.cues) if cue.start_s is not None]
    timed.sort(key=lambda item: item[1].start_s or 0.0)
    for number, (index, cue) in enumerate(timed):
        text = "\n".join(line for line in _mended_text(cue, mended.get(index, ())).split("\n") if line.strip())
        if not text:
            continue
        start = cue.start_s or 0.0
        end = cue.end_s if cue.end_s is not None and cue.end_s > start else start + _reading_seconds(text)
        if number + 1 < len(timed):
            following = timed[number + 1][1].start_s or 0.0
            end = min(end, following) if following > start else end
        lines += [f"{_stamp(start)} --> {_stamp(max(end, start + 0.001))}", _escaped(text), ""]
    return "\n".join(lines)


Replacement = tuple[int, int, str]  # from, to (offsets into the cue's text), what to put there


def _mended_words(check: NarrationCheck) -> Mapping[int, tuple[Replacement, ...]]:
    found: dict[int, list[Replacement]] = {}
    sure = {
        j.mention for j in check.judged if j.kind == "note" and j.verdict in ("right", "wrong") and j.confidence > 0.8
    }
    for k, mention in enumerate(check.mentions):
        if k not in sure or mention.note is None or mention.plural or mention.name_first < 0:
            continue
        name = note_words(*mention.note)
        spans = [(mention.name_first, mention.name_last, name)]
        for claim in mention.claims:
            if claim.kind == "finger" and 1 <= int(claim.value[0]) <= 4:
                words = [check.words[w].form for w in range(claim.first_word, claim.last_word + 1)]
                if len(words) == 2 and words[0] in ("forth", "fort", "furst", "thurd"):
                    spans.append((claim.first_word, claim.last_word, finger_words(int(claim.value[0]))))
        for first, last, text in spans:
            one, two = check.words[first], check.words[last]
            written = check.words_between(first, last)
            ends_in_name = len(written.split()) <= len(text.split()) + 1
            if one.cue == two.cue and written != text and ends_in_name and _only_the_name(written):
                found.setdefault(one.cue, []).append((one.begin, two.end, text))
    return {cue: tuple(sorted(spans)) for cue, spans in found.items()}


def _only_the_name(written: str) -> bool:
    """Whether the words are a name alone, without "open", "high" or a count that must stay."""
    return not {"open", "high", "low", "string", "upper", "lower", "top", "bottom"} & set(written.lower().split())


def _mended_text(cue: Cue, replacements: Iterable[Replacement]) -> str:
    text, last = "", 0
    for begin, end, new in replacements:
        if begin < last:
            continue
        text += cue.text[last:begin] + new
        last = end
    return text + cue.text[last:]


def say_instead(check: NarrationCheck, located: Iterable[NarrationFinding]) -> tuple[dict[str, object], ...]:
    """For every *wrong* finding the sentence as it was said, and as it should be said again."""
    rows: list[dict[str, object]] = []
    for item in located:
        if item.finding.verdict != "wrong" or item.first_word < 0:
            continue
        first, last = _sentence(check, item.first_word, item.last_word)
        before = check.words_between(first, item.first_word - 1) if item.first_word > first else ""
        after = check.words_between(item.last_word + 1, last) if item.last_word < last else ""
        right = item.finding.right
        new = right if item.finding.kind not in ("structure",) else f"[{right}]"
        sentence = " ".join(piece for piece in (before, new, after) if piece)
        rows.append(
            {
                "time_s": item.finding.time_s, "bar": item.finding.bar, "beat": item.finding.beat,
                "said": check.words_between(first, last), "say": sentence,
            }
        )  # fmt: skip
    return tuple(rows)


def _sentence(check: NarrationCheck, first: int, last: int) -> tuple[int, int]:
    """The sentence around these words, or so many words of it as one can say again in one breath."""
    stops = any(word.stop == 2 for word in check.words[max(0, first - 60) : last + 60])
    most = _SENTENCE_WORDS if stops else _BREATH_WORDS
    start = first
    while start > 0 and first - start < most and check.words[start - 1].stop < 2 and not check.words[start].pause_s:
        start -= 1
    end = last
    while end + 1 < len(check.words) and end - last < most and check.words[end].stop < 2:
        if check.words[end + 1].pause_s:
            break
        end += 1
    return start, end


def _reading_seconds(text: str) -> float:
    return max(1.0, _SECONDS_A_WORD * len(text.split()))


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _stamp(seconds: float) -> str:
    whole = round(seconds * 1000)
    return f"{whole // 3600000:02}:{whole // 60000 % 60:02}:{whole // 1000 % 60:02}.{whole % 1000:03}"
