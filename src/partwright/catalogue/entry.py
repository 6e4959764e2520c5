"""A lesson as the catalogue knows it: what a sales sheet says, what was released, what is owed, what is known wrong."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from partwright.catalogue.copies import Copy
from partwright.catalogue.edition import Edition
from partwright.lesson import Erratum, RightsSheet
from partwright.lesson.rights import NOTHING_WRITTEN

__all__ = ["Entry", "Report", "duration_words", "parse_price", "price_words"]

State = Literal["draft", "released", "changed", "incomplete"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What viewers reported of one place, as `partwright reports` found it; `count` is how many of them.

    `erratum` is the id of the mistake it tells of, `edition` the one that answers it, where there are such.
    """

    id: str
    kind: str
    state: str = "open"
    verdict: str = ""
    bar: str = ""
    beat: str = ""
    count: int = 1
    words: str = ""
    erratum: str = ""
    edition: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One lesson. Numbers that are not known yet (before the first build) are None; texts are empty.

    `state`: draft (never released), released (as its latest edition), changed (since it), incomplete (something is
    missing in its folder: `trouble` says what). Units: seconds of one playing with repeats, cents of the currency.
    """

    id: str
    folder: str
    title: str
    subtitle: str = ""
    composer: str = ""
    arranger: str = ""
    teacher: str = ""
    instrument: str = ""
    level: str = ""
    language: str = ""
    summary: str = ""
    price_cents: int | None = None
    currency: str = ""
    key: str = ""
    metre: str = ""
    bars: int | None = None
    notes: int | None = None
    tempo_qpm: float | None = None
    seconds: float | None = None
    lowest: str = ""
    highest: str = ""
    lowest_midi: int | None = None
    highest_midi: int | None = None
    extensions: int | None = None
    harmonics: int | None = None
    thumb: int | None = None
    double_stops: int | None = None
    hardest_bar: str = ""
    hardest: str = ""
    state: State = "draft"
    trouble: str = ""
    positions: tuple[str, ...] = ()
    tags: tuple[str, ...] = ()
    credit: tuple[str, ...] = ()
    rights: RightsSheet = NOTHING_WRITTEN
    editions: tuple[Edition, ...] = ()
    copies: tuple[Copy, ...] = ()
    errata: tuple[Erratum, ...] = ()
    reports: tuple[Report, ...] = ()

    @property
    def price(self) -> str:
        """The price as printed, or nothing."""
        return price_words(self.price_cents, self.currency)

    @property
    def duration(self) -> str:
        """Minutes and seconds of one playing."""
        return duration_words(self.seconds)

    @property
    def range_words(self) -> str:
        """Lowest to highest note."""
        return f"{self.lowest} to {self.highest}" if self.lowest and self.highest else ""

    @property
    def to_answer(self) -> int:
        """How many viewers' reports wait for an answer."""
        return sum(report.state == "open" and report.kind in ("claim", "question") for report in self.reports)


def parse_price(text: str) -> tuple[int | None, str]:
    """Cents and ISO 4217 code of a price like "6.50 EUR"; (None, "") for none. Raises ValueError with what is wrong.

    >>> parse_price("6.50 EUR"), parse_price("800 JPY"), parse_price("")
    ((650, 'EUR'), (800, 'JPY'), (None, ''))
    """
    if not text.strip():
        return None, ""
    from decimal import Decimal, InvalidOperation

    amount, _, code = text.strip().partition(" ")
    code = code.strip()
    try:
        value = Decimal(amount)
    except InvalidOperation as error:
        raise ValueError(f'the price "{text}" is not a number and a currency, as in "6.50 EUR"') from error
    import pycountry

    if len(code) != 3 or pycountry.currencies.get(alpha_3=code) is None:
        raise ValueError(f'the price "{text}" names no currency of ISO 4217, as in "6.50 EUR"')
    cents = value * 10 ** _digits(code)
    if not value.is_finite() or cents != cents.to_integral_value() or not 0 <= cents < 10**12:
        raise ValueError(f'the price "{text}" is not an amount of {code}')
    return int(cents), code


def price_words(cents: int | None, currency: str) -> str:
    """As in "6.50 EUR".

    >>> price_words(650, "EUR"), price_words(800, "JPY"), price_words(None, "")
    ('6.50 EUR', '800 JPY', '')
    """
    if cents is None:
        return ""
    digits = _digits(currency)
    return f"{cents / 10**digits:.{digits}f} {currency}"


def _digits(code: str) -> int:
    """Digits of the smaller unit. Source: ISO 4217, minor units; the currencies without or with three from memory."""
    if code in ("BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "VND", "VUV", "XAF",
                "XOF", "XPF"):  # fmt: skip
        return 0
    return 3 if code in ("BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND") else 2


def duration_words(seconds: float | None) -> str:
    """Minutes and seconds.

    >>> duration_words(85.99), duration_words(None)
    ('1:26', '')
    """
    if seconds is None:
        return ""
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"
