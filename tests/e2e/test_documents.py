"""README and docs keep their word: every code block runs, every link leads somewhere, the manual is fresh."""

from __future__ import annotations

import json
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from fnmatch import fnmatchcase
from pathlib import Path

import pytest

from conftest import REPOSITORY, Ran, run_partwright
from made_tunes import demo_tune
from partwright.lesson import parse_lesson

_DOCUMENTS = (REPOSITORY / "README.md", REPOSITORY / "CHANGELOG.md", *sorted((REPOSITORY / "docs").glob("*.md")))
_BLOCK = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def blocks(path: Path, language: str) -> list[str]:
    return [text for found, text in _BLOCK.findall(path.read_text(encoding="utf-8")) if found == language]


def console_calls(block: str) -> Iterator[tuple[str, list[str]]]:
    """Each command of a console block, with the lines it is said to print."""
    command, lines = "", []
    for line in block.splitlines():
        if line.startswith("$ "):
            if command:
                yield command, lines
            command, lines = line[2:], []
        else:
            lines.append(line)
    if command:
        yield command, lines


def agree(said: list[str], printed: list[str]) -> bool:
    """Whether the lines are those printed; "…" alone stands for any lines, within a line for any text."""
    if not said:
        return not printed
    if said[0] == "…":
        return any(agree(said[1:], printed[skip:]) for skip in range(len(printed) + 1))
    pattern = re.sub(r"([\[\]*?])", r"[\1]", said[0]).replace("…", "*")
    return bool(printed) and fnmatchcase(printed[0], pattern) and agree(said[1:], printed[1:])


@pytest.fixture(scope="module")
def beside_the_demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Ran]:
    """The folder in which `partwright demo` was run, and what it said: making all of it takes a minute."""
    folder = tmp_path_factory.mktemp("demo")
    return folder, run_partwright(["demo"], cwd=folder)


def test_the_demo_leaves_a_folder_to_look_at_and_says_where(beside_the_demo: tuple[Path, Ran]) -> None:
    folder, ran = beside_the_demo
    assert ran.code == 0
    made = {path.name for path in (folder / "demo" / "build").iterdir()}
    assert {"part-a4.pdf", "part-letter.pdf", "part-1.svg", "charts.pdf", "fingered.musicxml", "plan.json"} <= made
    assert "demo/build/part-a4.pdf" in ran.out
    assert "Look at" in ran.err
    again = run_partwright(["demo"], cwd=folder)
    assert again.code == 0
    assert "0 of" in again.out
    plan = json.loads((folder / "demo" / "build" / "plan.json").read_text(encoding="utf-8"))
    assert plan["relaxed"] == []
    assert any(note["harmonic"] for note in plan["notes"])
    assert any(note["shape"].startswith("extended") for note in plan["notes"])


@pytest.mark.parametrize("path", [p for p in _DOCUMENTS if blocks(p, "console")], ids=lambda path: path.name)
def test_console_blocks_print_what_they_say(path: Path, beside_the_demo: tuple[Path, Ran]) -> None:
    folder, _ = beside_the_demo
    for block in blocks(path, "console"):
        for command, said in console_calls(block):
            words = shlex.split(command)
            assert words[0] == "partwright", command
            ran = run_partwright(words[1:], cwd=folder)
            assert ran.code in (0, 1), ran.err
            assert agree(said, ran.out.splitlines()), f"{command} printed\n{ran.out}"


def test_the_set_up_commands_are_targets_of_the_makefile() -> None:
    lines = "".join(blocks(REPOSITORY / "README.md", "sh")).splitlines()
    targets = set(re.findall(r"^([a-z-]+):.*## ", (REPOSITORY / "Makefile").read_text(encoding="utf-8"), re.MULTILINE))
    assert lines[:2] == ["make install", "make demo"]
    assert {line.split()[1] for line in lines if line.startswith("make ")} <= targets
    assert {"demo", "test", "test-all", "bench", "lint", "install", "clean", "help"} <= targets


def test_blocks_of_the_lesson_folder_are_good_settings() -> None:
    found = blocks(REPOSITORY / "docs" / "lesson_folder.md", "toml")
    assert len(found) >= 2
    for text in found:
        lesson = parse_lesson(text)
        assert lesson.pins or lesson.sections


@pytest.mark.parametrize("path", _DOCUMENTS, ids=lambda path: path.name)
def test_python_blocks_run(path: Path, tmp_path: Path) -> None:
    """Each block by itself, in a folder that holds a tune.musicxml."""
    (tmp_path / "tune.musicxml").write_bytes(demo_tune())
    for text in blocks(path, "python"):
        done = subprocess.run(
            [sys.executable, "-c", text], capture_output=True, encoding="utf-8", check=False, cwd=tmp_path
        )
        assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("path", _DOCUMENTS, ids=lambda path: path.name)
def test_links_lead_somewhere(path: Path) -> None:
    for target in re.findall(r"\]\(([^)\s]+)\)", path.read_text(encoding="utf-8")):
        if "://" not in target:
            assert (path.parent / target.split("#")[0]).exists(), target


def test_the_index_names_every_page_of_the_manual() -> None:
    named = set(re.findall(r"\]\(([a-z_]+\.md)\)", (REPOSITORY / "docs" / "index.md").read_text(encoding="utf-8")))
    assert named == {path.name for path in (REPOSITORY / "docs").glob("*.md")} - {"index.md"}


def test_the_manual_is_fresh() -> None:
    script = REPOSITORY / "docs" / "write_commands.py"
    done = subprocess.run([sys.executable, str(script), "--check"], capture_output=True, encoding="utf-8", check=False)
    assert done.returncode == 0, f"{done.stdout}{done.stderr}Run: make docs"


def test_pictures_stay_small() -> None:
    pictures = list((REPOSITORY / "docs" / "pictures").iterdir())
    assert pictures
    assert all(picture.stat().st_size < 300_000 for picture in pictures)
