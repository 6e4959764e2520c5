"""Findings of notes, three kind sentences, and two spots to practise: exact, and never louder than the evidence."""

from __future__ import annotations

from collections.abc import Sequence

from partwright.checking.finding import Finding, Verdict
from partwright.checking.take.note import Spot, TakeCheck, TakeNote
from partwright.score import Part, beat_text

__all__ = ["findings_of_notes", "sentences_of", "spots_of"]


def findings_of_notes(notes: Sequence[TakeNote], part: Part) -> tuple[Finding, ...]:
    """One finding a note and matter, of the notes that count."""
    found: list[Finding] = []
    for note in notes:
        if not note.counts:
            continue
        if note.kind and note.pitch in ("wrong", "check"):
            found.append(_pitch_finding(note))
        if note.timing == "check" and note.late_s is not None:
            side = "late" if note.late_s > 0 else "early"
            found.append(
                Finding(
                    kind="timing",
                    verdict="check",
                    bar=note.bar,
                    beat=beat_text(note.beat),
                    time_s=note.time_s,
                    what=f"{note.name} comes {abs(note.late_s):.2f} s {side}",
                    manner="played",
                    observed=f"{abs(note.late_s) * 1000:.0f} ms {side}",
                    right="in the take's own tempo",
                    confidence=0.7,
                    why="against the notes on either side",
                )
            )
        if note.cut_short and note.length_share is not None:
            found.append(
                Finding(
                    kind="length",
                    verdict="check",
                    bar=note.bar,
                    beat=beat_text(note.beat),
                    time_s=note.time_s,
                    what=f"{note.name} sounds for {100 * note.length_share:.0f} % of its time",
                    manner="played",
                    observed=f"{note.end_s - note.time_s:.2f} s",
                    right=f"{(note.end_s - note.time_s) / max(0.01, note.length_share):.2f} s",
                    confidence=0.6,
                    why="silence follows, and no staccato or rest is written",
                )
            )
    return tuple(found)


def _pitch_finding(note: TakeNote) -> Finding:
    verdict: Verdict = "wrong" if note.pitch == "wrong" else "check"
    if note.kind == "missed":
        what, observed = f"{note.name} is not heard", note.played
        why = (
            f"there is {note.played}" if note.played[:7] in ("silence", "next to") else f"in its place is {note.played}"
        )
    elif note.kind == "wrong note":
        what, observed = f"{note.played} is played where {note.name} is written", note.played
        way = "above" if (note.cents or 0) > 0 else "below"
        why = f"{abs(note.cents or 0):.0f} cents {way} the written note, steadily"
    else:
        cents = note.cents or 0.0
        side = "sharp" if cents > 0 else "flat"
        what, observed = f"{note.name} is {abs(cents):.0f} cents {side}", f"{cents:+.0f} cents"
        why = f"centre of the note, ±{note.uncertainty_cents:.0f} cents, at the take's own tuning"
        if note.vibrato is not None:
            why += f"; vibrato of ±{note.vibrato.half_width_cents:.0f} cents counted as none"
        if verdict == "check" and abs(cents) < 26:
            why += "; less than a comma may be meant"
    return Finding(
        kind=note.kind,
        verdict=verdict,
        bar=note.bar,
        beat=beat_text(note.beat),
        time_s=note.time_s,
        what=what,
        why=why,
        manner="played",
        observed=observed,
        right=note.name,
        confidence=round(min(0.97, note.confidence), 2),
    )


