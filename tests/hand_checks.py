"""Whether a plan is one a hand can play, judged from the instrument's table and the part alone."""

from __future__ import annotations

from partwright.fingering import Planning, plan_of

__all__ = ["check_hand"]


def check_hand(planning: Planning) -> int:
    """Every placement sounds its note, under a finger its shape has, in a frame it has, chords on their own strings.

    Returns how many notes were looked at.
    """
    instrument, part, plan = planning.instrument, planning.part, plan_of(planning)
    by_event: dict[int, list[str]] = {}
    for note in part.notes:
        fingered = plan.by_id.get(note.id)
        if fingered is None:
            continue
        place = fingered.placement
        open_midi = instrument.strings[place.string].midi
        if place.harmonic:
            (harmonic,) = {
                (h.node_semitones, h.sounds_semitones)
                for h in instrument.harmonics
                if h.partial == place.harmonic and h.node_semitones == place.semitones
            }
            assert open_midi + harmonic[1] == note.midi, note
        else:
            assert open_midi + place.semitones == note.midi, note
        assert (place.finger == 0) == (place.semitones == 0), note
        shape = instrument.shape(place.shape)
        assert shape.zone == place.zone
        assert shape.frame_min <= place.frame <= shape.frame_max, (note, place)
        for finger in {place.finger, place.substitute or place.finger} - {0}:
            assert finger in shape.offsets, (note, place)
        if place.finger and place.substitute is None:
            beyond = place.semitones - place.frame - shape.offsets[place.finger]
            # Davidoff 1888, III.1: the third finger reaches out of fourth position to the mid-string harmonic.
            reaches = place.harmonic == 2 and place.finger == 3 and 0 <= beyond <= 3
            assert beyond == 0 or reaches, (note, place)
        if note.tied_from is None:
            by_event.setdefault(planning.walk.event_of[note.id], []).append(note.id)
    for ids in by_event.values():
        places = [plan.by_id[i].placement for i in ids if i in plan.by_id]
        strings = sorted(p.string for p in places)
        assert len(set(strings)) == len(strings), ids
        assert strings == list(range(strings[0], strings[0] + len(strings))), ids
        assert len({(p.frame, p.shape) for p in places}) == 1, ids
    return len(plan.notes)
