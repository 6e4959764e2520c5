"""The head that pages of one file share: nothing put in is run, fetched, or taken for a place of the page's own."""

from __future__ import annotations

import base64
import io
import re

import pytest
from fontTools.ttLib import TTFont

from partwright.checking.paper_page import paper_page

TEMPLATE = "@@HEAD@@\n</head>\n<body><h1>@@TITLE@@</h1>@@BODY@@ @@NOT_THERE@@</body></html>\n"


def page(body: str, title: str = "A title", **more: str) -> str:
    return paper_page(TEMPLATE, {"TITLE": "shown", "BODY": body}, title=title, **more)


def test_what_is_put_in_is_never_a_place() -> None:
    made = page("@@TITLE@@ and @@HEAD@@", title="@@BODY@@ </title><script>")
    assert "<title>@@BODY@@ &lt;/title&gt;&lt;script&gt;</title>" in made
    assert "@@TITLE@@ and @@HEAD@@ @@NOT_THERE@@</body>" in made
    assert made.count("<!doctype html>") == 1


@pytest.mark.parametrize("may", ["font-src data:", "img-src data:; font-src data:"])
def test_the_policy_lets_nothing_in_but_what_is_named(may: str) -> None:
    (policy,) = re.findall(r'Content-Security-Policy" content="([^"]*)"', page("x", may=may))
    assert policy == f"default-src 'none'; style-src 'unsafe-inline'; {may}"


def test_letters_written_as_references_are_carried_too() -> None:
    """fontTools reads the fonts back: the apostrophe that stands as &#x27; is among their signs."""
    made = page("the ferryman&#x27;s bell &eacute;")
    fonts = re.findall(r"data:font/[^;]+;base64,([A-Za-z0-9+/=]+)", made)
    assert len(fonts) == 3
    for text in fonts:
        signs = TTFont(io.BytesIO(base64.b64decode(text))).getBestCmap()
        assert {ord("'"), ord("é"), ord("f")} <= set(signs)
        assert ord("Ω") not in signs
