"""The libraries the program runs on and their licences, from requirements.lock and what the installed packages say.

`make docs` writes the table of docs/dependencies.md with it; `tests/unit/test_dependencies.py` checks both.
"""

from __future__ import annotations

import re
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.metadata import Distribution, distribution
from pathlib import Path

OLDEST_PYTHON = (3, 11)
ROOT = Path(__file__).parent.parent
RUNTIME_LOCK, DEVELOP_LOCK = ROOT / "requirements.lock", ROOT / "requirements-dev.lock"

PERMISSIVE = frozenset(
    {"0BSD", "Apache-2.0", "BSD", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "MIT", "OFL-1.1", "PSF-2.0", "Zlib"}
)
"""May be used in anything, with the notice kept. SPDX identifiers; "BSD" where the package does not say which."""

BY_THEMSELVES = frozenset(
    {"LGPL", "LGPL-2.1-only", "LGPL-2.1-or-later", "LGPL-3.0-only", "LGPL-3.0-or-later", "MPL-2.0"}
)
"""The library itself stays under it; a program that only uses it does not come under it."""

_WORDS = {
    "Apache Software License": "Apache-2.0",
    "BSD License": "BSD",
    "GNU Lesser General Public License v2 or later (LGPLv2+)": "LGPL-2.1-or-later",
    "MIT License": "MIT",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "SIL Open Font License 1.1 (OFL-1.1)": "OFL-1.1",
}
# The first words of a licence's own text, for a package whose metadata names none. Source: the texts at spdx.org.
_TEXTS = {"Permission is hereby granted, free of charge, to any person obtaining a": "MIT"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Locked:
    """One line of a lock: a package, its one version, for which Python it is meant, and the hashes of its files."""

    name: str
    version: str
    marker: str
    hashes: tuple[str, ...]


def read_lock(path: Path) -> tuple[Locked, ...]:
    """The packages of a lock file. Raises ValueError for a line that is no pinned package."""
    found = []
    for entry in re.sub(r"\\\n", " ", path.read_text(encoding="utf-8")).splitlines():
        if not entry.strip() or entry.lstrip().startswith("#"):
            continue
        head, *hashes = re.split(r"\s+--hash=", entry.strip())
        pinned, _, marker = head.partition(";")
        name, same, version = pinned.strip().partition("==")
        if not same or not re.fullmatch(r"[A-Za-z0-9._-]+", name):
            raise ValueError(f"{path.name}: no package at one version: {head}")
        found.append(Locked(name=name, version=version.strip(), marker=marker.strip(), hashes=tuple(hashes)))
    return tuple(found)


def licence_of(name: str) -> str:
    """What an installed package says it is under, as an SPDX expression; empty where it does not say."""
    package = distribution(name)
    data = package.metadata
    if expression := data.get("License-Expression"):
        return str(expression)
    classifiers = [c.rpartition(" :: ")[2] for c in data.get_all("Classifier") or () if c.startswith("License ::")]
    if known := [_WORDS.get(words, words) for words in classifiers]:
        return " AND ".join(known)
    stated = str(data.get("License") or "").strip()
    return stated if stated and "\n" not in stated and len(stated) < 40 else _of_text(package)


def _of_text(package: Distribution) -> str:
    for file in package.files or ():
        if "licen" in file.name.casefold():
            text = Path(str(package.locate_file(file))).read_text(encoding="utf-8", errors="replace")
            return next((name for words, name in _TEXTS.items() if words in text), "")
    return ""


def licence_names(expression: str) -> frozenset[str]:
    """The licences an expression names, without what joins them.

    >>> sorted(licence_names("BSD-3-Clause AND (0BSD OR MIT)"))
    ['0BSD', 'BSD-3-Clause', 'MIT']
    """
    return frozenset(re.findall(r"[^\s()]+", expression)) - {"AND", "OR", "WITH"}


def direct_names() -> frozenset[str]:
    """The packages that pyproject.toml names for running or building, as the lock spells them."""
    data = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    texts = [*data["project"]["dependencies"], *data["dependency-groups"]["build"]]
    return frozenset(re.split(r"[\s<>=!~;\[]", text, maxsplit=1)[0] for text in texts)


def dependencies_table(now: str) -> Iterator[str]:
    """The table of docs/dependencies.md, whose text is `now`: every package of the runtime lock, and whether
    pyproject.toml names it. What differs by Python is told as the oldest has it; on another its row stays."""
    direct = direct_names()
    oldest = sys.version_info[:2] == OLDEST_PYTHON
    markers = {package.name: package.marker for package in read_lock(RUNTIME_LOCK)}
    yield "| package | licence | |"
    yield "|---|---|---|"
    for name in sorted(markers):
        row = re.search(rf"^\| {re.escape(name)} \|.*$", now, re.MULTILINE)
        if markers[name] and row is not None and not oldest:
            yield row[0]
            continue
        yield f"| {name} | {licence_of(name)} | {'' if name in direct else 'comes with another'} |"
