"""What leaves the catalogue: no cell that runs in a spreadsheet, no tag that runs in a page."""

from __future__ import annotations

import csv
import io
import json
import re
from html.parser import HTMLParser

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from partwright.catalogue import Entry, catalogue_page, export_csv, export_json
from partwright.catalogue.export import EXPORT_COLUMNS, harmless
from partwright.lesson import RightsSheet

HOSTILE = '<script>alert("x")</script>'


def entry(title: str, **more: object) -> Entry:
    return Entry(id="a", folder="f", title=title, level="beginner", instrument="cello", **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "text",
    [
        "=1+2\";=1+2",  # the examples of OWASP, CSV Injection, and of its list of first signs
        "=cmd|' /C calc'!A0",
        "+1+cmd|'x'!A1",
        "-2+3",
        "@SUM(1+1)*cmd|'x'!A0",
        "\t=1+1",
        "\r=1+1",
        "\n=1+1",
        '  =HYPERLINK("http://x","y")',
        "＝1+1",
    ],
)  # fmt: skip
def test_no_cell_is_a_formula(text: str) -> None:
    """Source of the first signs: OWASP, CSV Injection; the wide sign is how some spreadsheets read it."""
    assert harmless(text) == f"'{text}"
    rows = list(csv.DictReader(io.StringIO(export_csv([entry(text, tags=(text,), hardest=text)]))))
    assert rows[0]["title"] == f"'{text}"
    assert rows[0]["tags"] == f"'{text}"
    assert rows[0]["hardest"] == f"'{text}"


@settings(deadline=None)
@given(texts=st.lists(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=30)))
def test_what_was_written_is_read_back_but_for_the_apostrophe(texts: list[str]) -> None:
    made = export_csv([entry(text) for text in texts])
    rows = list(csv.DictReader(io.StringIO(made, newline="")))
    assert [row["title"] for row in rows] == [harmless(text) for text in texts]
    assert all(set(row) == set(EXPORT_COLUMNS) for row in rows)
    for row in rows:
        assert not any(str(cell).startswith(("=", "+", "-", "@", "\t", "\r")) for cell in row.values())


def test_json_carries_every_text_as_it_is() -> None:
    data = json.loads(export_json([entry("=1", seconds=90.5, positions=("I", "IV"), price_cents=650, currency="EUR")]))
    (row,) = data["lessons"]
    assert (row["title"], row["seconds"], row["positions"], row["price"]) == ("=1", 90.5, ["I", "IV"], "6.50")
    assert row["edition"] is None


class Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.names: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names.append(tag)
        self.attributes += attrs


def test_nothing_in_a_lesson_runs_on_the_page() -> None:
    nasty = entry(
        HOSTILE,
        subtitle='" onload="x',
        composer="<img src=x onerror=y>",
        summary=HOSTILE * 3,
        hardest="</dd><iframe>",
        hardest_bar="1",
        credit=(HOSTILE,),
        rights=RightsSheet(status="own-work", reason=HOSTILE),
    )
    page = catalogue_page([nasty], title=HOSTILE)
    tags = Tags()
    tags.feed(page)
    assert not {"script", "iframe", "img", "link"} & set(tags.names)
    assert not [name for name, _ in tags.attributes if name.startswith("on")]
    assert "default-src 'none'" in page
    assert not re.search(r"(?:src|href)=[\"']?https?:", page)
    assert page.count("@@") == 0


def test_the_page_is_the_same_from_the_same_lessons_and_says_what_it_is() -> None:
    shelf = [entry("B", seconds=86.0, extensions=0), entry("A", price_cents=250, currency="EUR")]
    page = catalogue_page(shelf, today="2026-11-28")
    assert page == catalogue_page(shelf, today="2026-11-28")
    for words in ("Two lessons.", "1:26 min", "no extensions, harmonics or thumb", "2.50 EUR", "not yet released"):
        assert words in page
    fan = catalogue_page([entry("C", rights=RightsSheet(status="fan-arrangement"))])
    assert "not for sale" in fan
