"""The facts of a lesson for a sales sheet: key, range, length, positions used, the hardest spot.

Seconds are those of one playing at the lesson's tempo with all repeats. A position counts where a finger stops a note
in it; open strings belong to none.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from partwright.lesson import survey_part

if TYPE_CHECKING:
    from partwright.building.workshop import Workshop
    from partwright.score import Part

__all__ = ["FACTS_FILE", "lesson_facts", "tune_facts"]

FACTS_FILE = "facts.json"


def tune_facts(part: Part, *, tempo_qpm: float | None = None) -> dict[str, object]:
    """What the tune alone says. `tempo_qpm` is the lesson's own tempo, where it names one."""
    from partwright.sound import make_timing

    survey = survey_part(part)
    tonic, _, rest = survey.key.partition(" ")
    ordered = sorted(part.notes, key=lambda note: note.midi)
    pair = (ordered[0], ordered[-1]) if ordered else None
    return {
        "format": 1,
        "key": survey.key,
        "tonic": tonic,
        "mode": rest.split(" ")[0] if rest.startswith(("major", "minor")) and " or " not in rest else "",
        "metre": survey.metre,
        "bars": survey.bars,
        "played_bars": survey.played_bars,
        "notes": survey.notes,
        "tempo_qpm": tempo_qpm or part.tempo_marks[0].tempo_qpm,
        "seconds": round(make_timing(part, tempo_qpm=tempo_qpm).seconds, 3),
        "lowest": survey.lowest,
        "highest": survey.highest,
        "lowest_midi": pair[0].midi if pair else None,
        "highest_midi": pair[1].midi if pair else None,
    }


def lesson_facts(workshop: Workshop) -> dict[str, object]:
    """The facts of a lesson whose fingers are planned."""
    job, plan = workshop.prepared, workshop.plan
    instrument = job.instrument
    positions: dict[tuple[int, str], str] = {}
    strings: set[int] = set()
    count = {"extensions": 0, "harmonics": 0, "thumb": 0}
    for fingered in plan.notes:
        if job.part.by_id[fingered.note_id].tied_from is not None:
            continue
        place = fingered.placement
        strings.add(place.string)
        count["harmonics"] += place.harmonic > 0
        if place.finger == 0:
            continue
        label = instrument.position(place.frame, place.zone).label
        positions.setdefault((place.frame, place.zone), label)
        count["extensions"] += bool(instrument.shape(place.shape).extension)
        count["thumb"] += place.zone == "thumb"
    spot = workshop.teaching.spots[0] if workshop.teaching.spots else None
    onsets = [note.onset_quarters for note in job.part.notes if not note.grace and note.tied_from is None]
    return {
        **tune_facts(job.part, tempo_qpm=workshop.lesson.tempo_qpm),
        "positions": list(dict.fromkeys(positions[key] for key in sorted(positions))),
        **count,
        "double_stops": len(onsets) - len(set(onsets)),
        "strings": [instrument.strings[index].letter for index in sorted(strings)],
        "hardest": {"bar": spot.bars[0], "last_bar": spot.bars[1], "words": spot.name} if spot else None,
        "sections": [section.name for section in workshop.teaching.outline.sections],
    }
