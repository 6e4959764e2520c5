"""Is the viewer right? His claim against score and plan, and what else speaks for it.

He is *right* where the score or the plan bears him out and what was said (or an edition that was sold) does not; or
where the score itself speaks against its own note: bars that are otherwise the same have what he says, the chord symbol
holds it, the key has it. Each viewer is a further witness. Log-odds are added; the table `WEIGHTS` has them.
*right* from 0.85, *check* from 0.3; what lies below is *wrong*: the lesson stands.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from partwright.checking.finding import Verdict
from partwright.checking.narration.answers import UNSURE, pitch_class
from partwright.checking.narration.judged import Judged
from partwright.checking.narration.mentions import Claim
from partwright.checking.narration.places import Place
from partwright.checking.narration.truth import AGAINST_PLAN
from partwright.checking.narration.wording import claim_words, finger_words, note_words, truth_words
from partwright.checking.reports.locate import Grounds, Located, same_kind
from partwright.checking.reports.understand import Said, Understood
from partwright.lesson import Likeness
from partwright.score import Note, chord_notes

__all__ = ["WEIGHTS", "EditionNote", "Weighed", "said_words", "weigh", "with_viewers"]

# Natural logarithms of odds. Guesses from what each is worth to a teacher, checked on the evaluation set; no source.
WEIGHTS: Mapping[str, float] = {
    "score has it, nothing else known": -0.2,  # he saw or heard something: the video, or an old copy
    "score has it, slip said": 2.2,  # on top of the narration check's own belief
    "score has it, old edition differs": 6.0,
    "score differs": -1.8,
    "equal bars have it": 2.4,
    "chord symbol has it, not the note": 1.3,
    "chord symbol has the note, not it": -1.2,
    "said it right": 1.5,
    "key has it, not the note": 0.8,
    "key has the note, not it": -1.0,
    "plan differs": -2.6,
    "plan differs, and so does what was said": -1.0,
    "hand cannot": -3.0,
    "each further viewer": 0.7,
    "no value": -0.6,
}
RIGHT_FROM, CHECK_FROM = 0.85, 0.3
_SURE_PLACE = 0.6
_NEAR_SECONDS = 20.0
_MOST_WITNESSES = 4
_FIFTHS = "FCGDAEB"


@dataclass(frozen=True, slots=True, kw_only=True)
class EditionNote:
    """One note that an edition that was sold has at a place, as printed; `number` is the edition's."""

    number: int
    step: str
    alter: int
    finger: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """A claim judged. `likely` is the probability that the viewer is right; `concerns` what has to be mended."""

    verdict: Verdict
    likely: float
    log_odds: float
    right: str
    against: Literal["score", "plan"]
    concerns: Literal["score", "plan", "video", "edition", ""]
    why: str
    editions: tuple[int, ...] = ()
    wanted: tuple[str, int] | None = None  # the note the viewer says is right: step and alteration
    printed: tuple[str, int] | None = None  # the note an old edition has
    sold: str = ""  # what an old edition has, in our words
    said: str = ""  # what was said there instead, in our words
    said_s: float | None = None


def weigh(
    report: Understood,
    located: Located,
    grounds: Grounds,
    *,
    likenesses: Sequence[Likeness] = (),
    editions: Sequence[EditionNote] = (),
) -> Weighed:
    """One viewer's claim. `editions` is what those sold have at the place that was found."""
    against: Literal["score", "plan"] = "plan" if _plan_answers(report) else "score"
    if located.place < 0:
        return Weighed(verdict="check", likely=0.4, log_odds=-0.4, right="", against=against, concerns="",
                       why=located.missing)  # fmt: skip
    place = grounds.places[located.place]
    kind = report.proposed[0].claim if report.proposed else report.observed[0].claim if report.observed else report.kind
    right = truth_words(kind, place, grounds.truth)
    odds, concerns, why, found, said, at = _evidence(report, located, grounds, likenesses, editions)
    if located.p < _SURE_PLACE:
        odds = max(min(odds, _logit(RIGHT_FROM) - 0.01), _logit(CHECK_FROM) + 0.01)
        why = f"{why}; which note is meant is not sure" if why else "which note is meant is not sure"
    wanted = None
    if report.kind == "note" and report.proposed:
        step, alter = report.proposed[0].value
        wanted = (str(step), 0 if alter == 9 else int(alter))
    old = next((e for e in editions if e.number in found), None)
    return _settled(
        Weighed(verdict="check", likely=0.5, log_odds=odds, right=right, against=against, concerns=concerns, why=why,
                editions=found, said=said, said_s=at, wanted=wanted,
                printed=(old.step, old.alter) if old else None, sold=_sold(old, report))
    )  # fmt: skip


