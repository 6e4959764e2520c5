"""Each package's public names: `__all__` is true and sorted, and lazily loaded names are listed where they live."""

from __future__ import annotations

import ast
import inspect
from importlib import import_module
from pathlib import Path

import pytest

import partwright

_ROOT = Path(partwright.__file__).parent
_PACKAGES = sorted(path.parent.name for path in _ROOT.glob("*/__init__.py"))


@pytest.mark.parametrize("name", _PACKAGES)
def test_all_is_true(name: str) -> None:
    package = import_module(f"partwright.{name}")
    assert package.__doc__
    assert package.__all__
    assert len(set(package.__all__)) == len(package.__all__)
    for public in package.__all__:
        assert getattr(package, public) is not None


@pytest.mark.parametrize("name", _PACKAGES)
def test_lazy_names_are_those_the_type_checker_sees(name: str) -> None:
    tree = ast.parse((_ROOT / name / "__init__.py").read_text(encoding="utf-8"))
    checked = {
        (str(statement.module).rsplit(".", 1)[1], alias.name)
        for block in tree.body
        if isinstance(block, ast.If)
        for statement in block.body
        if isinstance(statement, ast.ImportFrom)
        for alias in statement.names
    }
    find = vars(import_module(f"partwright.{name}")).get("__getattr__")
    home_of = inspect.getclosurevars(find).nonlocals["home_of"] if find is not None else {}
    listed = {(module, public) for public, module in home_of.items()}
    assert listed == checked
    if listed:
        assert {public for _, public in listed} <= set(import_module(f"partwright.{name}").__all__)
