"""Copies carry their line on every page and are counted; a file a customer holds is told for what it is."""

from __future__ import annotations

import datetime
import json
import shutil
import subprocess
from pathlib import Path

import pytest
from pypdf import PdfReader

from catalogue_shelf import BARS, DAY, make_lesson, tune_of
from partwright.catalogue import copies_sold, make_copy, open_catalogue, read_copies, release, verify_bytes, verify_file
from partwright.catalogue.stamp import page_texts, stamp_pdf
from partwright.errors import InputError
from partwright.lesson import Erratum, add_erratum

LONG = tuple("D3:1 E3:1 F#3:1 G3:1" for _ in range(90))
LICENCE = 'owners = ["Marrow Quay"]\nlicence = "MQ-1"\ngranted = 2026-01-01\nscope = "print"\ncopies = 2\n'
LATER = DAY + datetime.timedelta(days=9)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = make_lesson(
        tmp_path / "waltz", bars=LONG, sell='["part-a4", "fingered"]', status="licensed", rights=LICENCE
    )
    release(folder, today=DAY)
    return folder


def test_the_line_stands_on_every_page_and_the_music_stays(folder: Path, tmp_path: Path) -> None:
    made = make_copy(folder, "Ada Quill,  order 118\n", tmp_path / "out", today=DAY)
    (path,) = made.files
    stamped = PdfReader(path)
    plain = PdfReader(folder / "editions" / "1" / "files" / "part-a4.pdf")
    assert len(stamped.pages) == len(plain.pages) > 1
    for page, before in zip(stamped.pages, plain.pages, strict=True):
        text = page.extract_text()
        assert f"Ada Quill, order 118 · Edition 1, 2026-11-28 · copy {made.id}" in text
        assert before.extract_text().strip() in text
        assert page.mediabox == before.mediabox
    assert stamped.metadata is not None
    assert stamped.metadata.title == plain.metadata.title  # type: ignore[union-attr]


def test_an_independent_checker_finds_the_pdfs_sound(folder: Path, tmp_path: Path) -> None:
    """qpdf, an independent PDF tool; its exit code 0 means that nothing was found."""
    from partwright.catalogue import errata_pdf

    if shutil.which("qpdf") is None:
        pytest.skip("qpdf is not installed")
    (copy,) = make_copy(folder, "Ada Quill", tmp_path / "out", today=DAY).files
    slip = tmp_path / "slip.pdf"
    slip.write_bytes(errata_pdf(folder, today=DAY))
    for path in (copy, slip, folder / "editions" / "1" / "files" / "part-a4.pdf"):
        ran = subprocess.run(["qpdf", "--check", path], capture_output=True, text=True, check=False)
        assert ran.returncode == 0, ran.stdout + ran.stderr


def test_the_same_line_is_the_same_copy_and_the_limit_holds(folder: Path, tmp_path: Path) -> None:
    first = make_copy(folder, "A", tmp_path / "a", today=DAY)
    again = make_copy(folder, "A", tmp_path / "b", today=LATER)
    assert (again.id, again.again, again.made) == (first.id, True, 1)
    assert first.files[0].read_bytes() == again.files[0].read_bytes()
    second = make_copy(folder, "B", tmp_path / "c", today=DAY)
    assert (second.made, second.allowed) == (2, 2)
    assert "All 2 copies the licence allows are made" in str(second.gaps[0])
    with pytest.raises(InputError, match="all 2 copies the licence allows are made"):
        make_copy(folder, "C", tmp_path / "d", today=DAY)
    assert not (tmp_path / "d").exists()
    make_copy(folder, "A", tmp_path / "e", today=DAY)
    assert {copy.id for copy in read_copies(folder)} == {first.id, second.id}


