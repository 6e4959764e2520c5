"""A tune in another key: every pitch, key signature and chord symbol moved by one interval, spelled as a player reads.

The interval's letters come from the key: the signature stays within six sharps or flats. Where the music changes key
and the same interval would lead beyond seven, that stretch is spelled the other way round. A double sharp or flat
stays only where it leads by a half step to the next letter (the leading note of G sharp minor); else the plain name
is written. Units: semitones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from partwright.arranging.keys_of import interval_to, mode_of, parse_key, tonic_midi_class
from partwright.score import ChordSymbol, Note, Part, Pitch, transposed

__all__ = ["move_chord", "move_part", "plain_spelling", "semitones_to"]

_MOST = 7  # no key signature has more sharps or flats than there are letters


def semitones_to(part: Part, key: str | None, octaves: int = 0) -> int:
    """How far the part moves to another key, the nearest way round (a tritone goes up), and by octaves from there.

    `key` as in "G", "Bb", "F# minor"; its tonic alone counts, the mode stays the tune's. Raises InputError for what is
    no key.
    """
    if key is None:
        return 12 * octaves
    up = (parse_key(key)[0] - tonic_midi_class(part.bars[0].fifths, mode_of(part))) % 12
    return 12 * octaves + (up if up <= 6 else up - 12)


def move_part(part: Part, semitones: int) -> Part:
    """The part moved by so many semitones, spelled anew. Its transposition as an instrument stays as it is.

    Fingers, strings, bows and harmonics printed in the source belong to the old pitches and are left out.
    """
    if semitones == 0:
        return part
    letters = _letters_by_bar(part, semitones)
    bars = tuple(
        replace(bar, fifths=bar.fifths + 7 * semitones - 12 * letters[bar.index], clef="") for bar in part.bars
    )
    pitches = [transposed(note.pitch, letters[note.bar_index], semitones) for note in part.notes]
    notes = tuple(
        _moved_note(note, plain_spelling(pitch, _next(part.notes, pitches, k)))
        for k, (note, pitch) in enumerate(zip(part.notes, pitches, strict=True))
    )
    symbols = tuple(move_chord(symbol, letters[symbol.bar_index], semitones) for symbol in part.chord_symbols)
    return replace(part, bars=bars, notes=_ties_agree(notes), chord_symbols=symbols)


def move_chord(symbol: ChordSymbol, letters: int, semitones: int) -> ChordSymbol:
    """A chord symbol moved; what could not be read as a chord stays as it is, its text kept."""
    if not symbol.root_step:
        return symbol
    root = plain_spelling(transposed(Pitch(symbol.root_step, symbol.root_alter, 4), letters, semitones), None)
    old_root = _name(Pitch(symbol.root_step, symbol.root_alter, 4))
    kind = symbol.text.partition("/")[0].removeprefix(old_root)
    text, bass = _name(root) + kind, None
    if symbol.bass_step:
        bass = plain_spelling(transposed(Pitch(symbol.bass_step, symbol.bass_alter, 4), letters, semitones), None)
        text += f"/{_name(bass)}"
    return replace(
        symbol,
        text=text,
        root_step=root.step,
        root_alter=root.alter,
        bass_step=bass.step if bass else "",
        bass_alter=bass.alter if bass else 0,
    )


def plain_spelling(pitch: Pitch, following: Pitch | None) -> Pitch:
    """The pitch by its plain name where it came out with a double sharp or flat that leads nowhere.

    >>> plain_spelling(Pitch("F", 2, 4), Pitch("G", 1, 4)).name, plain_spelling(Pitch("F", 2, 4), None).name
    ('F##4', 'G4')
    """
    if abs(pitch.alter) < 2 or pitch.alter != round(pitch.alter):
        return pitch
    way = 1 if pitch.alter > 0 else -1
    if following is not None and following.midi - pitch.midi == way and following.step != pitch.step:
        return pitch
    return transposed(pitch, way, 0)


def _letters_by_bar(part: Part, semitones: int) -> list[int]:
    main = interval_to([bar.fifths for bar in part.bars], semitones)
    found = []
    for bar in part.bars:
        letters = main
        while bar.fifths + 7 * semitones - 12 * letters > _MOST:
            letters += 1
        while bar.fifths + 7 * semitones - 12 * letters < -_MOST:
            letters -= 1
        found.append(letters)
    return found


def _next(notes: Sequence[Note], pitches: Sequence[Pitch], k: int) -> Pitch | None:
    """The next pitch of the same voice that is another one, where it follows at once."""
    for j in range(k + 1, min(k + 8, len(notes))):
        if notes[j].voice == notes[k].voice and notes[j].onset_quarters > notes[k].onset_quarters:
            if pitches[j].midi != pitches[k].midi:
                return pitches[j]
            continue
    return None


def _moved_note(note: Note, pitch: Pitch) -> Note:
    octaves = note.written_pitch.octave - note.pitch.octave
    return replace(
        note,
        pitch=pitch,
        written_pitch=replace(pitch, octave=pitch.octave + octaves),
        fingerings=(),
        string_number=None,
        open_string=False,
        harmonic=False,
        thumb=False,
        clef="",
    )


def _ties_agree(notes: tuple[Note, ...]) -> tuple[Note, ...]:
    """A note held over a bar line keeps one name."""
    by_id = {note.id: note for note in notes}
    found = []
    for note in notes:
        held = by_id.get(note.tied_from or "")
        if held is not None and held.pitch.midi == note.pitch.midi and held.pitch != note.pitch:
            note = replace(note, pitch=held.pitch, written_pitch=held.written_pitch)
            by_id[note.id] = note
        found.append(note)
    return tuple(found)


def _name(pitch: Pitch) -> str:
    return pitch.name.rstrip("0123456789-")
