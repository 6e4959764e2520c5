"""What every test may lean on: where the shared reference data lies, and the command line as a function."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import settings

REPOSITORY = Path(__file__).resolve().parents[1]
pytest_plugins = ["studio_browser"]

# The same examples on every machine and every day, so that `make test` says something of the change alone. What nobody
# has thought of yet is looked for by `make test-all`, which draws afresh ("wide").
settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("wide", deadline=None)
settings.load_profile("same")


def shared_folder() -> Path:
    """The folder with reference tables and open test data: $PARTWRIGHT_SHARED, or `shared` beside the repository.

    Skips the test, saying why, where the data is absent (it is not part of the repository).
    """
    folder = Path(os.environ.get("PARTWRIGHT_SHARED", REPOSITORY.parent / "shared"))
    if not (folder / "reference").is_dir():
        pytest.skip(f"the shared reference data is not on this machine (looked for {folder.name}/reference)")
    return folder


@pytest.fixture(scope="session")
def shared() -> Path:
    """The shared folder as a fixture; use `shared_folder()` when parametrising."""
    return shared_folder()


@dataclass(frozen=True)
class Ran:
    """What a command left: its exit code and what it wrote to the two outputs."""

    code: int
    out: str
    err: str


@pytest.fixture
def partwright(tmp_path: Path) -> Callable[..., Ran]:
    """Runs the command line in its own process, in a fresh folder: `partwright("finger", "tune.xml")`."""

    def run(*arguments: str | Path, cwd: Path = tmp_path, timeout_seconds: float = 600, **extra: str) -> Ran:
        return run_partwright([str(a) for a in arguments], cwd=cwd, timeout_seconds=timeout_seconds, extra=extra)

    return run


@pytest.fixture
def partwright_here(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., Ran]:
    """As `partwright`, within the test's own process: for the many calls that differ in one word."""
    from partwright.cli import run as run_command

    monkeypatch.chdir(tmp_path)

    def run(*arguments: str | Path) -> Ran:
        capsys.readouterr()
        code = run_command([str(argument) for argument in arguments])
        out, err = capsys.readouterr()
        return Ran(code, out, err)

    return run


def run_partwright(
    arguments: Sequence[str], *, cwd: Path, timeout_seconds: float = 600, extra: dict[str, str] | None = None
) -> Ran:
    """One command as a user types it. A traceback on either output fails the test at once."""
    done = subprocess.run(
        [sys.executable, "-m", "partwright", *arguments],
        cwd=cwd,
        env={**os.environ, **(extra or {})},
        capture_output=True,
        encoding="utf-8",
        timeout=timeout_seconds,
        check=False,
    )
    assert "Traceback (most recent call last)" not in done.stdout + done.stderr, done.stderr
    return Ran(done.returncode, done.stdout, done.stderr)
