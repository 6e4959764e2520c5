"""A tune from MusicXML, plain or compressed, by part or by time."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from lxml import etree

from partwright.errors import PartwrightError, Place, ScoreError
from partwright.files import content_hash
from partwright.score.build_part import build_part
from partwright.score.choose import choose_part, choose_voice
from partwright.score.collector import paused_collector
from partwright.score.lines import line_of
from partwright.score.measures import ScorePart, score_parts
from partwright.score.other_parts import add_from_other_parts, settle_lengths, walk_others
from partwright.score.parse_credits import read_credits
from partwright.score.safe_xml import MAX_XML_BYTES, parse_xml, too_large
from partwright.score.ticks import Ticks, find_resolution
from partwright.score.tune import Tune
from partwright.score.walk_part import RawPart, walk_part

__all__ = ["musicxml_tune", "read_bytes", "read_musicxml", "tune_from_tree"]

_ALL_IDS = etree.XPath("//@id", smart_strings=False)


def read_musicxml(path: Path | str, *, part: str | None = None, voice: str | None = None) -> Tune:
    """Read MusicXML 2.0 to 4.0: .xml, .musicxml or .mxl, partwise or timewise.

    `part` is a name, id or number from 1; `voice` a voice as the file calls it, or "all". Raises ScoreError for what
    cannot be read, InputError where a part or voice must be chosen.
    """
    path = Path(path)
    return musicxml_tune(read_bytes(path), path, part, voice)


def read_bytes(path: Path) -> bytes:
    """The file's bytes, never more than the cap. Raises ScoreError if it cannot be read or is too large."""
    try:
        size = path.stat().st_size
        if size > MAX_XML_BYTES:
            raise too_large(size, file=path.name)
        with path.open("rb") as stream:
            data = stream.read(MAX_XML_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise ScoreError(
            f"cannot be read ({reason.lower()})", "Check the path.", place=Place(file=path.name)
        ) from error
    if len(data) > MAX_XML_BYTES:
        raise too_large(len(data), file=path.name)
    return data


def tune_from_tree(
    document: etree._ElementTree,
    *,
    source: Path,
    source_bytes_hash: str,
    part: str | None = None,
    voice: str | None = None,
    remarks: Sequence[str] = (),
) -> Tune:
    """A tune from a parsed MusicXML document, which it keeps and never changes. Raises as `read_musicxml` does."""
    file = source.name
    try:
        with paused_collector():
            return _tune(document, source, source_bytes_hash, part, voice, remarks)
    except PartwrightError as error:
        raise error.at(Place(file=file)) from error.__cause__


def musicxml_tune(data: bytes, path: Path, part: str | None, voice: str | None) -> Tune:
    """The same for bytes already in memory; `path` names them."""
    file = path.name
    digest = content_hash(data)
    if data.startswith(b"PK"):
        from partwright.score.read_mxl import open_mxl  # brings the archive reader, slow to load

        score = open_mxl(data, file=file)
        data, file = score.data, f"{file} ({score.member})"
    return tune_from_tree(parse_xml(data, file=file), source=path, source_bytes_hash=digest, part=part, voice=voice)


def _tune(
    document: etree._ElementTree,
    source: Path,
    digest: str,
    wanted_part: str | None,
    wanted_voice: str | None,
    remarks: Sequence[str],
) -> Tune:
    file = source.name
    root = document.getroot()
    _refuse_other_roots(root, file)
    parts = score_parts(root)
    chosen = choose_part(parts, wanted_part, file=file)
    resolution = find_resolution(root, file=file)
    raw = walk_part(chosen, resolution, file=file)
    _refuse_no_notes(raw, chosen, file)
    others = walk_others(raw, [part for part in parts if part is not chosen], resolution, file=file)
    settle_lengths(raw, others, resolution)
    add_from_other_parts(raw, others)
    choice = choose_voice(raw.notes, [bar.start for bar in raw.bars], wanted_voice, file=file, part_label=chosen.label)
    said = [*remarks, *raw.remarks, *_left_out(raw)]
    if choice.remark:
        said.append(choice.remark)
    part, places = build_part(
        raw,
        choice,
        ticks=Ticks(resolution),
        name=chosen.name,
        part_id=chosen.part_id,
        credits=read_credits(root),
        taken_ids=_id_counts(root),
        sounding_pitches=root.find("defaults/concert-score") is not None,
        remarks=said,
    )
    _ = part.played_bars  # a tune too long to be played is refused here, not later
    return Tune(
        document=document,
        part=part,
        part_names=tuple(part.label for part in parts),
        part_index=parts.index(chosen),
        source=source,
        source_bytes_hash=digest,
        note_places=places,
        voice=wanted_voice or "",
    )


def _refuse_other_roots(root: etree._Element, file: str) -> None:
    tag = root.tag if isinstance(root.tag, str) else ""
    if tag in ("score-partwise", "score-timewise"):
        return
    what = {
        "opus": "this is a MusicXML opus, a list of scores",
        "container": "this is the table of contents of an .mxl archive",
    }.get(tag, f"this is XML but not a MusicXML score (its root element is <{tag[:40]}>)")
    raise ScoreError(what, "Give a score in MusicXML.", place=Place(file=file, line=line_of(root)))


def _refuse_no_notes(raw: RawPart, part: ScorePart, file: str) -> None:
    if raw.notes:
        return
    place = Place(file=file)
    if not raw.bars:
        raise ScoreError(f"part {part.label!r} has no bars", "Choose another part with --part.", place=place)
    if raw.unpitched:
        raise ScoreError(
            f"part {part.label!r} has only unpitched (percussion) notes",
            "Choose another part with --part.",
            place=place,
        )
    raise ScoreError(f"part {part.label!r} has no notes", "Choose another part with --part.", place=place)


def _id_counts(root: etree._Element) -> Counter[str]:
    found = _ALL_IDS(root)
    return Counter(str(value) for value in found) if isinstance(found, list) else Counter()


def _left_out(raw: RawPart) -> list[str]:
    said = []
    if raw.unpitched:
        said.append(f"{raw.unpitched} unpitched notes are left out.")
    if raw.hidden:
        said.append(f"{raw.hidden} notes that are not printed (playback of ornaments) are left out.")
    if raw.cues:
        said.append(f"{raw.cues} cue notes are left out: they are another player's.")
    return said