def test_a_mended_edition_for_the_same_buyer_is_no_second_copy(folder: Path, tmp_path: Path) -> None:
    first = make_copy(folder, "A. Reader, order 118", tmp_path / "a", today=DAY)
    make_copy(folder, "B", tmp_path / "b", today=DAY)
    (folder / "tune.musicxml").write_text(tune_of((*LONG[:-1], "D3:4")), encoding="utf-8")
    release(folder, today=LATER)
    mended = make_copy(folder, "A. Reader, order 118", tmp_path / "c", today=LATER)  # the licence is used up
    assert (mended.edition, mended.made, mended.again, mended.replaces) == (2, 2, False, (1,))
    assert mended.id != first.id  # each edition's copy is known again as what it is
    with pytest.raises(InputError, match="all 2 copies the licence allows are made"):
        make_copy(folder, "A. Reader, order 203", tmp_path / "d", today=LATER)
    assert copies_sold(read_copies(folder)) == 2
    with open_catalogue(tmp_path / "catalogue.db", create=True) as catalogue:
        catalogue.add(folder)
        old, new = (verify_file(catalogue, made.files[0]) for made in (first, mended))
    assert [(v.what, v.edition, v.copy) for v in (old, new)] == [
        ("old", 1, "A. Reader, order 118"), ("current", 2, "A. Reader, order 118"),
    ]  # fmt: skip


def test_what_stands_against_a_copy(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="empty"):
        make_copy(folder, " \t ", tmp_path / "out", today=DAY)
    with pytest.raises(InputError, match="at most 120"):
        make_copy(folder, "x" * 121, tmp_path / "out", today=DAY)
    with pytest.raises(InputError, match="has no edition 7"):
        make_copy(folder, "A", tmp_path / "out", today=DAY, number=7)
    with pytest.raises(InputError, match='Did you mean "part-a4"'):
        make_copy(folder, "A", tmp_path / "out", today=DAY, names=["part-a5"])
    settings = folder / "lesson.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace("copies = 2", "copies = 2\nexpires = 2026-11-01"), encoding="utf-8")
    with pytest.raises(InputError, match="The licence ended on 2026-11-01"):
        make_copy(folder, "A", tmp_path / "out", today=DAY)
    settings.write_text(text.replace('status = "licensed"', 'status = "fan-arrangement"'), encoding="utf-8")
    with pytest.raises(InputError, match="not for sale"):
        make_copy(folder, "A", tmp_path / "out", today=DAY)
    settings.write_text(text, encoding="utf-8")
    frozen = folder / "editions" / "1" / "files" / "part-a4.pdf"
    frozen.chmod(0o644)
    frozen.write_bytes(frozen.read_bytes() + b"\n")
    with pytest.raises(InputError, match="changed by hand"):
        make_copy(folder, "A", tmp_path / "out", today=DAY)
    assert read_copies(folder) == ()


def test_a_spoilt_list_of_copies_is_told_with_its_line_and_not_written_over(folder: Path, tmp_path: Path) -> None:
    make_copy(folder, "A", tmp_path / "out", today=DAY)
    path = folder / "editions" / "copies.jsonl"
    spoilt = path.read_text(encoding="utf-8") + '{"id": 3}\n'
    path.write_text(spoilt, encoding="utf-8")
    with pytest.raises(InputError, match="line 2: is no copy"):
        make_copy(folder, "B", tmp_path / "out", today=DAY)
    assert path.read_text(encoding="utf-8") == spoilt


