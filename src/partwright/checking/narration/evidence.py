"""What speaks for and against a doubted claim being a slip of the tongue.

A claim that disagrees with score or plan is either said wrongly, or misheard, or taken for another note's. What tells
these apart is written down here as numbers with names (`NAMES`); `verdict_model` weighs them.

Shape: one row of len(NAMES) values per claim. Units: logits for probabilities, else counts or 0/1.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from partwright.checking.narration.frames import frames_of, gap_of, span_of
from partwright.checking.narration.mentions import Claim, Mention
from partwright.checking.narration.places import Place
from partwright.checking.narration.scene import HEARD_FOR_CERTAIN, Scene

__all__ = ["NAMES", "Doubt", "evidence"]

KINDS = ("note", "finger", "string", "position", "count", "bow", "rhythm", "extension", "harmonic", "order")
NAMES = (
    "always", "disagrees_logit", "heard_logit", "name_heard_log", "of_another_log", "clean",
    "agrees_of_same_note", "disagrees_of_same_note", "place_before_fits", "place_after_fits",
    "unplaced_near", "disagrees_near", "odd_words_near", "gap_words", "fits_beside", "fits_other_note",
    "article_near", "in_run", "run_fits_with_gap", "run_more_wrong", "says_finger", "named", "lost_name_near",
    "disagrees_unclean", "apart", "beyond_comma", "right_finger_near", "bare_first", "bare_number",
    "frame_agrees", "frame_disagrees", "wide_agrees", "wide_disagrees",
    "fits_passed_over", "both_sides_fit", "both_sides_fit_a_name", "beside_and_loose", "called_and_close",
    "bare_and_loose", "share_of_doubtful_names", "doubtful_names_and_name",
    "place_logit", "step_before_skips", "step_after_skips", "unexplained_before", "unexplained_after",
    "fits_within_four", "fits_this_name_elsewhere", "share_disagreeing", "other_stroke_near",
    "sides_fit_and_beside", "name_after_article", "name_is_a", "name_guessed", "name_in_a_list",
    "bar_announced", "negated",
    *(f"kind_{kind}" for kind in KINDS),
)  # fmt: skip
"""What each column of the evidence is."""

_WINDOW = 3
_NEAR_PLACES = 4
_SENTENCE_WORDS = 8  # how far away another finger of the same note may be said
_FRAME_MOST = 3
_CLOSE_WORDS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """One claim in doubt (None: the name itself), how far it disagrees, and of which run of numbers it is."""

    kind: str
    mention: int
    claim: Claim | None
    disagrees: float
    misread: float
    run_fits_with_gap: bool = False
    run_wrong: int = 0


def evidence(doubt: Doubt, scene: Scene) -> tuple[float, ...]:
    """The row for one doubted claim; see `NAMES`."""
    k = doubt.mention
    mention = scene.mentions[k]
    claim = doubt.claim
    first, last = span_of(mention, claim)
    near = [j for j in range(k - 2, k + 3) if 0 <= j < len(scene.mentions) and j != k]
    gap = gap_of(mention, claim)
    window = range(max(0, first - _WINDOW), min(len(scene.words), last + _WINDOW + 1))
    forms = [scene.words[w].form for w in range(first, last + 1)]
    disagrees = _logit(doubt.disagrees)
    called = any(form in scene.language.finger_forms or "finger" in form for form in forms)  # "fingeron": run together
    if scene.clean and claim is not None and claim.value == (0,) and mention.name_first >= 0:
        called = called or (claim.first_word, claim.last_word) == (mention.name_first, mention.name_last)  # "open G"
    bare = doubt.kind == "finger" and claim is not None and not claim.run and len(forms) == 1 and claim.value != (0,)
    bare = bare and not called
    narrow, wide = frames_of(mention, claim, doubt.kind, scene.words, scene.taken)
    frames = scene.frames
    before_fits, after_fits = _continues(scene, k - 1, k), _continues(scene, k, k + 1)
    both = before_fits * after_fits
    beside = 0.0 if _held_fast(doubt, scene) else _fits_beside(doubt, scene)
    loose = float(len(gap) > _CLOSE_WORDS)
    values: Mapping[str, float] = {
        "always": 1.0,
        "disagrees_logit": disagrees,
        "heard_logit": _logit(claim.p if claim is not None else mention.p),
        "name_heard_log": math.log(max(0.02, mention.p)) if claim is None else 0.0,
        "of_another_log": math.log(0.005 + doubt.misread),
        "clean": float(scene.clean),
        "agrees_of_same_note": min(1, scene.agreeing[k]),
        "disagrees_of_same_note": min(3, max(0, scene.disagreeing[k] - 1)),
        "place_before_fits": before_fits,
        "place_after_fits": after_fits,
        "unplaced_near": sum(scene.likeliest[j] < 0 for j in near),
        "disagrees_near": min(4, sum(scene.disagreeing[j] for j in near)),
        "odd_words_near": min(4, sum(scene.odd[w] for w in window)),
        "gap_words": min(8, len(gap)) / 4,
        "fits_beside": beside,
        "fits_other_note": _fits_other(doubt, scene),
        "article_near": float(
            any(
                scene.words[w].form == "a" and w not in scene.taken
                for w in {*gap, last + 1, first - 1}
                if 0 <= w < len(scene.words)
            )
        ),
        "in_run": float(claim is not None and claim.run > 0),
        "run_fits_with_gap": float(doubt.run_fits_with_gap),
        "run_more_wrong": min(3, max(0, doubt.run_wrong - 1)),
        "says_finger": float(called),
        "named": float(mention.note is not None),
        "lost_name_near": float(any(scene.mentions[j].note is None for j in near if abs(j - k) == 1)),
        "apart": scene.sentence_share * (_stop_within(scene, mention, claim) == 2),
        "beyond_comma": float(_stop_within(scene, mention, claim) == 1),
        "disagrees_unclean": 0.0 if scene.clean else disagrees,
        "right_finger_near": _right_finger_near(doubt, scene),
        "bare_first": float(bare and forms[0] == "first"),
        "bare_number": float(bare),
        "frame_agrees": min(_FRAME_MOST, frames.agreeing[narrow]),
        "frame_disagrees": min(_FRAME_MOST, frames.disagreeing[narrow] - 1),
        "wide_agrees": min(_FRAME_MOST, frames.agreeing[wide]),
        "wide_disagrees": min(_FRAME_MOST, frames.disagreeing[wide] - 1),
        "fits_passed_over": _fits_passed_over(doubt, scene),
        "both_sides_fit": both,
        "both_sides_fit_a_name": both * (claim is None),
        "beside_and_loose": beside * loose,
        "called_and_close": float(called) * (1.0 - loose),
        "bare_and_loose": float(bare) * loose,
        "share_of_doubtful_names": scene.doubtful_share,
        "doubtful_names_and_name": scene.doubtful_share * (claim is None),
        "place_logit": _logit(scene.place_share(k)),
        "step_before_skips": _skips(scene, k - 1, k),
        "step_after_skips": _skips(scene, k, k + 1),
        "unexplained_before": _unexplained(scene, k - 1, k),
        "unexplained_after": _unexplained(scene, k, k + 1),
        "fits_within_four": _fits_within(doubt, scene, _NEAR_PLACES),
        "fits_this_name_elsewhere": _fits_this_name(doubt, scene),
        "share_disagreeing": min(3.0, 10.0 * sum(scene.disagreeing) / max(1, sum(scene.agreeing))),
        "other_stroke_near": _other_stroke_near(doubt, scene),
        "sides_fit_and_beside": both * beside,
        "name_after_article": float(
            claim is None and first > 0 and scene.words[first - 1].form in ("the", "a", "that", "your")
        ),
        "name_is_a": float(claim is None and len(forms) == 1 and forms[0] == "a"),
        "name_guessed": float(claim is None and mention.p < HEARD_FOR_CERTAIN),
        "name_in_a_list": float(claim is None and mention.tight),
        "bar_announced": float(scene.announced(doubt.mention)),
        "negated": float(claim is not None and claim.kind in ("extension", "harmonic") and claim.value == (0,)),
        **{f"kind_{kind}": float(doubt.kind == kind) for kind in KINDS},
    }
    return tuple(float(values[name]) for name in NAMES)


def _logit(p: float) -> float:
    p = min(0.999, max(0.001, p))
    return math.log(p / (1.0 - p))


def _stop_within(scene: Scene, mention: Mention, claim: Claim | None) -> int:
    """The strongest stop between a claim and its name: 0 none, 1 a comma, 2 the end of a sentence."""
    if claim is None or mention.name_first < 0:
        return 0
    if claim.first_word > mention.name_last:
        between = range(mention.name_last, claim.first_word)
    else:
        between = range(claim.last_word, mention.name_first)
    return max((scene.words[w].stop for w in between), default=0)


def _continues(scene: Scene, one: int, two: int) -> float:
    """Whether mention two is one place on from mention one, or at the same place."""
    if one < 0 or two >= len(scene.mentions):  # nothing is told before the first note of the tune, or after its last
        at = scene.likeliest[two if one < 0 else one]
        return float(at == (0 if one < 0 else len(scene.truth) - 1))
    a, b = scene.likeliest[one], scene.likeliest[two]
    return float(a >= 0 and b >= 0 and b - a in (0, 1))


def _fits_beside(doubt: Doubt, scene: Scene) -> float:
    """Whether the claim would be true one place before or after."""
    place = scene.likeliest[doubt.mention]
    true = _truth_of(doubt, scene)
    beside: list[Place | None] = [scene.truth.near(scene.truth.places[place], step) for step in (-1, 1)]
    told = {scene.likeliest[j] for j in (doubt.mention - 1, doubt.mention + 1) if _has_its_own(doubt, scene, j)}
    return float(any(p is not None and true[p.index] == 1.0 and p.index not in told for p in beside))


def _has_its_own(doubt: Doubt, scene: Scene, j: int) -> bool:
    """Whether mention j has a claim of this kind that is borne out: then the doubted one is not said of its note."""
    if doubt.claim is None or not 0 <= j < len(scene.mentions) or scene.likeliest[j] < 0:
        return False
    if not scene.clean or scene.telling.misheard:
        return False
    if _parted(doubt, scene, j):
        return True
    return any(
        claim.kind == doubt.claim.kind and scene.truth.claim(claim.kind, claim.value)[scene.likeliest[j]] == 1.0
        for claim in scene.mentions[j].claims
    )


def _parted(doubt: Doubt, scene: Scene, j: int) -> bool:
    """Whether a stop parts the claim from mention j, and none from its own name: "for E the second finger, and D"."""
    claim, own, other = doubt.claim, scene.mentions[doubt.mention], scene.mentions[j]
    if claim is None or own.name_first < 0 or other.name_first < 0 or _stop_within(scene, own, claim):
        return False
    between = (
        range(claim.last_word, other.name_first) if j > doubt.mention else range(other.name_last, claim.first_word)
    )
    return any(scene.words[w].stop for w in between)


def _held_fast(doubt: Doubt, scene: Scene) -> bool:
    """Whether it stands right between its name and another claim that is true here and not one place on or back.

    "F third finger third position": who is in third position on the F says the finger of the F.
    """
    claim, mention = doubt.claim, scene.mentions[doubt.mention]
    if claim is None or mention.name_first < 0 or claim.first_word != mention.name_last + 1:
        return False
    here = scene.likeliest[doubt.mention]
    after = next((c for c in mention.claims if c.first_word == claim.last_word + 1), None)
    if after is None or any(scene.words[w].stop == 2 for w in range(mention.name_last, after.first_word)):
        return False
    true, own = scene.truth.claim(after.kind, after.value), _truth_of(doubt, scene)
    beside = [p for p in (here - 1, here + 1) if 0 <= p < len(true) and own[p] == 1.0]
    return bool(true[here] == 1.0) and all(true[p] == 0.0 for p in beside)


def _fits_passed_over(doubt: Doubt, scene: Scene) -> float:
    """Whether the claim would be true of a note that was passed over just before or after: its name may be lost."""
    here, true = scene.likeliest[doubt.mention], _truth_of(doubt, scene)
    for step in (-1, 1):
        j = doubt.mention + step
        if 0 <= j < len(scene.likeliest) and scene.likeliest[j] >= 0:
            there = scene.likeliest[j]
            if step * (there - here) in (2, 3) and any(
                true[here + step * d] == 1.0 for d in range(1, step * (there - here))
            ):
                return 1.0
    return 0.0


def _fits_other(doubt: Doubt, scene: Scene) -> float:
    """Whether the claim would be true of the note spoken of before or after."""
    true = _truth_of(doubt, scene)
    others = [j for j in (doubt.mention - 1, doubt.mention + 1) if 0 <= j < len(scene.mentions)]
    others = [j for j in others if not _has_its_own(doubt, scene, j)]
    return float(any(scene.likeliest[j] >= 0 and true[scene.likeliest[j]] == 1.0 for j in others))


def _skips(scene: Scene, one: int, two: int) -> float:
    """How many places were passed over from one mention to the next, up to 3; also 3 for a jump or the unknown."""
    if one < 0 or two >= len(scene.mentions):
        return 0.0
    a, b = scene.likeliest[one], scene.likeliest[two]
    return float(min(3, b - a - 1)) if a >= 0 and b > a else 0.0 if a == b >= 0 else 3.0


def _unexplained(scene: Scene, one: int, two: int) -> float:
    """Words between two mentions that are neither part of one nor known to the grammar, up to 4."""
    if one < 0 or two >= len(scene.mentions):
        return 0.0
    between = range(scene.mentions[one].last_word + 1, scene.mentions[two].first_word)
    return float(min(4, sum(w not in scene.taken and scene.words[w].form not in scene.language.known for w in between)))


def _fits_within(doubt: Doubt, scene: Scene, reach: int) -> float:
    """Whether the claim would be true of any place so near, on either side."""
    here = scene.likeliest[doubt.mention]
    true = _truth_of(doubt, scene)
    return float(any(true[p] == 1.0 for p in range(max(0, here - reach), min(len(true), here + reach + 1))))


def _fits_this_name(doubt: Doubt, scene: Scene) -> float:
    """The share of the places with this very note where the claim would be true; of a name, 0."""
    if doubt.claim is None:
        return 0.0
    midi = scene.truth.places[scene.likeliest[doubt.mention]].note.midi
    true = _truth_of(doubt, scene)
    same = [true[place.index] == 1.0 for place in scene.truth.places if place.note.midi == midi]
    return sum(same) / max(1, len(same))


def _other_stroke_near(doubt: Doubt, scene: Scene) -> float:
    """Whether words of the other way to bow stand close by: "B, A, no slur, separate bows" without its "no"."""
    claim = doubt.claim
    if claim is None or claim.kind not in ("slur", "separate"):
        return 0.0
    others = scene.language.sets["parting" if claim.kind == "slur" else "joining"]
    near = [*range(claim.first_word - _SENTENCE_WORDS, claim.first_word)]
    near += range(claim.last_word + 1, claim.last_word + 1 + _SENTENCE_WORDS)
    return float(any(0 <= w < len(scene.words) and scene.words[w].form in others for w in near))


def _right_finger_near(doubt: Doubt, scene: Scene) -> float:
    """Whether the right finger is said of the same note too: "tempting to use third on the D, but it's second"."""
    claim = doubt.claim
    if doubt.kind != "finger" or claim is None or claim.run:
        return 0.0
    here = scene.likeliest[doubt.mention]
    right = {finger for attack in scene.truth.places[here].attacks for finger in attack.fingers}
    names, claims = set(), set()
    for j in range(max(0, doubt.mention - 3), min(len(scene.mentions), doubt.mention + 4)):
        other = scene.mentions[j]
        if j != doubt.mention and scene.likeliest[j] != here:
            names |= set(range(other.name_first, other.name_last + 1)) if other.name_first >= 0 else set()
            claims |= {w for c in other.claims for w in range(c.first_word, c.last_word + 1)}
    for step, edge in ((-1, claim.first_word), (1, claim.last_word)):
        for w in range(edge + step, edge + step * (_SENTENCE_WORDS + 1), step):
            if not 0 <= w < len(scene.words) or w in names or scene.words[w if step < 0 else w - 1].stop == 2:
                break
            if w not in claims and scene.language.finger_words.get(scene.words[w].form) in right:
                return 1.0
    return 0.0


def _truth_of(doubt: Doubt, scene: Scene) -> Sequence[float]:
    if doubt.claim is None:
        note = scene.mentions[doubt.mention].note
        assert note is not None
        return scene.truth.note(*note)  # type: ignore[return-value]
    return scene.truth.claim(doubt.claim.kind, doubt.claim.value)  # type: ignore[return-value]
