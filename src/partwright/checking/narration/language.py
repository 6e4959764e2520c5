"""The grammar of spoken lessons as a table: reading `data/<language>.toml` and compiling its patterns.

A pattern becomes a small automaton over meant words. Classes and forms stand for the words they list. The table is
the only place that knows English.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from importlib import resources
from typing import Any

__all__ = ["Hearing", "Language", "Link", "Phrase", "load_language"]

Value = float | int | str
Step = tuple[str, str, str]  # ("word", text, "") or ("class", class name, capture name)

_TOKEN = re.compile(r"<([a-z_]+)(?::([a-z_]+))?>|([\[\]()|])|([^\s\[\]()|<>]+)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Hearing:
    """One row of what may have been meant: `heard` words, the `meant` word, its price and what lowers it."""

    heard: tuple[str, ...]
    meant: str
    price: float
    before: frozenset[str]
    before_less: float
    after: frozenset[str]
    after_less: float
    letters_less: float
    not_after: frozenset[str]  # what makes it most unlikely; "{letters}" stands for any letter of a note


@dataclass(frozen=True, slots=True, kw_only=True)
class Phrase:
    """One kind of atom. `hint` is what the row adds to its value."""

    kind: str
    weight: float
    hint: str


@dataclass(frozen=True, slots=True)
class Link:
    """How much a word between a claim and a note ties the claim to the note before it and to the note after it."""

    left: float
    right: float


@dataclass(slots=True, eq=False)
class Node:
    """One step of one pattern: the word or class it takes, and the steps that may follow; or the end of a phrase."""

    label: Step
    then: tuple[Node, ...]
    ends: Phrase | None = None


@dataclass(frozen=True, kw_only=True)
class Language:
    """The compiled table."""

    starts: Mapping[str, tuple[Node, ...]]  # first steps that take this word
    class_starts: Mapping[str, tuple[Node, ...]]  # first steps that take a word of this class
    classes: Mapping[str, Mapping[str, Value]]
    class_of: Mapping[str, tuple[tuple[str, Value], ...]]  # meant word -> (class, value) of one-word members
    long_members: Mapping[str, tuple[tuple[tuple[str, ...], str, Value], ...]]  # first word -> members of more words
    hearing: Mapping[str, tuple[Hearing, ...]]  # first heard word -> rows
    links: Mapping[str, Link]
    ties: Mapping[str, Link]  # kinds of claims that rather follow, or rather come before, their note
    link_kinds: Mapping[str, Link]  # "" for nothing between, "comma", "stop", "other"
    vocabulary: frozenset[str]
    sets: Mapping[str, frozenset[str]]
    finger_forms: frozenset[str]  # "finger" and what is misheard for it
    finger_words: Mapping[str, int]  # one word -> the finger it may name

    @cached_property
    def known(self) -> frozenset[str]:
        """Every word that stands anywhere in the table: another one is talk, or a mishearing."""
        return self.vocabulary | frozenset(self.links) | frozenset(self.hearing)

    @cached_property
    def number_words(self) -> frozenset[str]:
        """The words that numbers are made of: "twenty", "one", "seventeen"."""
        return frozenset().union(*(self.classes[name] for name in ("cardinal", "tens", "teens")))


@cache
def load_language(name: str = "english") -> Language:
    """The language of this name, as carried in the package. Raises KeyError or ValueError for a broken table."""
    source = resources.files("partwright.checking.narration") / "data" / f"{name}.toml"
    return compile_language(source.read_text(encoding="utf-8"))


def compile_language(text: str) -> Language:
    """A language from the text of its table."""
    data = tomllib.loads(text)
    classes: dict[str, dict[str, Value]] = data["classes"]
    forms: dict[str, list[str]] = data["forms"]
    starts: dict[str, list[Node]] = {}
    class_starts: dict[str, list[Node]] = {}
    words_in_use = {word for members in classes.values() for member in members for word in member.split()}
    for row in data["phrases"]:
        phrase = Phrase(kind=row["kind"], weight=float(row.get("weight", 1.0)), hint=row.get("hint", ""))
        end = Node(("end", "", ""), (), phrase)
        for pattern in row["says"]:
            words_in_use |= {word for _, _, _, word in _tokens(pattern) if word}
            for first in _compile(pattern, (end,), classes, forms):
                table = starts if first.label[0] == "word" else class_starts
                table.setdefault(first.label[1], []).append(first)
    class_of: dict[str, list[tuple[str, Value]]] = {}
    long_members: dict[str, list[tuple[tuple[str, ...], str, Value]]] = {}
    for class_name, members in classes.items():
        for member, value in members.items():
            words = tuple(member.split())
            if len(words) == 1:
                class_of.setdefault(member, []).append((class_name, value))
            else:
                long_members.setdefault(words[0], []).append((words, class_name, value))
    hearing: dict[str, list[Hearing]] = {}
    for row in data["hearing"]:
        for heard in row["heard"]:
            words = tuple(heard.split())
            hearing.setdefault(words[0], []).append(
                Hearing(
                    heard=words, meant=row["meant"], price=float(row["price"]),
                    before=frozenset(row.get("before", ())), before_less=float(row.get("before_less", 0.0)),
                    after=frozenset(row.get("after", ())), after_less=float(row.get("after_less", 0.0)),
                    letters_less=float(row.get("letters_less", 0.0)),
                    not_after=frozenset(row.get("not_after", ())),
                )
            )  # fmt: skip
    links = data["links"]
    return Language(
        starts={word: tuple(nodes) for word, nodes in starts.items()},
        class_starts={name: tuple(nodes) for name, nodes in class_starts.items()},
        classes=classes,
        class_of={word: tuple(rows) for word, rows in class_of.items()},
        long_members={word: tuple(rows) for word, rows in long_members.items()},
        hearing={word: tuple(rows) for word, rows in hearing.items()},
        links={word: Link(row["left"], row["right"]) for word, row in links["words"].items()},
        ties={kind: Link(row["left"], row["right"]) for kind, row in data["ties"].items()},
        link_kinds={name: Link(links[name]["left"], links[name]["right"]) for name in ("", "comma", "stop", "other")},
        vocabulary=frozenset(words_in_use),
        sets={name: frozenset(words) for name, words in data["sets"].items()},
        finger_forms=frozenset(
            {
                "finger",
                "fingers",
                *(" ".join(r.heard) for rows in hearing.values() for r in rows if r.meant == "finger"),
            }
        ),
        finger_words={
            word: int(value)
            for name in ("digit_open", "fingerth")
            for word, value in classes.get(name, {}).items()
            if " " not in word
        },
    )


Token = tuple[str | None, str | None, str | None, str | None]


def _tokens(pattern: str) -> list[Token]:
    return [found.groups() for found in _TOKEN.finditer(pattern)]  # type: ignore[misc]


def _compile(
    pattern: str,
    then: tuple[Node, ...],
    classes: Mapping[str, object],
    forms: Mapping[str, list[str]],
    capture: str = "",
) -> tuple[Node, ...]:
    """The first steps of a pattern after which `then` follows. Built from the right, so that no step is empty."""
    tokens = _tokens(pattern)
    alternatives, rest = _parse(tokens, 0)
    if rest != len(tokens):
        raise ValueError(f'the pattern "{pattern}" has a bracket without its partner')

    def build(item: _Item, following: tuple[Node, ...]) -> tuple[Node, ...]:
        kind, content = item
        if kind == "word":
            return (Node(("word", content, ""), following),)
        if kind == "class":
            name, given = content
            if name in classes:
                return (Node(("class", name, given or capture or name), following),)
            if name not in forms:
                raise ValueError(f"there is no class or form <{name}>")
            return tuple(
                node
                for inner in forms[name]
                for node in _compile(inner, following, classes, forms, given or capture or "")
            )
        nodes = tuple(node for sequence in content for node in build_all(sequence, following))
        return nodes + following if kind == "maybe" else nodes

    def build_all(sequence: list[_Item], following: tuple[Node, ...]) -> tuple[Node, ...]:
        for item in reversed(sequence):
            following = build(item, following)
        return following

    return tuple(node for sequence in alternatives for node in build_all(sequence, then))


_Item = tuple[str, Any]  # ("word", text), ("class", (name, capture)), ("one", sequences), ("maybe", sequences)


def _parse(tokens: list[Token], at: int) -> tuple[list[list[_Item]], int]:
    alternatives: list[list[_Item]] = [[]]
    while at < len(tokens):
        name, given, sign, word = tokens[at]
        if sign in (")", "]"):
            break
        if sign == "|":
            alternatives.append([])
            at += 1
        elif sign in ("(", "["):
            inner, at = _parse(tokens, at + 1)
            if at >= len(tokens):
                raise ValueError("a bracket is not closed")
            alternatives[-1].append(("one" if sign == "(" else "maybe", inner))
            at += 1
        else:
            alternatives[-1].append(("word", word) if word is not None else ("class", (name, given)))
            at += 1
    return alternatives, at
