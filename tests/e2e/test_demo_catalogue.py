"""The demonstration's catalogue: what README shows of it is true, and it can be made again from the folders."""

from __future__ import annotations

from pathlib import Path

import pytest

from partwright.catalogue import edition_faults, open_catalogue, read_editions, verify_file
from partwright.cli.demo_catalogue import make_demo_catalogue
from partwright.lesson import read_errata
from partwright.lesson.demo_io import demo_files, write_demo
from partwright.lesson.demo_more_io import MORE_DEMOS, misprinted_tune, write_more_demos


@pytest.mark.slow
def test_the_demonstration_has_two_editions_and_an_erratum_that_viewers_found(tmp_path: Path) -> None:
    write_demo(tmp_path / "demo")
    path = make_demo_catalogue(tmp_path / "demo")
    with open_catalogue(path) as catalogue:
        assert catalogue.count() == 1 + len(MORE_DEMOS)
        lantern = catalogue.entry("lantern-on-the-weir")
        assert [e.number for e in lantern.editions] == [1, 2]
        assert lantern.editions[1].changes == ("Bar 32, beat 2: C sharp instead of C.",)
        misprint = next(e for e in lantern.errata if e.kind == "pitch")
        assert (misprint.state, misprint.fixed_in, misprint.origin, misprint.reports) == ("fixed", 2, "report", 3)
        (told,) = [report for report in lantern.reports if report.erratum == misprint.id]
        assert (told.state, told.edition, told.bar) == ("answered", 2, "32")
        first = tmp_path / "demo" / "editions" / "1" / "files" / "part-a4.pdf"
        old = verify_file(catalogue, first)
        assert (old.what, old.latest, [e.id for e in old.errata]) == ("old", 2, [misprint.id])
        before = catalogue.entries()
        done = catalogue.rebuild()
        assert (done.gone, done.trouble) == ((), ())
        assert catalogue.entries() == before
    assert edition_faults(tmp_path / "demo", read_editions(tmp_path / "demo")) == ()
    assert (tmp_path / "demo" / "tune.musicxml").read_bytes() == demo_files()["tune.musicxml"]
    errata = read_errata(tmp_path / "demo")
    assert make_demo_catalogue(tmp_path / "demo") == path
    assert read_errata(tmp_path / "demo") == errata
    assert len(read_editions(tmp_path / "demo")) == 2


def test_the_small_lessons_are_lessons_and_the_misprint_is_one_note(tmp_path: Path) -> None:
    from partwright.catalogue import State, changes_between, read_entry
    from partwright.score import read_tune

    for folder in write_more_demos(tmp_path / "more"):
        entry = read_entry(folder)
        assert (entry.state, entry.trouble) == ("draft", "")
        assert entry.seconds is not None
    (tmp_path / "then.musicxml").write_bytes(misprinted_tune())
    (tmp_path / "now.musicxml").write_bytes(demo_files()["tune.musicxml"])
    was, now = (State(part=read_tune(tmp_path / f"{name}.musicxml").part) for name in ("then", "now"))
    assert changes_between(was, now) == ("Bar 32, beat 2: C sharp instead of C.",)
