"""Small parts of the server: shapes, refusals, ranges, names of files, and how light the command line stays."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from partwright.errors import InputError, Place
from partwright.studio.edits import edited_texts
from partwright.studio.files_io import file_kind, find_file
from partwright.studio.refusal import STATUS, Refusal, error_document
from partwright.studio.room import check_name
from partwright.studio.shape import check_shape
from partwright.studio.shapes import EDITS
from partwright.studio.svg_texts import bow_svg
from partwright.studio.takes_io import free_name, keep_take, list_takes, take_kind


def test_the_command_line_does_not_load_the_server() -> None:
    code = (
        "import sys; from partwright.cli import run\n"
        "run(['--help'])\n"
        "heavy = {'starlette', 'uvicorn', 'numpy', 'lxml', 'verovio'} & set(sys.modules)\n"
        "print(sorted(heavy), file=sys.stderr); sys.exit(len(heavy))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ({"edits": []}, "lacks version"),
        ({"version": 1, "edits": [{"kind": "unpin", "n": 1}]}, "version must be a text"),
        ({"version": "x", "edits": []}, "too many or too few"),
        ({"version": "x", "edits": [{"kind": "unpin", "n": -1}]}, "n must lie from 0"),
        ({"version": "x", "edits": [{"kind": "unpin", "n": 1.5}]}, "n must be a whole number"),
        ({"version": "x", "edits": [{"kind": "unpin", "n": False}]}, "n must be a whole number"),
        ({"version": "x", "edits": [{"kind": "unpin", "n": 1, "more": 2}]}, 'unknown field "more"'),
        ({"version": "x", "edits": [{"kind": "bow", "n": 1, "value": "sideways"}]}, "value must be one of"),
        ({"version": "x", "edits": [{"n": 1}]}, "must have a kind"),
        ([], "must be an object"),
    ],
)
def test_a_body_is_refused_with_what_is_wrong(value: object, words: str) -> None:
    with pytest.raises(Refusal) as refused:
        check_shape(value, EDITS)
    assert words in refused.value.what
    assert refused.value.status == 400


def test_every_edit_that_is_described_is_made() -> None:
    from partwright.studio import edits

    described = {option["properties"]["kind"]["const"] for option in EDITS["properties"]["edits"]["items"]["oneOf"]}
    assert described == set(edits._MAKERS)
    assert callable(edited_texts)


def test_refusals_are_never_faults_of_the_server() -> None:
    assert all(400 <= status < 500 for status in STATUS.values())
    document = Refusal("cannot", "this cannot be", "Do that.", version="v").document()["error"]
    assert document["words"] == "This cannot be. Do that."  # type: ignore[index]
    assert document["version"] == "v"  # type: ignore[index]


def test_an_error_names_the_file_but_not_where_it_lies() -> None:
    error = InputError("is not there", "Look.", place=Place(file="/home/somebody/private/waltz/lesson.toml", line=3))
    document = error_document(error)
    assert document["words"] == "Lesson.toml, line 3: is not there. Look."
    assert "somebody" not in str(document)
    at_bar = error_document(InputError("is out of reach", place=Place(file="/x/tune.xml", bar="12", beat="3")))
    assert at_bar["words"] == "Bar 12, beat 3: is out of reach."


@pytest.mark.parametrize("name", ["Waltz", "Walzer in Es-Dur 2", "été", "a", "x" * 60, "7 bars"])
def test_good_names_are_taken(name: str) -> None:
    assert check_name(name) == name


@pytest.mark.parametrize(
    "name", ["", ".", "..", "a/b", "a\\b", " a", "a ", "a.", "-a", "_a", "CON", "nul.txt", "x" * 61, "a\n"]
)
def test_names_some_file_system_would_not_take_are_refused(name: str) -> None:
    with pytest.raises(Refusal):
        check_name(name)


def test_only_plain_files_of_some_folders_are_found(tmp_path: Path) -> None:
    (tmp_path / "build" / "sound").mkdir(parents=True)
    (tmp_path / "build" / "sound" / "a.flac").write_bytes(b"x")
    (tmp_path / "build" / ".hidden").write_bytes(b"x")
    (tmp_path / "backing.mp3").write_bytes(b"x")
    (tmp_path / "lesson.toml").write_bytes(b"x")
    (tmp_path / "editions" / "1" / "source").mkdir(parents=True)
    (tmp_path / "editions" / "1" / "source" / "lesson.toml").write_bytes(b"x")
    (tmp_path / "build" / "link").symlink_to(tmp_path / "lesson.toml")
    (tmp_path / "takes").symlink_to(tmp_path / "build")
    assert find_file(tmp_path, "build/sound/a.flac").kind == "audio/flac"
    assert find_file(tmp_path, "backing.mp3").bytes == 1
    for name in (
        "build/sound", "build/.hidden", "lesson.toml", "build/link", "takes/sound/a.flac",
        "editions/1/source/lesson.toml",
        "build/../lesson.toml", "backing.", "build//sound/a.flac", "", "/", "build/sound/a.flac/x",
    ):  # fmt: skip
        with pytest.raises(Refusal):
            find_file(tmp_path, name)


def test_kinds_go_by_the_ending_and_unknown_ones_are_bytes() -> None:
    assert file_kind("x.PDF") == "application/pdf"
    assert file_kind("x.exe") == "application/octet-stream"
    assert take_kind("a.vtt") == "transcript"
    assert take_kind("A.MOV") == "film"
    with pytest.raises(Refusal):
        take_kind("a.pdf")


def test_takes_are_kept_under_a_free_name_and_listed_with_their_media(tmp_path: Path) -> None:
    for number in range(3):
        path = tmp_path / f"upload-{number}"
        path.write_bytes(b"WEBVTT\n\n00:00.000 --> 00:01.000\nhello\n")
        assert keep_take(tmp_path, path, "a b.vtt") == ("a b.vtt", "a b-2.vtt", "a b-3.vtt")[number]
    (tmp_path / "takes" / "a b.mp4").write_bytes(b"x")
    rows = {row["name"]: row for row in list_takes(tmp_path)}
    assert rows["a b.vtt"]["media_name"] == "a b.mp4"
    assert free_name(tmp_path, "../../a b.vtt") == "a b-4.vtt"


def test_the_bow_is_drawn_from_frog_to_tip() -> None:
    svg = bow_svg("down", 0.0, 1.0, retake=True)
    assert "frog" in svg
    assert "tip" in svg
    assert 'class="lift"' in svg
    assert 'class="lift"' not in bow_svg("up", 0.5, 0.2, retake=False)
