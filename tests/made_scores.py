"""Small MusicXML documents for tests, written out of a few words. Invented music only."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from partwright.score import Tune, read_musicxml

__all__ = ["HEAD", "bar", "note", "read", "score"]

HEAD = "<divisions>4</divisions><key><fifths>0</fifths></key><time><beats>4</beats><beat-type>4</beat-type></time>"
"""Four divisions to a quarter note, C major, 4/4: the attributes of a first bar."""


def note(pitch: str = "C4", duration: int = 4, inside: str = "", *, voice: str = "1", tail: str = "") -> str:
    """A note such as "F#3"; `inside` goes before the pitch (<chord/>, <grace/>), `tail` after the voice."""
    step, sign, octave = pitch[0], pitch[1:-1], pitch[-1]
    alter = {"": "", "#": "<alter>1</alter>", "b": "<alter>-1</alter>"}[sign]
    length = "" if "<grace" in inside else f"<duration>{duration}</duration>"
    return (
        f"<note>{inside}<pitch><step>{step}</step>{alter}<octave>{octave}</octave></pitch>{length}"
        f"<voice>{voice}</voice>{tail}</note>"
    )


def bar(
    content: str | Sequence[str] = "", *, left: str = "", right: str = "", attributes: str = "", head: str = ""
) -> str:
    """A bar without its number; without content one whole note. `left` and `right` are what its barlines hold."""
    text = content if isinstance(content, str) else "".join(content)
    opening = f'<barline location="left">{left}</barline>' if left else ""
    closing = f'<barline location="right">{right}</barline>' if right else ""
    given = f"<attributes>{attributes}</attributes>" if attributes else ""
    return f'<measure {head} number="?">{given}{opening}{text or note("C4", 16)}{closing}</measure>'


def score(*bars: str, attributes: str = HEAD, part_list: str = "", before: str = "") -> str:
    """A one-part score of these bars, numbered from 1; `before` stands before the part list."""
    numbered = []
    for number, text in enumerate(bars, 1):
        made = text.replace('number="?"', f'number="{number}"')
        if number == 1 and attributes:
            start = made.index(">") + 1
            made = f"{made[:start]}<attributes>{attributes}</attributes>{made[start:]}"
        numbered.append(made)
    parts = part_list or '<score-part id="P1"><part-name>Cello</part-name></score-part>'
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0">'
        f'{before}<part-list>{parts}</part-list><part id="P1">{"".join(numbered)}</part></score-partwise>'
    )


def read(folder: Path, text: str | bytes, *, part: str | None = None, voice: str | None = None) -> Tune:
    """Write the document into `folder` and read it as a user would."""
    path = folder / "tune.musicxml"
    path.write_bytes(text.encode("utf-8") if isinstance(text, str) else text)
    return read_musicxml(path, part=part, voice=voice)
