"""errata.toml and edits of lesson.toml: comments stay, a mistake is listed once, nonsense is told with its place."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from catalogue_shelf import DAY, make_lesson
from partwright.catalogue import errata_pdf, release
from partwright.catalogue.stamp import page_texts
from partwright.errors import LessonError, NewerFormat
from partwright.lesson import (
    Erratum,
    add_erratum,
    change_erratum,
    edit_settings,
    erratum_words,
    read_errata,
    read_lesson,
)
from partwright.lesson.errata_io import parse_errata

SHARP = Erratum(kind="pitch", words="C sharp instead of C", bar="18", beat="3", was="C3", right="C#3", reports=2)


def test_errata_come_back_as_they_went_in_and_comments_stay(tmp_path: Path) -> None:
    added = add_erratum(tmp_path, SHARP, today=DAY)
    path = tmp_path / "errata.toml"
    path.write_text(path.read_text(encoding="utf-8") + "# mine\n", encoding="utf-8")
    full = Erratum(
        kind="finger", words='a "quoted" word', bar="4", right="2/D", where="video", why="seen", origin="report",
        editions=(1, 2), found=DAY, time_s=61.5,
    )  # fmt: skip
    second = add_erratum(tmp_path, full, today=DAY)
    assert (added.id, second.id, added.found) == ("e1", "e2", DAY)
    assert read_errata(tmp_path) == (added, second)
    changed = change_erratum(tmp_path, "e1", state="fixed", fixed=DAY, fixed_in=3)
    assert read_errata(tmp_path) == (changed, second)
    assert "# mine" in path.read_text(encoding="utf-8")
    assert erratum_words(second) == 'Bar 4 (1:01): a "quoted" word.'


def test_one_mistake_is_listed_once_and_its_reports_do_not_add_up_twice(tmp_path: Path) -> None:
    from dataclasses import replace

    add_erratum(tmp_path, SHARP, today=DAY)
    again = add_erratum(tmp_path, replace(SHARP, reports=5, words="C♯"), today=DAY + datetime.timedelta(days=1))
    assert (again.id, again.reports, again.found) == ("e1", 5, DAY)
    assert add_erratum(tmp_path, replace(SHARP, reports=1), today=DAY).reports == 5
    assert add_erratum(tmp_path, replace(SHARP, beat="1"), today=DAY).id == "e2"
    change_erratum(tmp_path, "e2", state="refused")
    assert add_erratum(tmp_path, replace(SHARP, beat="1"), today=DAY).state == "refused"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[[errata]]\n", 'erratum 1 has no "id"'),
        (
            '[[errata]]\nid = "e1"\nkind = "pitsh"\nwords = "x"\n',
            'erratum 1 has the kind "pitsh". Did you mean "pitch"',
        ),
        ('[[errata]]\nid = "e1"\nkind = "pitch"\nwords = "x"\nfound = "soon"\n', '"found" that is not a date'),
        ('[[errata]]\nid = "e1"\nkind = "pitch"\nwords = "x"\neditions = [0]\n', "not a list of edition numbers"),
        ('[[errata]]\nid = "e1"\nkind = "pitch"\nwords = "x"\nbarr = "1"\n', 'Did you mean "bar"'),
        ('[[errata]]\nid = "e1"\nkind = "pitch"\nwords = "x"\n' * 2, 'two errata have the id "e1"'),
        ("[errata]\n", "errata are a list"),
        ("errata = [", "is not TOML"),
    ],
)
def test_nonsense_is_told(text: str, told: str) -> None:
    with pytest.raises(LessonError) as refused:
        parse_errata(text)
    assert told in str(refused.value)


def test_a_newer_list_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "errata.toml").write_text("format = 9\n", encoding="utf-8")
    with pytest.raises(NewerFormat):
        add_erratum(tmp_path, SHARP, today=DAY)
    assert (tmp_path / "errata.toml").read_text(encoding="utf-8") == "format = 9\n"


@pytest.mark.parametrize("count", [0, 1, 70])
def test_the_slip_is_one_page_with_every_confirmed_mistake(tmp_path: Path, count: int) -> None:
    folder = make_lesson(tmp_path / "waltz", title="Waltz of the Weir")
    release(folder, today=DAY)
    for k in range(count):
        erratum = Erratum(kind="pitch", words=f"note {k} is another", bar=str(k + 1), beat="1", state="confirmed")
        add_erratum(folder, erratum, today=DAY)
    add_erratum(folder, Erratum(kind="other", words="only a draft"), today=DAY)
    data = errata_pdf(folder, today=DAY)
    (text,) = page_texts(data)
    assert data == errata_pdf(folder, today=DAY)
    assert "Waltz of the Weir" in text
    assert "As known on 2026-11-28. The current edition is 1" in text
    assert "draft" not in text
    assert all(f"ote {k} is another" in text for k in range(count))
    assert ("No mistake is known." in text) is (count == 0)


def test_settings_are_edited_where_they_belong_and_every_comment_stays(tmp_path: Path) -> None:
    folder = make_lesson(tmp_path / "waltz")
    path = folder / "lesson.toml"
    path.write_text(
        '# head\nformat = 1\nrights = ["Mine."]\n[page]\nmarks = "every"  # all\n\n# below\n[pins]\n# none yet\n',
        encoding="utf-8",
    )
    edit_settings(folder, "rights", {"status": "own-work", "reason": 'I "made" it.'})
    edit_settings(folder, "page", {"strings": "roman"})
    text = path.read_text(encoding="utf-8")
    assert all(comment in text for comment in ("# head", "# all", "# below", "# none yet"))
    assert text.index('strings = "roman"') < text.index("# below") < text.index("[pins]")
    lesson = read_lesson(folder)
    assert (lesson.rights, lesson.rights_sheet.reason, lesson.strings) == (("Mine.",), 'I "made" it.', "roman")
    before = path.read_bytes()
    with pytest.raises(LessonError, match="must be one of"):
        edit_settings(folder, "rights", {"status": "stolen"})
    assert path.read_bytes() == before
    edit_settings(folder, "rights", {"reason": None})
    assert read_lesson(folder).rights_sheet.reason == ""