def spots_of(notes: Sequence[TakeNote], part: Part, drills: Sequence[tuple[str, frozenset[int]]]) -> tuple[Spot, ...]:
    """At most two places: the bar with most to gain, its neighbour where that has something too; then the next best."""
    weights: dict[int, float] = {}
    for note in notes:
        worth = {"wrong note": 2.5, "missed": 2.0}.get(note.kind, 0.0)
        if note.kind == "intonation" and note.cents is not None:
            worth = min(4.0, abs(note.cents) / 12)
        if note.timing == "check":
            worth += 1.0
        if worth:
            weights[note.bar_index] = weights.get(note.bar_index, 0.0) + worth
    spots: list[Spot] = []
    left = dict(weights)
    while left and len(spots) < 2:
        first = last = max(left, key=lambda bar: (left[bar], -bar))
        if left[first] < 1.0:
            break
        for neighbour in (first - 1, last + 1):
            if left.get(neighbour, 0.0) >= 1.0 and last - first < 2:
                first, last = min(first, neighbour), max(last, neighbour)
        inside = [n for n in notes if first <= n.bar_index <= last]
        spots.append(
            Spot(
                first_bar=part.bars[first].number,
                last_bar=part.bars[last].number,
                first_index=first,
                last_index=last,
                why=_why(inside),
                weight=round(sum(weights.get(b, 0.0) for b in range(first, last + 1)), 1),
                drills=tuple(name for name, bars in drills if bars & set(range(first, last + 1))),
                time_s=min((n.time_s for n in inside), default=0.0),
            )
        )
        for bar in range(first - 1, last + 2):
            left.pop(bar, None)
    return tuple(spots)


def _why(notes: Sequence[TakeNote]) -> str:
    parts = []
    flat = [n for n in notes if n.kind == "intonation" and (n.cents or 0) < 0]
    sharp = [n for n in notes if n.kind == "intonation" and (n.cents or 0) > 0]
    for of, word in ((flat, "flat"), (sharp, "sharp")):
        if of:
            worst = max(of, key=lambda n: abs(n.cents or 0))
            parts.append(f"{_listed([n.name for n in of])} {word}, by up to {abs(worst.cents or 0):.0f} cents")
    for kind, word in (("wrong note", "another note for"), ("missed", "no sound of")):
        of = [n for n in notes if n.kind == kind]
        if of:
            parts.append(f"{word} {_listed([n.name for n in of])}")
    if any(n.timing == "check" for n in notes):
        parts.append("the rhythm leans")
    return "; ".join(parts)


def _listed(names: Sequence[str]) -> str:
    unique = list(dict.fromkeys(names))
    return unique[0] if len(unique) == 1 else f"{', '.join(unique[:-1])} and {unique[-1]}"


def sentences_of(check: TakeCheck) -> tuple[str, ...]:
    """Three sentences: what went well, what matters most, what to do next."""
    sums = check.sums
    notes, judged, tune = int(sums["notes"] or 0), int(sums["pitch_judged"] or 0), int(sums["in_tune"] or 0)
    bars = _bars(check)
    first = (
        f"You played {bars}, {notes} notes; {tune} of the {judged} that could be judged are in tune"
        if judged
        else f"You played {bars}, {notes} notes, too short or too unclear to judge their pitch"
    )
    median = sums["median_abs_cents"]
    first += f", with a median of {median:.0f} cents." if isinstance(median, float) else "."
    big: list[str] = []
    for count, words in (
        (sums["wrong_notes"], "other than written"),
        (sums["missed"], "not heard"),
        (sums["out_of_tune"], "sharp or flat enough to notice"),
        (sums["early_or_late"], "early or late"),
    ):
        if count:
            noun = ("note " if count == 1 else "notes ") if not big else ""
            big.append(f"{count} {noun}{words}")
    if not big:
        second = "Nothing stands out as wrong, missed, out of tune or out of time."
    else:
        habit = f"; {_lower(check.habits[0].words)}" if check.habits else ""
        second = f"Worth a look: {_listed(big)}{habit}."
    if check.spots:
        places = [
            f"bar {s.first_bar}" if s.first_bar == s.last_bar else f"bars {s.first_bar}–{s.last_bar}"
            for s in check.spots
        ]
        third = f"Practise {' and '.join(places)}, slowly, and the rest will stand as it is."
    else:
        third = "Play it once more for pleasure, or take it a little faster."
    return first, second, third


def _lower(text: str) -> str:
    return text[0].lower() + text[1:]


def _bars(check: TakeCheck) -> str:
    if not check.covered:
        return "nothing"
    order = {bar.number: bar.index for bar in check.part.bars}
    first = min((c[0] for c in check.covered), key=lambda b: order.get(b, 0))
    last = max((c[1] for c in check.covered), key=lambda b: order.get(b, 0))
    return f"bar {first}" if first == last else f"bars {first}–{last}"
