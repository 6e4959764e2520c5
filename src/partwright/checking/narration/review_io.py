"""Reading a review file, written by the review page, and taking its decisions over into the lesson.

The file is JSON: {"format": 1, "transcript": NAME, "decisions": {KEY: "accept" | "right" | "unsure" | "pin"}}.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path

from partwright.checking.narration.narration import NarrationCheck
from partwright.checking.narration.review import DECISIONS, Decision, PinOffer, finding_key, pin_offer
from partwright.errors import InputError, NewerFormat, Place
from partwright.lesson import edit_pin, folder_lock

__all__ = ["REVIEW_FORMAT", "apply_pins", "keep_said", "read_review"]

REVIEW_FORMAT = 1
_LARGEST_BYTES = 5_000_000


def read_review(path: Path) -> Mapping[str, Decision]:
    """Decisions by finding key. Raises InputError where the file is no review, NewerFormat where it is a newer one."""
    where = Place(file=str(path))
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise InputError("is far too large for a review", "Save it again from the review page.", place=where)
        data = json.loads(path.read_bytes().decode("utf-8"))
    except FileNotFoundError as error:
        raise InputError("is not there", "Save it from the review page first.", place=where) from error
    except OSError as error:
        raise InputError(f"cannot be read ({(error.strerror or str(error)).lower()})", place=where) from error
    except (UnicodeDecodeError, json.JSONDecodeError) as error:
        raise InputError("is no review file", "Save it again from the review page.", place=where) from error
    decisions = data.get("decisions") if isinstance(data, dict) else None
    version = data.get("format") if isinstance(data, dict) else None
    if isinstance(version, int) and version > REVIEW_FORMAT:
        raise NewerFormat(f"was made by a newer partwright (format {version})", "Install the newer one.", place=where)
    if version != REVIEW_FORMAT or not isinstance(decisions, dict):
        raise InputError("is no review file", "Save it again from the review page.", place=where)
    unknown = sorted({str(value) for value in decisions.values()} - set(DECISIONS))
    if unknown:
        raise InputError(f'holds a decision "{unknown[0]}"', f"Known are {', '.join(DECISIONS)}.", place=where)
    return {str(key): value for key, value in decisions.items()}


def apply_pins(folder: Path, check: NarrationCheck, decisions: Mapping[str, Decision]) -> tuple[PinOffer, ...]:
    """Write the pins that were decided on into the lesson in this folder; comments there stay. Returns what was set."""
    chosen = [item for item in check.located if decisions.get(finding_key(item.finding)) == "pin"]
    return _pin(folder, [offer for item in chosen for offer in pin_offer(check, item)])


def keep_said(folder: Path, before: NarrationCheck, after: NarrationCheck) -> tuple[PinOffer, ...]:
    """Pin the fingers that were right as said and are wrong now, as a new pin has moved the plan around it."""
    was_right = {
        (j.first_word, j.claimed) for j in before.judged if j.verdict == "right" and j.kind in ("finger", "string")
    }
    moved = [
        item
        for item in after.located
        if item.finding.verdict == "wrong" and (item.first_word, item.claimed) in was_right
    ]
    return _pin(folder, [offer for item in moved for offer in pin_offer(after, item)])


def _pin(folder: Path, offers: Sequence[PinOffer]) -> tuple[PinOffer, ...]:
    if offers:
        with folder_lock(folder, wait_seconds=5.0):
            for offer in offers:
                edit_pin(folder, offer.place, offer.value)
    return tuple(offers)
