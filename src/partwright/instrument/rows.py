"""Reading one table of a TOML file key by key: a slip is named with its key, its line and the nearest right name."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Iterable, Mapping
from typing import Any

from partwright.errors import InputError, Place
from partwright.nearest import nearest

__all__ = ["Row", "did_you_mean", "parse_toml", "sentence"]

_HEADER = re.compile(r"\s*\[{1,2}\s*([^\[\]]+?)\s*\]{1,2}\s*(#.*)?$")


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """What to say after an unknown name: the nearest known one, or all of them.

    >>> did_you_mean("celo", ["cello", "viola"])
    'did you mean "cello"?'
    """
    names = list(known)
    folded = {n.casefold(): n for n in names}
    near = nearest(name, folded)
    return f'did you mean "{folded[near]}"?' if near else f"known are {', '.join(sorted(names))}"


def parse_toml(text: str, *, file: str) -> dict[str, Any]:
    """The table in `text`. Raises InputError with the line the parser names."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = re.search(r"line (\d+)", str(error))
        raise InputError(
            f"is not valid TOML: {error}",
            "Mend the line it names.",
            place=Place(file=file, line=int(line.group(1)) if line else None),
        ) from error


class Row:
    """One table, read key by key. `path` is where it stands ("levels.beginner"), `index` which of an array of tables.

    Every getter raises InputError for a missing key or a value of the wrong kind; `finish` for a key nobody asked for.
    """

    def __init__(self, data: Any, *, text: str, file: str, path: str = "", index: int = 0) -> None:
        self.path = path
        self._text = text
        self._file = file
        self._index = index
        if not isinstance(data, Mapping):
            raise self.error(f"{path} should be a table", "Give it keys and values; docs/instruments.md lists them.")
        self._data = data
        self._known: list[str] = []

    def __contains__(self, key: str) -> bool:
        return key in self._data

    def names(self) -> tuple[str, ...]:
        """The keys as written, in their order."""
        return tuple(self._data)

    def error(self, what: str, todo: str = "", *, key: str = "") -> InputError:
        """An InputError that names the file and the line of `key`."""
        return InputError(what, todo, place=Place(file=self._file, line=_line(self._text, self.path, key, self._index)))

    def named(self, key: str) -> str:
        """The key with its path, as messages print it."""
        return f"{self.path}.{key}" if self.path else key

    def text(self, key: str, default: str | None = None, *, among: Collection[str] | None = None) -> str:
        """Text; with `among`, one of those words."""
        value = self._get(key, str, "text in quotes", default)
        if among is not None and value not in among:
            raise self.error(f'{self.named(key)} is "{value}"', f"It may be {_either(among)}.", key=key)
        return str(value)

    def whole(self, key: str, default: int | None = None, *, low: int, high: int) -> int:
        """A whole number between `low` and `high`, both included."""
        value = self._get(key, int, "a whole number", default)
        if not low <= value <= high:
            raise self.error(f"{self.named(key)} is {value}", f"Give a whole number from {low} to {high}.", key=key)
        return int(value)

    def number(self, key: str, default: float | None = None, *, low: float, high: float) -> float:
        """A number between `low` and `high`, both included."""
        value = self._get(key, (int, float), "a number", default)
        if not low <= value <= high:
            raise self.error(f"{self.named(key)} is {value:g}", f"Give a number from {low:g} to {high:g}.", key=key)
        return float(value)

    def truth(self, key: str, default: bool | None = None) -> bool:
        """true or false."""
        return bool(self._get(key, bool, "true or false", default))

    def wholes(self, key: str, default: tuple[int, ...] | None = None) -> tuple[int, ...]:
        """A list of whole numbers."""
        return tuple(self._list(key, int, "whole numbers", default))

    def texts(self, key: str, default: tuple[str, ...] | None = None) -> tuple[str, ...]:
        """A list of texts."""
        return tuple(self._list(key, str, "texts in quotes", default))

    def row(self, key: str) -> Row:
        """The table under this key."""
        return Row(self._get(key, dict, "a table", None), text=self._text, file=self._file, path=self.named(key))

    def rows(self, key: str, default: tuple[Row, ...] | None = None) -> tuple[Row, ...]:
        """The list of tables under this key."""
        if default is not None and key not in self._data:
            self._known.append(key)
            return default
        values = self._list(key, dict, "tables", None)
        return tuple(
            Row(value, text=self._text, file=self._file, path=self.named(key), index=index)
            for index, value in enumerate(values)
        )

    def finish(self) -> None:
        """Complain about the first key that means nothing here."""
        for key in self._data:
            if key not in self._known:
                raise self.error(
                    f'"{self.named(key)}" means nothing here', sentence(did_you_mean(key, self._known)), key=key
                )

    def _get(self, key: str, kind: Any, words: str, default: Any) -> Any:
        self._known.append(key)
        if key not in self._data:
            if default is not None:
                return default
            near = nearest(key, [k for k in self._data if k not in self._known])
            hint = f' "{near}" stands there; was it meant?' if near else ""
            raise self.error(f"{self.named(key)} is missing", f"Give {words}.{hint}")
        value = self._data[key]
        # TOML's true is not a number, though Python's is.
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            raise self.error(f"{self.named(key)} should be {words}, not {_shown(value)}", "Change it.", key=key)
        return value

    def _list(self, key: str, kind: type, words: str, default: tuple[Any, ...] | None) -> list[Any]:
        values = self._get(key, list, f"a list of {words}", None if default is None else list(default))
        for value in values:
            if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
                raise self.error(f"{self.named(key)} should hold {words}, not {_shown(value)}", "Change it.", key=key)
        return list(values)


def _shown(value: Any) -> str:
    text = str(value).lower() if isinstance(value, bool) else repr(value)
    return text if len(text) <= 40 else f"{text[:37]}..."


def sentence(text: str) -> str:
    """`text` with a capital and a stop."""
    text = text[0].upper() + text[1:]
    return text if text.endswith("?") else f"{text}."


def _either(names: Collection[str]) -> str:
    shown = [f'"{name}"' for name in names]
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} or {shown[-1]}"


def _line(text: str, path: str, key: str, index: int) -> int | None:
    """Line of `key` in the table `path` (its `index`-th occurrence), or of the table's header; None if not found."""
    here, count, header_line = "", -1, None
    pattern = re.compile(rf"\s*[\"']?{re.escape(key)}[\"']?\s*=") if key else None
    for number, line in enumerate(text.splitlines(), start=1):
        header = _HEADER.match(line)
        if header:
            here = re.sub(r"[\"'\s]", "", header.group(1))
            if here == path.replace(" ", ""):
                count += 1
                if count == index:
                    header_line = number
        elif pattern and pattern.match(line) and here == path.replace(" ", "") and (not path or count == index):
            return number
    return header_line
