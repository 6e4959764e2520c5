"""The take check as a plain document: findings first, then every note, so that a stranger can follow it."""

from __future__ import annotations

from partwright.checking.finding import findings_document
from partwright.checking.take.note import TakeCheck, TakeNote
from partwright.checking.take.sums import GroupSum, bar_sums, phrase_sums
from partwright.score import beat_text

__all__ = ["log_row", "take_document"]


def take_document(check: TakeCheck) -> dict[str, object]:
    """`{"findings": [...], "summary": {...}, "take": {...}, "notes": [...], "bars": [...], "habits", "spots"}`."""
    findings = findings_document(check.findings)
    return {
        "findings": findings["findings"],
        "summary": {**findings["summary"], **check.sums},  # type: ignore[dict-item]
        "sentences": list(check.sentences),
        "take": {
            "file": check.name,
            "seconds": round(check.seconds, 2),
            "starts_s": round(check.starts_s, 3),
            "ends_s": round(check.ends_s, 3),
            "covered": [{"first_bar": first, "last_bar": last} for first, last in check.covered],
            "reference_hz": round(check.reference_hz, 1),
            "shift_semitones": check.shift_semitones,
            "tempo_qpm": None if check.tempo_qpm is None else round(check.tempo_qpm, 1),
            "tempo_range_qpm": None if check.tempo_range_qpm is None else [round(q, 1) for q in check.tempo_range_qpm],
            "heard_share": round(check.heard_share, 3),
        },
        "notes": [_note(note) for note in check.notes],
        "bars": _bars(check),
        "phrases": _phrases(check),
        "habits": [
            {
                "finger": habit.finger,
                "position": habit.position or None,
                "string": habit.string or None,
                "cents": habit.cents,
                "notes": habit.notes,
                "bars": list(habit.bars),
                "words": habit.words,
            }
            for habit in check.habits
        ],
        "spots": [
            {"first_bar": spot.first_bar, "last_bar": spot.last_bar, "why": spot.why, "drills": list(spot.drills)}
            for spot in check.spots
        ],
        "remarks": list(check.remarks),
    }


def _note(note: TakeNote) -> dict[str, object]:
    vibrato = note.vibrato
    return {
        "id": note.note_id,
        "bar": note.bar,
        "beat": beat_text(note.beat),
        "pitch": note.name,
        "attempt": note.attempt + 1,
        "counts": note.counts,
        "time_s": round(note.time_s, 3),
        "end_s": round(note.end_s, 3),
        "verdict": note.pitch,
        "kind": note.kind or None,
        "cents": note.cents,
        "uncertainty_cents": note.uncertainty_cents,
        "vibrato": None
        if vibrato is None
        else {"rate_hz": round(vibrato.rate_hz, 1), "half_width_cents": round(vibrato.half_width_cents, 1)},
        "timing": note.timing,
        "late_s": note.late_s,
        "length_share": note.length_share,
        "cut_short": note.cut_short,
        "played": note.played or None,
        "why_not": note.why_not or None,
        "confidence": round(note.confidence, 2),
    }


def _bars(check: TakeCheck) -> list[dict[str, object]]:
    return [{"bar": row.first, **_figures(row)} for row in bar_sums(check)]


def _phrases(check: TakeCheck) -> list[dict[str, object]]:
    return [{"first": row.first, "last": row.last, **_figures(row)} for row in phrase_sums(check)]


def _figures(row: GroupSum) -> dict[str, object]:
    return {
        "notes": row.notes,
        "median_cents": row.median_cents,
        "median_late_s": row.median_late_s,
        "out_of_tune": row.out_of_tune,
        "wrong_or_missed": row.wrong_or_missed,
        "early_or_late": row.early_or_late,
    }


def log_row(check: TakeCheck, *, when: str, score: str) -> dict[str, object]:
    """One row of the practice log. `when` is the date and time as ISO 8601."""
    return {
        "format": 1,
        "when": when,
        "what": "take",
        "score": score,
        "file": check.name,
        "bars": [[first, last] for first, last in check.covered],
        "reference_hz": round(check.reference_hz, 1),
        "tempo_qpm": None if check.tempo_qpm is None else round(check.tempo_qpm, 1),
        **check.sums,
        "spots": [[spot.first_bar, spot.last_bar] for spot in check.spots],
    }