def _sold(old: EditionNote | None, report: Understood) -> str:
    if old is None:
        return ""
    if report.kind == "finger" and old.finger is not None:
        return finger_words(old.finger)
    return note_words(old.step, old.alter)


def with_viewers(weighed: Weighed, viewers: int) -> Weighed:
    """The same claim made by so many viewers."""
    more = WEIGHTS["each further viewer"] * (min(viewers, _MOST_WITNESSES) - 1)
    if more <= 0 or weighed.log_odds >= _logit(RIGHT_FROM):
        return weighed
    odds = weighed.log_odds + more
    if weighed.concerns == "" or "not sure" in weighed.why:  # more witnesses do not tell which note is meant
        odds = min(odds, max(weighed.log_odds, _logit(RIGHT_FROM) - 0.01))
    return _settled(replace(weighed, log_odds=odds))


def _settled(weighed: Weighed) -> Weighed:
    likely = 1.0 / (1.0 + math.exp(-weighed.log_odds))
    verdict: Verdict = "right" if likely >= RIGHT_FROM else "check" if likely >= CHECK_FROM else "wrong"
    return replace(weighed, likely=round(min(0.99, likely), 3), verdict=verdict)


def _logit(p: float) -> float:
    return math.log(p / (1.0 - p))


def _plan_answers(report: Understood) -> bool:
    return any(s.claim in AGAINST_PLAN for s in (*report.proposed, *report.observed)) or report.kind in (
        "finger", "string", "position", "bow", "extension", "harmonic",
    )  # fmt: skip


Evidence = tuple[
    float, Literal["score", "plan", "video", "edition", ""], str, tuple[int, ...], str, float | None
]  # log-odds, what is to be mended, why, editions, said, at


