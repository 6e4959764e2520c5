"""Which key lies well: every key and octave of the lesson's tune, fingered and ranked."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from partwright.building import Workshop
from partwright.lesson import read_lesson

__all__ = ["rank"]


def rank(folder: Path, near: str | None, tell: Callable[[Mapping[str, Any]], None]) -> dict[str, Any]:
    """The ranking as `partwright keys --json` has it. `near`: a key to stay near; "backing": that of the backing."""
    from partwright.arranging import keys_document, parse_key, rank_keys, semitones_to

    workshop = Workshop(folder, read_lesson(folder))
    job = workshop.prepared
    remarks: list[str] = []
    key = near
    if near == "backing":
        key = None
        if workshop.backing is not None:
            from partwright.sound import heard_key

            tell({"words": "listening to the backing", "done": 0, "total": 2})
            heard = heard_key(workshop.backing)
            key = heard.key
            remarks.append(f"The backing is heard in {heard.key}; name the key if that is not so.")
    tell({"words": "trying every key and octave", "done": 1, "total": 2})
    ranking = rank_keys(
        job.part, job.instrument, level=job.level, near=None if key is None else (parse_key(key)[0], key)
    )
    if job.pins:
        remarks.append("Pins are for the key they were set in; they are left aside here.")
    rows = [
        {**row, "octave": (choice.semitones - semitones_to(job.part, choice.tonic)) // 12, "given": choice.given}
        for row, choice in zip(_rows(keys_document(ranking)), ranking.ranking, strict=True)
    ]
    return {**keys_document(ranking), "ranking": rows, "remarks": remarks}


def _rows(document: Mapping[str, Any]) -> list[dict[str, Any]]:
    return list(document["ranking"])
