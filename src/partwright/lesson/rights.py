"""The rights sheet: whose tune it is, who gave leave for what, and the credit lines that follow from it.

It stands in lesson.toml under `[rights]`. Page, booklet, tags of sound files and the text below a video all print
`credit_lines` and nothing else. What is still missing before a lesson may be released is told in `rights_gaps`.

This is a place to write down what was agreed, and a reminder; it is no legal advice. Dates are ISO 8601, countries
ISO 3166-1 alpha-2, numbers of printed music ISMN (ISO 10957), of recordings ISRC (ISO 3901).
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

__all__ = [
    "NOTHING_WRITTEN",
    "RIGHTS_CAUTION",
    "RIGHTS_STATUSES",
    "RightsGap",
    "RightsSheet",
    "credit_lines",
    "rights_gaps",
]

RIGHTS_STATUSES = {
    "public-domain": "in the public domain",
    "own-work": "own work",
    "licensed": "licensed",
    "fan-arrangement": "fan arrangement, not for sale",
}

RIGHTS_CAUTION = (
    "What is allowed differs from country to country: terms of protection, arranging, selling copies, recording, and "
    "music with pictures are separate rights. This is a reminder, not legal advice; local law and licensed "
    "professionals decide."
)

_SOON_DAYS = 60
_NEARLY_USED = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class RightsSheet:
    """What is known of the rights in a lesson's tune. Empty: not yet written down."""

    status: Literal["", "public-domain", "own-work", "licensed", "fan-arrangement"] = ""
    reason: str = ""  # why it is in the public domain, or one's own
    countries: tuple[str, ...] = ()  # where that holds, ISO 3166-1 alpha-2
    authors: tuple[str, ...] = ()
    owners: tuple[str, ...] = ()
    licence: str = ""  # its id, as the owner's letter names it
    granted: datetime.date | None = None
    expires: datetime.date | None = None
    scope: str = ""  # what it allows, in its own words
    copies: int | None = None  # how many it allows
    arrangement: str = ""  # credit of the arrangement
    recording: str = ""  # note on the sound recording
    sync: str = ""  # note on music with pictures
    royalty: str = ""  # what is owed, on what basis
    ismn: str = ""
    isrc: str = ""


NOTHING_WRITTEN = RightsSheet()


@dataclass(frozen=True, slots=True, kw_only=True)
class RightsGap:
    """Something about the rights that must (`refuse`) or should be (`warn`) seen to, and what to do."""

    weight: Literal["refuse", "warn"]
    what: str
    todo: str = ""

    def __str__(self) -> str:
        return f"{self.what}. {self.todo}".rstrip()


def credit_lines(sheet: RightsSheet, printed: Sequence[str] = ()) -> tuple[str, ...]:
    """The lines of credit for page, sound and video: the maker's own where given, then what the sheet says.

    `printed` are the lines the maker wrote (or the tune carries); they stand first, word for word.

    >>> credit_lines(RightsSheet(status="licensed", owners=("Marrow Quay Music",), licence="MQ-118"))
    ('Printed by permission of Marrow Quay Music, licence MQ-118.',)
    """
    lines = [line.strip() for line in printed if line.strip()]
    owners, authors = _listed(sheet.owners), _listed(sheet.authors)
    if not lines:
        match sheet.status:
            case "public-domain":
                where = f" in {_listed([_country(code) for code in sheet.countries])}" if sheet.countries else ""
                lines.append(f"{f'Tune: {authors}. ' if authors else ''}In the public domain{where}.")
            case "own-work":
                lines.append(f"{f'Tune: {authors}. ' if authors else ''}{_sentence(sheet.reason)}".strip())
            case "licensed":
                whose = f" of {owners}" if owners else ""
                number = f", licence {sheet.licence}" if sheet.licence else ""
                lines.append(f"{f'Tune: {authors}. ' if authors else ''}Printed by permission{whose}{number}.")
            case "fan-arrangement":
                lines.append(f"The tune belongs to {owners or authors}." if owners or authors else "")
            case _:
                pass
    if sheet.status == "fan-arrangement":
        lines.append("A fan's arrangement; not for sale.")
    lines += [_sentence(text) for text in (sheet.arrangement, sheet.recording, sheet.sync)]
    lines += [f"ISMN {sheet.ismn}"] if sheet.ismn else []
    lines += [f"ISRC {sheet.isrc}"] if sheet.isrc else []
    return tuple(dict.fromkeys(line for line in lines if line))


