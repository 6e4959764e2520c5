"""Finding lessons: phrases are understood as they are meant, and the database finds what a plain look finds."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from partwright.catalogue import Entry, Filters, find_lessons_by, parse_filters, wishes
from partwright.catalogue.migrations import migrate
from partwright.catalogue.store import entry_rows
from partwright.errors import InputError
from partwright.lesson import RightsSheet

LEVELS = ("beginner", "intermediate", "advanced")
KEYS = ("C major", "D major", "G major", "A minor", "F♯ minor", "B♭ major (by the signature and the last note)")
POSITIONS = (("I",), ("I", "III"), ("I", "II", "IV"), ())
WORDS = ("lantern", "weir", "Été", "goose", "stair", "O'Malley", "bell-ringer", "ferry", "naïve")


def entries(count: int) -> tuple[Entry, ...]:
    """Lessons that differ in everything there is to ask for."""
    return tuple(
        Entry(
            id=f"lesson-{k}",
            folder=f"lessons/{k}",
            title=f"{WORDS[k % 9]} {WORDS[(k * 5 + 1) % 9]} {k}",
            composer=WORDS[(k * 7) % 9],
            instrument=("cello", "double_bass", "viola")[k % 3],
            level=LEVELS[k % 3],
            key=KEYS[k % 6],
            metre=("3/4", "4/4")[k % 2],
            seconds=None if k % 11 == 0 else float(30 + 13 * k % 400),
            extensions=None if k % 11 == 0 else k % 4,
            harmonics=k % 3,
            thumb=k % 5 // 4,
            double_stops=k % 2,
            positions=POSITIONS[k % 4],
            tags=(WORDS[k % 9].casefold(),),
            price_cents=100 * k if k % 2 else None,
            currency="EUR" if k % 2 else "",
            state=("draft", "released", "changed", "incomplete")[k % 4],  # type: ignore[arg-type]
            rights=RightsSheet(status=("", "own-work", "licensed")[k % 3]),  # type: ignore[arg-type]
        )
        for k in range(count)
    )


SHELF = entries(120)


@pytest.fixture(scope="module")
def database() -> Iterator[sqlite3.Connection]:
    connection = sqlite3.connect(":memory:", isolation_level=None)
    migrate(connection, Path("catalogue.db"))
    for entry in SHELF:
        for statement, rows in entry_rows(entry):
            connection.executemany(statement, rows)
    yield connection
    connection.close()


@pytest.mark.parametrize(
    ("phrase", "filters"),
    [
        ("", Filters()),
        ("intermediate, no extensions, D major, under 3 minutes",
         Filters(level="intermediate", extensions=False, key="D major", under_seconds=180.0)),
        ("Beginner; F sharp minor", Filters(level="beginner", key="F♯ minor")),
        ("f# minor", Filters(key="F♯ minor")),
        ("Bb major and double bass", Filters(key="B♭ major", instrument="double bass")),
        ("b minor", Filters(key="B minor")),
        ("over 90 seconds, under 2:30", Filters(over_seconds=90.0, under_seconds=150.0)),
        ("with harmonics, no thumb position, without double stops",
         Filters(harmonics=True, thumb=False, double_stops=False)),
        ("first position", Filters(only_position="I")),
        ("position iv", Filters(uses_position="IV")),
        ("3/4, released, public domain, tag slow air",
         Filters(metre="3/4", state="released", status="public-domain", tag="slow air")),
        ("under 5 eur, to answer, with errata", Filters(under_cents=500, currency="EUR", to_answer=True, errata=True)),
        ("no rights", Filters(status="none")),
    ],
)  # fmt: skip
def test_a_phrase_is_understood(phrase: str, filters: Filters) -> None:
    assert parse_filters(phrase) == filters


def test_every_example_is_understood() -> None:
    for wish in wishes():
        assert parse_filters(wish) != Filters(), wish


@pytest.mark.parametrize(
    ("phrase", "told"),
    [
        ("intermedate", 'Did you mean "intermediate"'),
        ("no extentions", 'Did you mean "no extensions"'),
        ("purple", '"purple" is not understood as a wish'),
        ("beginner, advanced", '"advanced" contradicts what was asked before it'),
        ("under 5 XYZ", "no currency of ISO 4217"),
        ("'; DROP TABLE lessons; --", "is not understood"),
    ],
)
def test_what_is_not_understood_is_said(phrase: str, told: str) -> None:
    with pytest.raises(InputError) as refused:
        parse_filters(phrase)
    assert told in str(refused.value)


def holds(entry: Entry, wish: Filters) -> bool:
    """The same question asked of one lesson in plain words of the language."""
    counts = {name: getattr(entry, name) for name in ("extensions", "harmonics", "thumb", "double_stops")}
    checks = [
        not wish.level or entry.level == wish.level,
        not wish.instrument or entry.instrument == wish.instrument.replace(" ", "_"),
        not wish.key or entry.key.startswith(wish.key),
        not wish.metre or entry.metre == wish.metre,
        wish.under_seconds is None or (entry.seconds is not None and entry.seconds < wish.under_seconds),
        wish.over_seconds is None or (entry.seconds is not None and entry.seconds > wish.over_seconds),
        not wish.only_position or entry.positions == (wish.only_position,),
        not wish.uses_position or wish.uses_position in entry.positions,
        not wish.state or entry.state == wish.state,
        not wish.status or entry.rights.status == ("" if wish.status == "none" else wish.status),
        not wish.tag or wish.tag.casefold() in entry.tags,
        wish.under_cents is None
        or (entry.price_cents is not None and entry.price_cents < wish.under_cents and entry.currency == wish.currency),
        *(
            getattr(wish, name) is None or (count is not None and (count > 0) is getattr(wish, name))
            for name, count in counts.items()
        ),
    ]
    return all(checks)


some = st.none() | st.booleans()


@settings(deadline=None)
@given(
    wish=st.builds(
        Filters,
        level=st.sampled_from(("", *LEVELS)),
        instrument=st.sampled_from(("", "cello", "double bass")),
        key=st.sampled_from(("", "D major", "B♭ major", "F♯ minor")),
        metre=st.sampled_from(("", "3/4")),
        under_seconds=st.none() | st.floats(30, 400),
        over_seconds=st.none() | st.floats(30, 400),
        extensions=some,
        harmonics=some,
        thumb=some,
        double_stops=some,
        only_position=st.sampled_from(("", "I")),
        uses_position=st.sampled_from(("", "III", "IV")),
        state=st.sampled_from(("", "draft", "changed")),
        status=st.sampled_from(("", "none", "own-work")),
        tag=st.sampled_from(("", "lantern")),
    )
)
def test_filters_find_what_a_plain_look_finds(database: sqlite3.Connection, wish: Filters) -> None:
    found = find_lessons_by(database, filters=wish)
    wanted = {entry.id for entry in SHELF if holds(entry, wish)}
    assert {row.entry.id for row in found.rows} == wanted
    assert found.total == len(wanted)


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        ("lantern", {k for k in range(120) if "lantern" in f"{SHELF[k].title} {SHELF[k].composer}".casefold()}),
        ("ete", {k for k in range(120) if "Été" in f"{SHELF[k].title} {SHELF[k].composer}"}),
        ("naive goo", {k for k in range(120)
                       if "naïve" in (t := f"{SHELF[k].title} {SHELF[k].composer}") and "goose" in t}),
        ("LANT 18", {k for k in range(120) if "lantern" in f"{SHELF[k].title} {SHELF[k].composer}"
                     and any(w.startswith("18") for w in [str(k)])}),
    ],
)  # fmt: skip
def test_words_find_what_a_plain_look_finds(database: sqlite3.Connection, words: str, wanted: set[int]) -> None:
    found = find_lessons_by(database, words=words)
    assert {int(row.entry.id.partition("-")[2]) for row in found.rows} == wanted


@settings(deadline=None)
@given(words=st.text(max_size=40))
def test_no_text_breaks_the_search(database: sqlite3.Connection, words: str) -> None:
    found = find_lessons_by(database, words=words, limit=5)
    assert len(found.rows) <= min(5, found.total)


def test_pages_of_a_list_are_the_list(database: sqlite3.Connection) -> None:
    whole = [row.entry.id for row in find_lessons_by(database).rows]
    pages = [
        row.entry.id for k in range(0, 120, 25) for row in find_lessons_by(database, limit=25, offset=k).rows
    ]  # fmt: skip
    assert pages == whole


def test_the_best_match_comes_first(database: sqlite3.Connection) -> None:
    titled = replace(SHELF[0], id="titled", folder="t", title="Quillon", summary="")
    told = replace(SHELF[1], id="told", folder="u", summary="It has a quillon in it, and much else besides.")
    for entry in (told, titled):
        for statement, rows in entry_rows(entry):
            database.executemany(statement, rows)
    assert [row.entry.id for row in find_lessons_by(database, words="quillon").rows] == ["titled", "told"]
    for name in ("titled", "told"):
        database.execute("DELETE FROM words WHERE rowid = (SELECT number FROM lessons WHERE id = ?)", (name,))
        database.execute("DELETE FROM lessons WHERE id = ?", (name,))
