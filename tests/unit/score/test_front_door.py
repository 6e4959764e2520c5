"""Which reader a file goes to, and how a tune is chosen from a book of them."""

from __future__ import annotations

from pathlib import Path

import pytest

from made_scores import bar, score
from partwright.errors import InputError
from partwright.score import read_tune

BOOK = """X:1
T:Quay Reel
M:4/4
L:1/4
K:G
G A B c|
X:7
T:Harbour Waltz
M:3/4
L:1/4
K:D
V:1
D E F|
V:2
A, B, C|
"""


def book(folder: Path, text: str = BOOK, name: str = "book.abc") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_book_of_tunes_is_a_question(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"book\.abc: the file holds 2 tunes: 1 Quay Reel, 7 Harbour Waltz.*--part"):
        read_tune(book(tmp_path))


@pytest.mark.parametrize(
    ("wish", "first"), [("1", "G4"), ("quay reel", "G4"), ("7:1", "D4"), ("7:2", "A3"), ("Harbour Waltz:2", "A3")]
)
def test_tune_and_part_are_chosen_together(wish: str, first: str, tmp_path: Path) -> None:
    assert read_tune(book(tmp_path), part=wish).part.notes[0].pitch.name == first


def test_tune_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"no tune number 9; it holds .*7 Harbour Waltz.*--part"):
        read_tune(book(tmp_path), part="9")
    with pytest.raises(InputError, match=r"none of its 2 tunes is called 'Another'.*--part"):
        read_tune(book(tmp_path), part="Another")


def test_content_decides_before_the_ending(tmp_path: Path) -> None:
    one = "\n".join(BOOK.splitlines()[:6]) + "\n"
    assert len(read_tune(book(tmp_path, one, "tune.txt")).part.notes) == 4
    path = tmp_path / "tune.mid"
    path.write_text(score(bar()), encoding="utf-8")
    assert len(read_tune(path).part.notes) == 1
