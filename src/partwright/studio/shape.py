"""Checking a JSON body against the same description that is served to the outside.

A small part of JSON Schema (2020-12): type, enum, const, properties, required, additionalProperties: false, items,
minItems, maxItems, minLength, maxLength, minimum, maximum, pattern, oneOf told apart by the constant of `kind`, and
null through a list of types.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from partwright.studio.refusal import Refusal

__all__ = ["Shape", "check_shape"]

Shape = Mapping[str, Any]

_KINDS: Mapping[str, tuple[type, ...]] = {
    "object": (dict,),
    "array": (list,),
    "string": (str,),
    "integer": (int,),
    "number": (int, float),
    "boolean": (bool,),
    "null": (type(None),),
}
_WORDS: Mapping[str, str] = {
    "object": "an object",
    "array": "a list",
    "string": "a text",
    "integer": "a whole number",
    "number": "a number",
    "boolean": "true or false",
    "null": "null",
}


def check_shape(value: object, shape: Shape, name: str = "the body") -> None:
    """Raise Refusal saying what is wrong and where, if the value is not as described."""
    if "oneOf" in shape:
        _one_of(value, shape, name)
        return
    kinds = shape.get("type")
    if kinds is not None:
        allowed = [kinds] if isinstance(kinds, str) else list(kinds)
        if not any(_is(value, kind) for kind in allowed):
            raise Refusal("bad_request", f"{name} must be {' or '.join(_WORDS[kind] for kind in allowed)}")
    if "enum" in shape and value not in shape["enum"]:
        known = ", ".join("null" if item is None else str(item) for item in shape["enum"])
        raise Refusal("bad_request", f"{name} must be one of: {known}")
    if isinstance(value, str):
        _check_text(value, shape, name)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        if value < shape.get("minimum", value) or value > shape.get("maximum", value) or value != value:
            raise Refusal("bad_request", f"{name} must lie from {shape.get('minimum')} to {shape.get('maximum')}")
    elif isinstance(value, list):
        if not shape.get("minItems", 0) <= len(value) <= shape.get("maxItems", 100_000):
            raise Refusal("bad_request", f"{name} holds too many or too few entries")
        for index, item in enumerate(value):
            check_shape(item, shape.get("items", {}), f"{name}[{index}]")
    elif isinstance(value, dict):
        _check_object(value, shape, name)


def _is(value: object, kind: str) -> bool:
    if isinstance(value, bool):
        return kind == "boolean"
    return isinstance(value, _KINDS[kind])


def _check_text(value: str, shape: Shape, name: str) -> None:
    if not shape.get("minLength", 0) <= len(value) <= shape.get("maxLength", 100_000):
        raise Refusal("bad_request", f"{name} is too long or too short")
    if any("\ud800" <= c <= "\udfff" for c in value):
        raise Refusal("bad_request", f"{name} is not valid text")
    if "pattern" in shape and re.search(shape["pattern"], value) is None:
        raise Refusal("bad_request", f"{name} is not in the form asked for")


def _check_object(value: dict[Any, Any], shape: Shape, name: str) -> None:
    properties = shape.get("properties", {})
    for key in shape.get("required", ()):
        if key not in value:
            raise Refusal("bad_request", f"{name} lacks {key}")
    for key, item in value.items():
        if key in properties:
            check_shape(item, properties[key], key)
        elif shape.get("additionalProperties") is False:
            raise Refusal("bad_request", f'{name} has an unknown field "{str(key)[:60]}"')


def _one_of(value: object, shape: Shape, name: str) -> None:
    if not isinstance(value, dict):
        raise Refusal("bad_request", f"{name} must be an object")
    for option in shape["oneOf"]:
        if value.get("kind") == option["properties"]["kind"]["const"]:
            check_shape(value, option, name)
            return
    known = ", ".join(option["properties"]["kind"]["const"] for option in shape["oneOf"])
    raise Refusal("bad_request", f"{name} must have a kind, one of: {known}")