def _evidence(
    report: Understood, located: Located, grounds: Grounds, likenesses: Sequence[Likeness],
    editions: Sequence[EditionNote],
) -> Evidence:  # fmt: skip
    place = grounds.places[located.place]
    slip = _slip(report, located.place, grounds)
    proposed = report.proposed[:1]
    plan = _plan_answers(report)
    has = "the plan has" if plan else "the score has"
    if not proposed:
        if slip is not None:
            odds = _belief(slip) + WEIGHTS["score has it, slip said"] - 0.7
            return odds, "video", f"{slip.claimed} was said there", (), slip.claimed, _time_of(slip, grounds)
        if report.kind == "note" and (other := _equal_bars(place, None, likenesses, grounds)):
            return _logit(0.5), "score", f"bars that are otherwise the same have {other[1]}", (), "", None
        return WEIGHTS["no value"], "", "it does not say what it should be", (), "", None
    claim = proposed[0]
    true = _truth_at(claim, located.place, grounds)
    words = said_words(claim, grounds)
    if true == 1.0:
        having = {e.number for e in editions if _edition_has(e, claim)}
        old = sorted({e.number for e in editions} - having)
        if old:
            numbers = " and ".join(str(n) for n in old)
            why = f"edition{'s' if len(old) > 1 else ''} {numbers} had another; {has} it now"
            return WEIGHTS["score has it, old edition differs"], "edition", why, tuple(old), "", None
        if slip is not None:
            odds = _belief(slip) + WEIGHTS["score has it, slip said"]
            why = f"{has} {words}, but {slip.claimed} was said"
            return odds, "video", why, (), slip.claimed, _time_of(slip, grounds)
        heard = _heard_otherwise(report, located.place, grounds)
        if heard is not None:
            mention_s, said = heard
            return 1.9, "video", f"{has} {words}, but {said} seems to have been said", (), said, mention_s
        why = f"{has} {words} as well: listen to the place, or ask which copy they hold"
        return WEIGHTS["score has it, nothing else known"], "", why, (), "", None
    if true == UNSURE and report.kind == "note" and claim.value[1] == 9:
        return -1.4, "", f"{has} {truth_words('note', place, grounds.truth)}", (), "", None
    if report.kind == "note":
        odds, why = _score_evidence(place, claim, likenesses, grounds)
        if slip is not None and slip.claimed == words:
            odds += WEIGHTS["said it right"]
            why += f"; {words} was said"
        return odds, "score", why or f"{has} {truth_words('note', place, grounds.truth)}", (), "", None
    if true == UNSURE:
        return -0.3, "plan" if plan else "score", "it depends on how it is meant", (), "", None
    why = f"{has} {truth_words(claim.claim, place, grounds.truth)}"
    if plan and claim.claim == "finger" and grounds.truth.claim("offer_finger", claim.value)[located.place] == 0.0:
        return WEIGHTS["plan differs"] + WEIGHTS["hand cannot"], "plan", f"{why}; it cannot be played so", (), "", None
    if slip is not None and slip.claimed == words:
        why += f"; you said {words} yourself: pin it if you like it better"
        return WEIGHTS["plan differs, and so does what was said"] + 1.0, "plan", why, (), words, _time_of(slip, grounds)
    weight = WEIGHTS["plan differs"] if plan else WEIGHTS["score differs"]
    return weight, "plan" if plan else "score", why, (), "", None


def said_words(said: Said, grounds: Grounds) -> str:
    """What a viewer claims, in our words."""
    if said.claim == "note":
        return note_words(str(said.value[0]), None if said.value[1] == 9 else int(said.value[1]))
    claim = Claim(kind=said.claim, value=said.value, first_word=0, last_word=0)
    return claim_words(claim, grounds.check.instrument)


def _truth_at(said: Said, place: int, grounds: Grounds) -> float:
    if said.claim == "note":
        alter = None if said.value[1] == 9 else int(said.value[1])
        return float(grounds.truth.note(str(said.value[0]), alter)[place])
    return float(grounds.truth.claim(said.claim, said.value)[place])


def _belief(slip: Judged) -> float:
    return _logit(min(0.95, max(0.2, slip.confidence)))


def _slip(report: Understood, place: int, grounds: Grounds) -> Judged | None:
    """What the narration check doubts at this place, of this kind, near the time if one is given."""
    times = report.pointers.times_s
    heard = {said_words(s, grounds) for s in report.observed}  # what he heard, if he says so, must be the slip
    if report.kind == "note":
        heard |= {note_words(*name) for name in report.names}
    heard |= {said_words(s, grounds) for s in report.proposed} if heard else set()
    found = [
        slip
        for at, slip in grounds.slips
        if slip.place == place
        and (not heard or slip.claimed in heard or report.either)
        and same_kind(slip.kind, report.kind)
        and (not times or any(abs(t - at) < _NEAR_SECONDS for t in times))
    ]
    return max(found, key=lambda slip: slip.confidence, default=None)


def _time_of(slip: Judged, grounds: Grounds) -> float | None:
    return grounds.check.words[slip.first_word].start_s


def _heard_otherwise(report: Understood, place: int, grounds: Grounds) -> tuple[float, str] | None:
    """Where what the viewer heard stands in the transcript, said of this place, though the check let it pass."""
    check = grounds.check
    for k, mention in enumerate(check.mentions):
        at = check.words[mention.first_word].start_s
        if at is None or not any(abs(t - at) < _NEAR_SECONDS for t in report.pointers.times_s):
            continue
        if check.following.posterior[k][place] < 0.5:
            continue
        for said in report.observed:
            if said.claim == "note":
                heard = mention.note is not None and mention.note == (said.value[0], _alter(said))
            else:
                heard = any(c.kind == said.claim and c.value == said.value and c.p > 0.5 for c in mention.claims)
            if heard and _truth_at(said, place, grounds) == 0.0:
                return at, said_words(said, grounds)
    return None