def rights_gaps(
    sheet: RightsSheet, *, today: datetime.date, copies_made: int = 0, price: str = ""
) -> tuple[RightsGap, ...]:
    """What stands against releasing today, and what should be seen to soon. Whoever asks prints `RIGHTS_CAUTION`."""
    gaps: list[RightsGap] = []

    def refuse(what: str, todo: str) -> None:
        gaps.append(RightsGap(weight="refuse", what=what, todo=todo))

    def warn(what: str, todo: str) -> None:
        gaps.append(RightsGap(weight="warn", what=what, todo=todo))

    if not sheet.status:
        refuse(
            "The rights sheet has no status",
            f"Write [rights] status in lesson.toml: {', '.join(RIGHTS_STATUSES)}.",
        )
    if sheet.status in ("public-domain", "own-work") and not sheet.reason.strip():
        refuse(f'The status is "{sheet.status}" without a reason', "Write [rights] reason: why is that so?")
    if sheet.status == "public-domain" and not sheet.countries:
        refuse(
            'The status is "public-domain" without a country',
            'Write [rights] countries, as in ["DE", "AT"]: a term that is over here may run elsewhere.',
        )
    if sheet.status == "licensed":
        missing = [
            name
            for name, value in (("licence", sheet.licence), ("owners", sheet.owners), ("granted", sheet.granted),
                                ("scope", sheet.scope))
            if not value
        ]  # fmt: skip
        if missing:
            refuse(f"The licence is not written down in full: {_listed(missing)} missing", "Add it to [rights].")
    if sheet.status == "fan-arrangement" and price.strip():
        refuse("A fan arrangement is not for sale, but has a price", "Take the price out, or ask the owner for leave.")
    if sheet.granted is not None and sheet.granted > today:
        refuse(f"The licence begins on {sheet.granted.isoformat()}, which is still to come", "Wait, or mend the date.")
    if sheet.granted is not None and sheet.expires is not None and sheet.expires < sheet.granted:
        refuse("The licence ends before it begins", "Mend the dates in [rights].")
    elif sheet.expires is not None:
        left = (sheet.expires - today).days
        if left < 0:
            refuse(f"The licence ended on {sheet.expires.isoformat()}", "Ask the owner for a new one.")
        elif left <= _SOON_DAYS:
            warn(
                f"The licence ends on {sheet.expires.isoformat()}, in {left} day{'' if left == 1 else 's'}",
                "Ask the owner in time.",
            )
    gaps += _copy_gaps(sheet, copies_made)
    gaps += _number_gaps(sheet)
    return tuple(gaps)


def _copy_gaps(sheet: RightsSheet, made: int) -> list[RightsGap]:
    if sheet.copies is None:
        return []
    left = sheet.copies - made
    if left <= 0:
        what = f"All {sheet.copies} copies the licence allows are made"
        return [RightsGap(weight="warn", what=what, todo="Ask the owner for more before the next copy.")]
    if made >= _NEARLY_USED * sheet.copies:
        what = f"{made} of the {sheet.copies} copies the licence allows are made"
        return [RightsGap(weight="warn", what=what, todo="Ask the owner in time.")]
    return []


def _number_gaps(sheet: RightsSheet) -> list[RightsGap]:
    """Codes that the libraries of their standards do not know."""
    gaps = [
        RightsGap(weight="refuse", what=f'"{code}" is no country of ISO 3166', todo="Write two letters, as in DE.")
        for code in sheet.countries
        if not _is_country(code)
    ]
    if sheet.ismn or sheet.isrc:
        from stdnum import ismn

        if sheet.ismn and not ismn.is_valid(sheet.ismn):
            what = f'The ISMN "{sheet.ismn}" is not one: its digits do not agree with its check digit or its length'
            gaps.append(RightsGap(weight="refuse", what=what, todo="Compare it with the agency's letter."))
        if sheet.isrc:
            gaps += _isrc_gaps(sheet.isrc)
    return gaps


def _isrc_gaps(number: str) -> list[RightsGap]:
    """Form by the standard; a prefix the library does not know is only doubted, as agencies are given new ones."""
    from stdnum import isrc
    from stdnum.exceptions import InvalidComponent, ValidationError

    todo = "Compare it with the agency's letter."
    try:
        isrc.validate(number)
    except InvalidComponent:
        if re.fullmatch(r"[A-Z]{2}-?[A-Z0-9]{3}-?[0-9]{2}-?[0-9]{5}", number):
            return [RightsGap(weight="warn", what=f'The ISRC "{number}" has a prefix that is not known', todo=todo)]
        what = f'The ISRC "{number}" is not one: two letters, three signs of the registrant, year and five digits'
        return [RightsGap(weight="refuse", what=what, todo=todo)]
    except ValidationError:
        what = f'The ISRC "{number}" is not one: two letters, three signs of the registrant, year and five digits'
        return [RightsGap(weight="refuse", what=what, todo=todo)]
    return []


def _is_country(code: str) -> bool:
    import pycountry

    return pycountry.countries.get(alpha_2=code) is not None if len(code) == 2 and code.isupper() else False


def _country(code: str) -> str:
    import pycountry

    found = pycountry.countries.get(alpha_2=code.upper()) if len(code) == 2 else None
    return str(getattr(found, "common_name", found.name)) if found is not None else code


def _sentence(text: str) -> str:
    text = text.strip()
    return text if not text or text.endswith((".", "?")) else f"{text}."


def _listed(words: Sequence[str]) -> str:
    return f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else "".join(words)
