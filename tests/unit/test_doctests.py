"""Every example in a docstring runs and prints what it says."""

from __future__ import annotations

import doctest
import pkgutil
from importlib import import_module
from pathlib import Path

import pytest

import partwright

_MODULES = sorted(
    found.name
    for found in pkgutil.walk_packages(partwright.__path__, "partwright.")
    if not found.name.endswith("__main__")
)


@pytest.mark.parametrize("name", _MODULES)
def test_examples_print_what_they_say(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    failed, _ = doctest.testmod(import_module(name), optionflags=doctest.NORMALIZE_WHITESPACE)
    assert failed == 0