def _alter(said: Said) -> int | None:
    return None if said.value[1] == 9 else int(said.value[1])


def _edition_has(edition: EditionNote, claim: Said) -> bool:
    if claim.claim == "note":
        alter = 0 if claim.value[1] == 9 else int(claim.value[1])
        return pitch_class(edition.step, edition.alter) == pitch_class(str(claim.value[0]), alter)
    if claim.claim == "finger" and edition.finger is not None:
        return edition.finger == claim.value[0]
    return True


def _score_evidence(place: Place, claim: Said, likenesses: Sequence[Likeness], grounds: Grounds) -> tuple[float, str]:
    """Log-odds that the score's own note is the mistake, and the words for it."""
    step, alter = str(claim.value[0]), 0 if claim.value[1] == 9 else int(claim.value[1])
    wanted, note = pitch_class(step, alter), place.note
    printed = pitch_class(note.pitch.step, round(note.pitch.alter))
    odds, reasons = WEIGHTS["score differs"], []
    other = _equal_bars(place, wanted, likenesses, grounds)
    if other is not None:
        odds += WEIGHTS["equal bars have it"]
        reasons.append(f"bar {other[0]} is the same but for it and has {other[1]}")
    chord = _chord_at(note, grounds)
    if chord is not None:
        text, classes = chord
        if wanted in classes and printed not in classes:
            odds += WEIGHTS["chord symbol has it, not the note"]
            reasons.append(f"the chord {text} holds {note_words(step, alter)}")
        elif printed in classes and wanted not in classes:
            odds += WEIGHTS["chord symbol has the note, not it"]
            reasons.append(f"the chord {text} holds the printed note")
    fifths = grounds.check.part.bars[note.bar_index].fifths
    wanted_in, printed_in = _in_key(step, alter, fifths), _in_key(note.pitch.step, round(note.pitch.alter), fifths)
    if wanted_in and not printed_in:
        odds += WEIGHTS["key has it, not the note"]
        reasons.append(f"the key has {note_words(step, alter)}")
    elif printed_in and not wanted_in:
        odds += WEIGHTS["key has the note, not it"]
    return odds, "; ".join([f"the score has {note_words(note.pitch.step, round(note.pitch.alter))}", *reasons])


def _equal_bars(
    place: Place, wanted: int | None, likenesses: Sequence[Likeness], grounds: Grounds
) -> tuple[str, str] | None:
    """Bar and note of an otherwise equal stretch that has the wanted pitch class here (None: any other)."""
    ids = {note.id for attack in place.attacks for note in attack.notes}
    by_id = grounds.check.part.by_id
    for likeness in likenesses:
        if likeness.semitones % 12 != 0:
            continue
        for difference in likeness.differences:
            if difference.what != "pitch":
                continue
            sides = (difference.note_ids, difference.like_ids)
            for mine, others in (sides, sides[::-1]):
                if not ids & set(mine):
                    continue
                for other in (by_id[name] for name in others if name in by_id):
                    found = pitch_class(other.pitch.step, round(other.pitch.alter))
                    if wanted is None or found == wanted:
                        return other.bar, note_words(other.pitch.step, round(other.pitch.alter))
    return None


def _chord_at(note: Note, grounds: Grounds) -> tuple[str, frozenset[int]] | None:
    symbol = None
    for chord in grounds.check.part.chord_symbols:
        if chord.onset_quarters > note.onset_quarters:
            break
        symbol = chord
    if symbol is None or not symbol.root_step:
        return None
    root = pitch_class(symbol.root_step, round(symbol.root_alter))
    return symbol.text, frozenset((root + n) % 12 for n in chord_notes(symbol))


def _in_key(step: str, alter: int, fifths: int) -> bool:
    at = _FIFTHS.index(step)
    signed = 1 if fifths > at else -1 if -fifths > 6 - at else 0
    return alter == signed
