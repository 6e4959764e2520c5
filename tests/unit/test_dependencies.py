"""What the program runs on: the locks are whole, hashed and within the bounds, and every licence is one we know.

Against something outside: versions and markers are judged by `packaging` (the reference for PEP 440 and PEP 508), needs
and licences are those the installed packages themselves declare. What is known wrong in a version is not seen here:
that needs a network.
"""

from __future__ import annotations

import importlib.util
import re
import sys
import tomllib
from importlib.metadata import PackageNotFoundError, distribution, version
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from packaging.markers import Marker
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parent.parent.parent
DOCS = ROOT / "docs" / "dependencies.md"


def _table() -> ModuleType:
    spec = importlib.util.spec_from_file_location("dependencies_table", ROOT / "docs" / "dependencies_table.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


table = _table()
PROJECT: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
RUNTIME = [*PROJECT["project"]["dependencies"], *PROJECT["dependency-groups"]["build"]]
EXTRAS = [text for texts in PROJECT["project"]["optional-dependencies"].values() for text in texts]
LOCKS = {"requirements.lock": RUNTIME, "requirements-dev.lock": [*RUNTIME, *EXTRAS]}


def locked(lock: str) -> dict[str, list[Any]]:
    """The packages of a lock by name; several where versions differ by Python or system."""
    found: dict[str, list[Any]] = {}
    for package in table.read_lock(ROOT / lock):
        found.setdefault(canonicalize_name(package.name), []).append(package)
    return found


def here(package: Any) -> bool:
    return not package.marker or Marker(package.marker).evaluate()


@pytest.mark.parametrize("lock", LOCKS)
def test_every_package_is_at_one_version_and_hashed(lock: str) -> None:
    for name, packages in locked(lock).items():
        for package in packages:
            assert package.hashes, f"{lock}: {name} has no hash"
            assert all(re.fullmatch(r"sha256:[0-9a-f]{64}", value) for value in package.hashes), f"{lock}: {name}"
        assert sum(here(package) for package in packages) <= 1, f"{lock}: {name} stands twice for this Python"


@pytest.mark.parametrize("lock", LOCKS)
def test_the_lock_is_within_the_bounds_of_pyproject(lock: str) -> None:
    packages = locked(lock)
    for text in LOCKS[lock]:
        need = Requirement(text)
        for package in packages[canonicalize_name(need.name)]:
            assert need.specifier.contains(package.version), f"{lock}: {package.name} {package.version} is not {text}"


@pytest.mark.parametrize("lock", LOCKS)
def test_nothing_is_missing_in_the_lock_and_nothing_is_there_for_no_reason(lock: str) -> None:
    packages = {name for name, found in locked(lock).items() if any(here(package) for package in found)}
    waiting = [Requirement(text) for text in LOCKS[lock]]
    reached: set[tuple[str, frozenset[str]]] = set()
    while waiting:
        need = waiting.pop()
        name, extras = canonicalize_name(need.name), frozenset(need.extras)
        if (name, extras) in reached or (need.marker is not None and not need.marker.evaluate({"extra": ""})):
            continue
        reached.add((name, extras))
        assert name in packages, f"{lock}: {name} is needed and not locked; make lock"
        for text in distribution(name).requires or ():
            more = Requirement(text)
            asked = ["", *extras]
            if more.marker is None or any(more.marker.evaluate({"extra": extra}) for extra in asked):
                more.marker = None
                waiting.append(more)
    assert packages - {name for name, _ in reached} == set(), f"{lock}: locked and needed by nothing; make lock"


def test_both_locks_say_the_same_of_what_the_program_runs_on() -> None:
    develop = locked("requirements-dev.lock")
    for name, packages in locked("requirements.lock").items():
        assert {p.version for p in packages} == {p.version for p in develop[name]}, name


@pytest.mark.parametrize("lock", LOCKS)
def test_what_is_installed_is_what_is_locked(lock: str) -> None:
    for name, packages in locked(lock).items():
        for package in filter(here, packages):
            assert version(name) == package.version, f"{name}: make install, or rm -r .venv first"


def test_every_licence_is_known() -> None:
    known = table.PERMISSIVE | table.BY_THEMSELVES
    for name, packages in locked("requirements.lock").items():
        if not any(here(package) for package in packages):
            continue
        named = table.licence_names(table.licence_of(name))
        assert named, f"{name} does not say what it is under; look at it, and leave it out where that is not known"
        assert named <= known, f"{name} is under {', '.join(sorted(named - known))}; look at it before it is used"


def test_the_list_in_the_manual_is_fresh() -> None:
    text = DOCS.read_text(encoding="utf-8")
    assert table.direct_names() == {Requirement(line).name for line in RUNTIME}
    assert "\n".join(table.dependencies_table(text)) in text, "make docs"


@pytest.mark.parametrize(
    "text", ["numpy>=2.0 --hash=sha256:00\n", "numpy\n", "git+https://example.org/x.git\n", "-r other.lock\n"]
)
def test_a_line_that_is_no_pinned_package_is_refused(tmp_path: Path, text: str) -> None:
    (tmp_path / "a.lock").write_text(text, encoding="utf-8")
    with pytest.raises(ValueError, match=r"a\.lock: no package at one version"):
        table.read_lock(tmp_path / "a.lock")


def test_a_package_that_is_not_installed_says_so() -> None:
    with pytest.raises(PackageNotFoundError):
        table.licence_of("no-such-package-anywhere")