def test_what_a_file_is(folder: Path, tmp_path: Path) -> None:
    first = folder / "editions" / "1" / "files" / "part-a4.pdf"
    music = folder / "editions" / "1" / "files" / "fingered.musicxml"
    (copy,) = make_copy(folder, "Ada Quill", tmp_path / "out", today=DAY).files
    wrong = Erratum(kind="pitch", words="B instead of E", bar="2", beat="2", was="E3", right="B3", state="confirmed")
    add_erratum(folder, wrong, today=DAY)
    with open_catalogue(tmp_path / "catalogue.db", create=True) as catalogue:
        catalogue.add(folder)
        found = verify_file(catalogue, first)
        assert (found.what, found.edition, found.latest) == ("current", 1, 1)
        assert [e.id for e in found.errata] == ["e1"]
        known = verify_file(catalogue, copy)
        assert (known.what, known.copy) == ("current", "Ada Quill")
        bars = (LONG[0], "D3:1 B3:1 F#3:1 G3:1", *LONG[2:])
        (folder / "tune.musicxml").write_text(tune_of(bars), encoding="utf-8")
        second = release(folder, today=LATER)
        catalogue.add(folder)
        old = verify_file(catalogue, first)
        assert (old.what, old.edition, old.latest) == ("old", 1, 2)
        assert old.errata[0].fixed_in == 2
        assert "Edition 2: Bar 2, beat 2: B instead of E." in old.since
        assert verify_file(catalogue, copy).what == "old"
        assert verify_file(catalogue, music).what == "old"
        assert verify_file(catalogue, second.folder / "files" / "part-a4.pdf").what == "current"
        assert verify_file(catalogue, folder / "lesson.toml").what == "not ours"
        assert verify_file(catalogue, folder / "build" / "part-a4.pdf").what == "not ours"
        changed = verify_bytes(catalogue, copy.read_bytes() + b"\n% more\n")
        assert (changed.what, changed.copy, changed.edition) == ("changed", "Ada Quill", 1)
        relabelled = verify_bytes(catalogue, stamp_pdf(first.read_bytes(), "Somebody Else"))
        assert (relabelled.what, relabelled.edition, relabelled.copy) == ("changed", 1, "")


def test_a_file_that_stands_in_two_editions_is_current(tmp_path: Path) -> None:
    folder = make_lesson(tmp_path / "waltz", sell='["part-a4", "fingered"]')
    release(folder, today=DAY)
    text = (folder / "lesson.toml").read_text(encoding="utf-8")
    (folder / "lesson.toml").write_text(text.replace('reason = "Made', 'reason = "Newly made'), encoding="utf-8")
    release(folder, today=LATER)
    with open_catalogue(tmp_path / "catalogue.db", create=True) as catalogue:
        catalogue.add(folder)
        assert verify_file(catalogue, folder / "editions" / "1" / "files" / "fingered.musicxml").what == "current"
        assert verify_file(catalogue, folder / "editions" / "1" / "files" / "part-a4.pdf").what == "old"


@pytest.mark.parametrize("data", [b"", b"%PDF-", b"%PDF-1.7\n" + bytes(range(256)) * 50, b"<script>alert(1)</script>"])
def test_strange_files_are_not_ours_and_nothing_breaks(tmp_path: Path, data: bytes) -> None:
    with open_catalogue(tmp_path / "catalogue.db", create=True) as catalogue:
        assert verify_bytes(catalogue, data).what == "not ours"
    assert page_texts(data) == ()
    if data:
        with pytest.raises(InputError, match="cannot be read"):
            stamp_pdf(data, "A")


def test_a_copy_is_counted_before_it_is_handed_out(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file where a folder should be")
    with pytest.raises(Exception, match="the copy is counted, say the same again"):
        make_copy(folder, "A", tmp_path / "out", today=DAY)
    assert len(read_copies(folder)) == 1
    assert make_copy(folder, "A", tmp_path / "in", today=DAY).again


def test_nothing_of_a_buyer_is_kept_but_the_line(folder: Path, tmp_path: Path) -> None:
    make_copy(folder, "order 118", tmp_path / "out", today=DAY)
    row = json.loads((folder / "editions" / "copies.jsonl").read_text(encoding="utf-8"))
    assert set(row) == {"id", "edition", "file", "line", "date", "sha256"}


def test_an_edition_the_catalogue_was_not_told_of_is_known_all_the_same(folder: Path, tmp_path: Path) -> None:
    """As after a kill between a release, or a copy, and its entry."""
    with open_catalogue(tmp_path / "catalogue.db", create=True) as catalogue:
        catalogue.add(folder)
        (folder / "tune.musicxml").write_text(tune_of(BARS), encoding="utf-8")
        second = release(folder, today=LATER)
        (copy,) = make_copy(folder, "Ada Quill", tmp_path / "out", today=LATER).files
        assert verify_file(catalogue, second.folder / "files" / "part-a4.pdf").what == "current"
        assert verify_file(catalogue, copy).copy == "Ada Quill"
        assert catalogue.catch_up() == 0
