"""What a player should know before bowing a part: slurs cut at repeats, notes longer than any bow, assumed tempo."""

from __future__ import annotations

from typing import TYPE_CHECKING

from partwright.score import beat_text

if TYPE_CHECKING:
    from partwright.bowing.plan import Problem

__all__ = ["bowing_remarks"]


def bowing_remarks(problem: Problem) -> tuple[str, ...]:
    """Each a sentence with its bar and beat."""
    part, strokes = problem.part, problem.strokes
    remarks = list(strokes.remarks)
    tempo = part.tempo_marks[0] if part.tempo_marks else None
    if part.notes and (tempo is None or tempo.source == "assumed"):
        qpm = tempo.tempo_qpm if tempo else 120.0
        remarks.append(
            f"bar {part.notes[0].bar}, beat {beat_text(part.notes[0].beat)}: no tempo is given; the bow is planned at "
            f"{qpm:g} quarters a minute. Print a tempo if it is meant otherwise."
        )
    level = problem.level
    longest = (level.hair_high - level.hair_low) * problem.grid.hair_mm / level.slowest_mm_s
    for s, seconds in enumerate(strokes.duration_seconds.tolist()):
        if seconds <= longest or problem.kinds[s].leaves != "same":
            continue
        group = strokes.groups[s]
        note = part.notes[group.heads[0]]
        pieces = int(-(-seconds // longest))
        where = _change_places(problem, s, pieces)
        what = "this slur lasts" if len(group.heads) > 1 else "this note lasts"
        remarks.append(
            f"bar {note.bar}, beat {beat_text(note.beat)}: {what} {seconds:.1f} s, longer than one bow "
            f"({longest:.1f} s at {level.slowest_mm_s:g} mm/s). Change bow {where}."
        )
    return tuple(remarks)


def _change_places(problem: Problem, s: int, pieces: int) -> str:
    """Where to change: at the notes of the slur or tie nearest to equal shares, or at beats inside one note."""
    part, group = problem.part, problem.strokes.groups[s]
    notes = [part.notes[i] for i in group.heads]
    first = notes[0].onset_quarters
    end = max(note.end_quarters for note in notes)
    places = []
    for k in range(1, pieces):
        target = first + (end - first) * k / pieces
        if len(notes) > 1:
            nearest = min(notes[1:], key=lambda note: abs(note.onset_quarters - target))
            places.append(f"at bar {nearest.bar}, beat {beat_text(nearest.beat)}")
        else:
            bar = part.bar_at(target)
            unit = 4 / bar.beat_type
            beat = 1 + max(0, round(float(target - bar.start_quarters) / unit))
            places.append(f"at bar {bar.number}, beat {beat}")
    return " and ".join(dict.fromkeys(places))
