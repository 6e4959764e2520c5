"""Names of a package that are imported when first asked for, so that a command loads only what it needs.

A package lists in its `__init__` where each public name lives; type checkers read the same names from imports under
`TYPE_CHECKING`. Source of the hook: PEP 562.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from importlib import import_module

__all__ = ["lazy_names"]


def lazy_names(package: str, homes: Mapping[str, Sequence[str]]) -> Callable[[str], object]:
    """A module's `__getattr__` that finds each name in the module of the package it is listed under.

    >>> lazy_names("fractions", {})("Halves")
    Traceback (most recent call last):
    AttributeError: module 'fractions' has no attribute 'Halves'
    """
    home_of = {name: module for module, names in homes.items() for name in names}
    if clash := home_of.keys() & homes.keys():
        raise ValueError(f"{', '.join(sorted(clash))} of {package}: once loaded, the module would hide the name")

    def find(name: str) -> object:
        if name not in home_of:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        value = getattr(import_module(f"{package}.{home_of[name]}"), name)
        setattr(sys.modules[package], name, value)
        return value

    return find
