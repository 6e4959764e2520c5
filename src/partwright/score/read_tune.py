"""The front door: a tune of any kind we know. The content decides what it is, then the file's ending."""

from __future__ import annotations

from pathlib import Path

from partwright.errors import InputError, Place
from partwright.files import content_hash
from partwright.score.converted import Converted
from partwright.score.read_musicxml import musicxml_tune, read_bytes, tune_from_tree
from partwright.score.tune import Tune

__all__ = ["read_tune", "tune_from_bytes"]

_ABC_ENDINGS = (".abc", ".abc.txt")
_MIDI_ENDINGS = (".mid", ".midi", ".kar", ".rmi")


def read_tune(path: Path | str, *, part: str | None = None, voice: str | None = None) -> Tune:
    """Read a tune: MusicXML (plain or compressed), MIDI or ABC.

    `part` is a name, id or number from 1; in an ABC file of several tunes the number or title of the tune, with
    ":PART" behind it where the tune has several voices. `voice` is a voice as the file calls it, or "all".
    Raises ScoreError for what cannot be read, InputError where something must be chosen.

    >>> read_tune("no-such-file.musicxml")
    Traceback (most recent call last):
    partwright.errors.ScoreError: no-such-file.musicxml: cannot be read (no such file or directory). Check the path.
    """
    path = Path(path)
    return tune_from_bytes(read_bytes(path), source=path, part=part, voice=voice)


def tune_from_bytes(data: bytes, *, source: Path, part: str | None = None, voice: str | None = None) -> Tune:
    """What `read_tune` does, for the bytes of a file already in memory; `source` only names it."""
    if data.startswith((b"MThd", b"RIFF")) or _only_called_midi(data, source.name):
        from partwright.score.read_midi import midi_to_musicxml

        return _from_converted(midi_to_musicxml(data, file=source.name, track=part), data, source, None, voice)
    if source.name.casefold().endswith(_ABC_ENDINGS) or _looks_like_abc(data):
        converted, part = _from_abc(data, source.name, part)
        return _from_converted(converted, data, source, part, voice)
    return musicxml_tune(data, source, part, voice)


def _from_converted(converted: Converted, data: bytes, path: Path, part: str | None, voice: str | None) -> Tune:
    return tune_from_tree(
        converted.tree,
        source=path,
        source_bytes_hash=content_hash(data),
        part=part,
        voice=voice,
        remarks=converted.remarks,
    )


def _from_abc(data: bytes, file: str, part: str | None) -> tuple[Converted, str | None]:
    """The tune converted, and the part still to be chosen in it."""
    from partwright.score.read_abc import abc_to_musicxml, abc_tunes, decode_abc

    text, remarks = decode_abc(data)
    tunes = abc_tunes(text)
    number: int | None = None
    if len(tunes) > 1 and part is not None:
        wanted, _, part_in_tune = part.partition(":")
        wanted = wanted.strip()
        part = part_in_tune.strip() or None
        if wanted.isascii() and wanted.isdigit() and len(wanted) < 10:
            number = int(wanted)
        else:
            titled = [tune.number for tune in tunes if tune.title.casefold() == wanted.casefold()]
            if len(titled) != 1:
                raise InputError(
                    f"{len(titled) or 'none'} of its {len(tunes)} tunes is called {wanted[:60]!r}",
                    "Choose one by number with --part.",
                    place=Place(file=file),
                )
            number = titled[0]
    try:
        converted = abc_to_musicxml(text, file=file, number=number)
    except InputError as error:
        if type(error) is InputError:  # a question, not a fault of the file
            error.todo = "Choose one by number or title with --part."
        raise
    return Converted(converted.tree, (*remarks, *converted.remarks)), part


def _only_called_midi(data: bytes, name: str) -> bool:
    """A file called MIDI that is neither XML, nor a zip archive, nor ABC: MIDI's own reader says what is wrong."""
    start = data[:64].lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n\0")
    known = start.startswith((b"<", b"PK")) or _looks_like_abc(data)
    return name.casefold().endswith(_MIDI_ENDINGS) and not known


def _looks_like_abc(data: bytes) -> bool:
    start = data[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    if start[:4].lower() == b"%abc":
        return True
    lines = start.replace(b"\r", b"\n").split(b"\n")
    return (
        not start.startswith(b"<")
        and any(line.startswith(b"X:") for line in lines[:40])
        and any(line.startswith(b"K:") for line in lines)
    )
