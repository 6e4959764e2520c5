"""Rights: codes and numbers against their standards' published examples, statuses and what stands against a release."""

from __future__ import annotations

import datetime

import pycountry
import pytest

from partwright.catalogue.entry import parse_price
from partwright.errors import LessonError
from partwright.lesson import RIGHTS_STATUSES, RightsSheet, credit_lines, parse_lesson, rights_gaps

DAY = datetime.date(2026, 11, 28)
OWN = RightsSheet(status="own-work", reason="I wrote it.")
LICENSED = RightsSheet(
    status="licensed", owners=("Marrow Quay",), licence="MQ-1", granted=datetime.date(2026, 1, 1), scope="print"
)


def gaps(sheet: RightsSheet, **more: object) -> list[str]:
    return [f"{g.weight}: {g.what}" for g in rights_gaps(sheet, today=DAY, **more)]  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("number", "good"),
    [
        ("979-0-2600-0043-8", True),  # International ISMN Agency, ISMN Users' Manual, structure (from memory)
        ("979-0-060-11561-5", True),  # the same manual and ISO 10957's check digit: M is counted as 3 × 3 of 9790…
        ("9790260000438", True),
        ("979-0-2600-0043-9", False),  # wrong check digit
        ("979-0-2600-0043", False),
        ("978-0-2600-0043-8", False),  # a book's prefix
    ],
)
def test_ismn(number: str, good: bool) -> None:
    """ISO 10957."""
    from dataclasses import replace

    found = gaps(replace(OWN, ismn=number))
    assert (found == []) is good, found


@pytest.mark.parametrize(
    ("number", "good"),
    [
        ("US-S1Z-99-00001", True),  # IFPI, ISRC Handbook, the example of its structure (from memory)
        ("US-S1Z-99-0001", False),
        ("1S-S1Z-99-00001", False),
        ("US-S1Z-X9-00001", False),
    ],
)
def test_isrc(number: str, good: bool) -> None:
    """ISO 3901."""
    from dataclasses import replace

    found = gaps(replace(OWN, isrc=number))
    assert (found == []) is good, found
    assert good or found[0].startswith("refuse"), found


def test_an_isrc_with_a_prefix_of_its_own_is_only_doubted() -> None:
    """ISRC Handbook, 4th edition: prefixes are no longer those of countries; its example AA6Q7 (from memory)."""
    from dataclasses import replace

    assert gaps(replace(OWN, isrc="AA-6Q7-20-00047")) == [
        'warn: The ISRC "AA-6Q7-20-00047" has a prefix that is not known'
    ]


def test_every_country_of_iso_3166_is_known_and_nothing_else() -> None:
    for country in pycountry.countries:
        sheet = RightsSheet(status="public-domain", reason="Died in 1850.", countries=(country.alpha_2,))
        assert gaps(sheet) == []
    for code in ("UK", "EU", "de", "DEU", "", "ZZ"):
        sheet = RightsSheet(status="public-domain", reason="Died in 1850.", countries=(code,))
        assert any("no country of ISO 3166" in text for text in gaps(sheet)), code


@pytest.mark.parametrize("text", ["2026-02-29", "2026-13-01", "28.11.2026", "2026-1-1", "20261128", "2026-11-28T10:00"])
def test_dates_that_iso_8601_does_not_have_or_we_do_not_write(text: str) -> None:
    with pytest.raises(LessonError, match="is a date like 2026-11-28"):
        parse_lesson(f'[rights]\nexpires = "{text}"\n')


def test_dates_of_iso_8601() -> None:
    sheet = parse_lesson('[rights]\nexpires = "2028-02-29"\ngranted = 2026-11-28\n').rights_sheet
    assert (sheet.expires, sheet.granted) == (datetime.date(2028, 2, 29), DAY)


@pytest.mark.parametrize(
    ("text", "found"),
    [("6.50 EUR", (650, "EUR")), ("800 JPY", (800, "JPY")), ("1.250 KWD", (1250, "KWD")), ("0 USD", (0, "USD"))],
)
def test_prices_in_the_units_of_iso_4217(text: str, found: tuple[int, str]) -> None:
    """Minor units: two digits, none for the yen, three for the Kuwaiti dinar (ISO 4217, from memory)."""
    assert parse_price(text) == found


