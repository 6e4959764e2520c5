"""From statements to a transcript: times, cues cut anywhere, and the mistakes of a speech recogniser."""

from __future__ import annotations

import random
import re
import tomllib
from pathlib import Path

from speak import Statement

NOISE = tomllib.loads((Path(__file__).parent / "noise.toml").read_text(encoding="utf-8"))


def transcribe(
    statements: list[Statement], rng: random.Random, *, error_rate: float, punctuation: bool
) -> str:  # fmt: skip
    """A WebVTT transcript. Sets the times of statements and mistakes, and which words of a mistake were lost."""
    words: list[tuple[str, float, int]] = []
    clock = 1.0
    for number, statement in enumerate(statements):
        if number and rng.random() < 0.12:
            clock += rng.uniform(2.0, 9.0)  # a burst of music
        statement.start_s = clock
        text = statement.text
        tokens = text.split()
        if punctuation:
            tokens[0] = tokens[0][0].upper() + tokens[0][1:]
            tokens[-1] = tokens[-1] + "."
        else:
            tokens = [t for t in (re.sub(r"[^\w' -]", "", t).lower() for t in tokens) if t]
        for token in tokens:
            words.append((token, clock, number))
            clock += 0.22 + 0.03 * len(token)
        statement.end_s = clock
        clock += rng.uniform(0.1, 0.6)
    words = _noise(words, statements, rng, error_rate)
    for statement in statements:
        if statement.planted is not None:
            statement.planted.start_s, statement.planted.end_s = statement.start_s, statement.end_s
            crucial = set(_crucial(statement))
            statement.planted.audible = not (crucial & statement.lost)
    lines = ["WEBVTT", ""]
    at = 0
    while at < len(words):
        size = rng.randint(5, 11)
        chunk = words[at : at + size]
        parted = next((k for k in range(1, len(chunk)) if chunk[k][1] - chunk[k - 1][1] > 2.2), None)
        size = parted or size  # captions begin afresh after a burst of music
        chunk = words[at : at + size]
        end = words[at + size][1] if at + size < len(words) else chunk[-1][1] + 0.5
        end = min(end, chunk[-1][1] + 0.8)
        lines += [f"{_stamp(chunk[0][1])} --> {_stamp(end)}", " ".join(w for w, _, _ in chunk), ""]
        at += size
    return "\n".join(lines)


def _crucial(statement: Statement) -> list[str]:
    """The words that carry the mistake: without them the transcript no longer holds it."""
    planted = statement.planted
    assert planted is not None
    words = planted.crucial.lower().split()
    if planted.kind in ("note", "order", "position", "finger", "bow", "string", "harmonic"):
        words += planted.said.lower().split()
    if planted.kind in ("count", "rhythm", "structure", "extension", "order"):
        words = [re.sub(r"[^\w']", "", w).lower() for w in statement.text.split()]
    return words


def _noise(
    words: list[tuple[str, float, int]], statements: list[Statement], rng: random.Random, rate: float
) -> list[tuple[str, float, int]]:
    sounds, pairs, wild = NOISE["sounds_like"], NOISE["pairs"], NOISE["wild"]["words"]
    found: list[tuple[str, float, int]] = []
    k = 0
    while k < len(words):
        token, at, number = words[k]
        plain = re.sub(r"[^\w']", "", token).lower()
        if rng.random() >= rate:
            found.append((token, at, number))
            k += 1
            continue
        following = (
            re.sub(r"[^\w']", "", words[k + 1][0]).lower() if k + 1 < len(words) and words[k + 1][2] == number else ""
        )
        pair = f"{plain} {following}"
        if pair in pairs:
            found += [(w, at, number) for w in rng.choice(pairs[pair]).split()]
            k += 2
            continue
        if plain in sounds and rng.random() < 0.75:
            found.append((rng.choice(sounds[plain]), at, number))
            k += 1
            continue
        draw = rng.random()
        if draw < 0.35:
            statements[number].lost.add(plain)
        elif draw < 0.6 and following:
            found.append((plain + following, at, number))
            k += 2
            continue
        elif draw < 0.8:
            statements[number].lost.add(plain)
            found.append((rng.choice(wild), at, number))
        else:
            found += [(token, at, number), (rng.choice(wild), at, number)]
        k += 1
    return found


def _stamp(seconds: float) -> str:
    whole = round(seconds * 1000)
    return f"{whole // 3600000:02}:{whole // 60000 % 60:02}:{whole // 1000 % 60:02}.{whole % 1000:03}"
