"""The credit stands the same on the page, in the sound file and below the video, whatever the sheet says."""

from __future__ import annotations

from pathlib import Path

import av
from pypdf import PdfReader

from catalogue_shelf import make_lesson
from partwright.building import build_lesson

SHEET = (
    'authors = ["Tamsin Orrery"]\nowners = ["Marrow Quay Music"]\nlicence = "MQ-118"\ngranted = 2026-01-15\n'
    'scope = "print"\narrangement = "Arranged by B. Quill"\n'
)
LINES = ("Tune: Tamsin Orrery. Printed by permission of Marrow Quay Music, licence MQ-118.", "Arranged by B. Quill.")


def test_page_sound_and_video_print_the_same_credit(tmp_path: Path) -> None:
    folder = make_lesson(tmp_path / "waltz", status="licensed", rights=SHEET)
    build_lesson(folder, only=["part-a4", "stems", "demonstration-texts"])
    page = " ".join(PdfReader(folder / "build" / "part-a4.pdf").pages[0].extract_text().split())
    text = (folder / "build" / "video" / "demonstration-description.txt").read_text(encoding="utf-8")
    with av.open(folder / "build" / "sound" / "with-guide-100.flac") as sound:
        tag = {key.casefold(): value for key, value in sound.metadata.items()}["copyright"]
    for line in LINES:
        assert line in page
        assert line in text
        assert line in tag


def test_a_change_of_the_licence_that_is_not_printed_makes_nothing_anew(tmp_path: Path) -> None:
    folder = make_lesson(tmp_path / "waltz", status="licensed", rights=SHEET)
    build_lesson(folder, only=["part-a4"])
    path = folder / "lesson.toml"
    path.write_text(
        path.read_text(encoding="utf-8").replace('scope = "print"', 'scope = "print, 9 copies"\ncopies = 9')
    )
    assert not any(ran.made for ran in build_lesson(folder, only=["part-a4"]))
    path.write_text(path.read_text(encoding="utf-8").replace("MQ-118", "MQ-119"), encoding="utf-8")
    assert {ran.step for ran in build_lesson(folder, only=["part-a4"]) if ran.made} == {"part-a4"}