@pytest.mark.parametrize(
    "text", ["6.50", "EUR 6.50", "6.505 EUR", "-1 EUR", "nan EUR", "1e99 EUR", "6.50 XXZ", "=1 EUR"]
)
def test_prices_that_are_none(text: str) -> None:
    with pytest.raises(ValueError, match="the price"):
        parse_price(text)


@pytest.mark.parametrize(
    ("sheet", "told"),
    [
        (RightsSheet(), "has no status"),
        (RightsSheet(status="own-work"), "without a reason"),
        (RightsSheet(status="public-domain", countries=("DE",)), "without a reason"),
        (RightsSheet(status="public-domain", reason="Old."), "without a country"),
        (RightsSheet(status="licensed"), "licence, owners, granted and scope missing"),
    ],
)
def test_what_is_refused(sheet: RightsSheet, told: str) -> None:
    (gap,) = rights_gaps(sheet, today=DAY)
    assert gap.weight == "refuse"
    assert told in gap.what


def test_every_status_can_be_complete() -> None:
    complete = {
        "public-domain": RightsSheet(status="public-domain", reason="Died in 1850.", countries=("DE",)),
        "own-work": OWN,
        "licensed": LICENSED,
        "fan-arrangement": RightsSheet(status="fan-arrangement"),
    }
    assert set(complete) == set(RIGHTS_STATUSES)
    for sheet in complete.values():
        assert gaps(sheet) == []
    assert gaps(complete["fan-arrangement"], price="3 EUR") == [
        "refuse: A fan arrangement is not for sale, but has a price"
    ]


def test_ends_and_limits_are_warned_of_in_time() -> None:
    from dataclasses import replace

    def ends(days: int) -> list[str]:
        return gaps(replace(LICENSED, expires=DAY + datetime.timedelta(days=days)))

    assert ends(61) == []
    assert ends(60) == ["warn: The licence ends on 2027-01-27, in 60 days"]
    assert ends(1) == ["warn: The licence ends on 2026-11-29, in 1 day"]
    assert ends(0)[0].startswith("warn")
    assert ends(-1) == ["refuse: The licence ended on 2026-11-27"]
    assert gaps(replace(LICENSED, granted=DAY + datetime.timedelta(days=1)))[0].startswith("refuse: The licence begins")
    assert gaps(replace(LICENSED, expires=datetime.date(2025, 1, 1))) == ["refuse: The licence ends before it begins"]
    limited = replace(LICENSED, copies=10)
    assert gaps(limited, copies_made=8) == []
    assert gaps(limited, copies_made=9) == ["warn: 9 of the 10 copies the licence allows are made"]
    assert gaps(limited, copies_made=10) == ["warn: All 10 copies the licence allows are made"]


@pytest.mark.parametrize(
    ("sheet", "printed", "lines"),
    [
        (RightsSheet(), ("© me",), ("© me",)),
        (OWN, (), ("I wrote it.",)),
        (LICENSED, (), ("Printed by permission of Marrow Quay, licence MQ-1.",)),
        (LICENSED, ("Their own words.",), ("Their own words.",)),
        (RightsSheet(status="public-domain", authors=("Anon",), countries=("DE", "AT")), (),
         ("Tune: Anon. In the public domain in Germany and Austria.",)),
        (RightsSheet(status="fan-arrangement", owners=("C. Ashe",)), (),
         ("The tune belongs to C. Ashe.", "A fan's arrangement; not for sale.")),
        (RightsSheet(status="fan-arrangement"), ("Mine.",), ("Mine.", "A fan's arrangement; not for sale.")),
        (RightsSheet(status="own-work", reason="R", arrangement="Arranged by B", ismn="979-0-2600-0043-8"), (),
         ("R.", "Arranged by B.", "ISMN 979-0-2600-0043-8")),
    ],
)  # fmt: skip
def test_credit_lines(sheet: RightsSheet, printed: tuple[str, ...], lines: tuple[str, ...]) -> None:
    assert credit_lines(sheet, printed) == lines
