"""Invented viewers' comments with their truth: phrase lists filled in on a spoken lesson, misspelled, with emoji.

Knows nothing of the parser. Ten kinds: note, finger, string, position, bow, rhythm, video, request, question, thanks.
"""

from __future__ import annotations

import random
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from speak import ACCIDENTALS, FIGURES, ORDINALS, Run, Statement

FOLDER = Path(__file__).parent
KINDS = ("note", "finger", "string", "position", "bow", "rhythm", "video", "request", "question", "thanks")
TUNES = [
    "The Miller's Ladder", "Harbour Lights at Low Tide", "Song of the Wren", "Copper Kettle Waltz",
    "Seven Crooked Stiles",
    "Winter on the Moor", "The Clockmaker", "Two Candles", "Little Grey Pony", "Nettle Soup Reel",
]  # fmt: skip
FIRST_EMOJI, SIGNS = ["😀", "🎻", "❤️", "🙏", "😅", "🤔", "👍"], ["♯", "#", " sharp", "sharp"]
FLATS = ["♭", "b", " flat", "flat"]
HELLOS = ["hi! ", "Great video. ", "love this, but ", "Hello from the hills, ", "thanks for the lesson! ", "ok so "]


@dataclass
class Made:
    """One comment: its text, its kind, and for claims the acceptable runs (indices) and whether the viewer is right."""

    text: str
    kind: str
    target: int = -1
    accept: frozenset[int] = frozenset()
    viewer_right: bool = False
    how: str = ""
    tune: str = ""


def load(name: str) -> dict[str, dict[str, list[str]]]:
    return tomllib.loads((FOLDER / f"comments_{name}.toml").read_text(encoding="utf-8"))


class Viewer:
    """Writes comments on one spoken lesson."""

    def __init__(
        self, runs: Sequence[Run], statements: Sequence[Statement], sections: Sequence[tuple[str, int, int]],
        strokes: dict[str, str], letters: Sequence[str], phrases: dict[str, dict[str, list[str]]], rng: random.Random,
        position_names: dict[int, str],
    ) -> None:  # fmt: skip
        self.runs, self.sections, self.strokes, self.letters = runs, sections, strokes, letters
        self.phrases, self.rng, self.positions = phrases, rng, position_names
        self.timed = [s for s in statements if s.run is not None and s.names]

    def comment(self, kind: str) -> Made | None:
        """A comment of this kind, or None where this draw makes no sense."""
        rng = self.rng
        if kind in ("request", "thanks"):
            tune = rng.choice(TUNES)
            text = rng.choice(self.phrases[kind]["says"]).replace("{tune}", tune)
            return Made(self._noise(text, keep=tune), kind, tune=tune if kind == "request" else "")
        target, how, at, accept = self._place()
        run = self.runs[target]
        if kind in ("video", "question"):
            text = rng.choice(self.phrases[kind]["says"])
            values = {
                "at": at,
                "who": self._name(run.name),
                "obs": ORDINALS[rng.randint(1, 4)],
                "time": self._time(rng.uniform(5, 400)),
            }
            return Made(self._noise(_filled(text, values)), kind)
        values = self._values(kind, run, target)
        if values is None:
            return None
        right, wrong = values
        viewer_right = rng.random() < 0.5
        obs, prop = (wrong, right) if viewer_right else (right, wrong)
        says = self.phrases[kind]["says"]
        if how == "nth":
            if kind != "note" or viewer_right:
                return None
            says = self.phrases["note"]["nth"]
        text = rng.choice(says)
        named = "{who}" in text or (kind == "note" and ("{obs}" in text or how == "nth"))
        accept = self._accepted(kind, target, accept, how, named=named)
        digits = {"first": "1", "second": "2", "third": "3", "fourth": "4"}
        filled = _filled(
            text,
            {"at": at, "nthat": at, "obs": obs, "prop": prop, "who": self._name(run.name),
             "obsdigit": digits.get(obs, obs), "propdigit": digits.get(prop, prop)},
        )  # fmt: skip
        if how == "nth":
            filled = filled.replace("{obs}", obs)
        return Made(self._noise(filled), kind, target, accept, viewer_right, how)

    def _place(self) -> tuple[int, str, str, frozenset[int]]:
        """A run, how it is pointed at, the words, and the runs in reach of these words."""
        rng = self.rng
        how = rng.choice(["time", "time", "time", "bar", "bar", "barbeat", "barbeat", "nth", "nth", "nth", "section"])
        if how == "time" and self.timed:
            statement = rng.choice(self.timed)
            name, target = rng.choice(statement.names)
            span = max(0.1, statement.end_s - statement.start_s)
            stamp = statement.start_s + rng.random() * span + rng.uniform(-1.0, 2.5)
            text = rng.choice(self.phrases["at"]["time"]).replace("{time}", self._time(max(0.0, stamp)))
            reach = frozenset(r for s in self.timed for _, r in s.names if s.start_s - 8 <= stamp <= s.end_s + 8)
            return target, how, text, reach
        target = rng.randrange(len(self.runs))
        run = self.runs[target]
        bar, beat = run.place
        inside = frozenset(k for k, r in enumerate(self.runs) if any(n.bar == bar for n in r.notes))
        if how == "section" and self.sections:
            name = self.sections[run.section][0]
            text = rng.choice(self.phrases["at"]["section"]).replace("{section}", name)
            return target, how, text, frozenset(k for k, r in enumerate(self.runs) if r.section == run.section)
        how = how if how in ("bar", "barbeat", "nth") else "bar"
        if how == "barbeat" and not beat.isdigit():
            how = "bar"
        values = {"bar": bar, "beat": beat, "barth": _ordinal(bar), "beatth": _ordinal_word(beat)}
        if how == "nth":
            same = [k for k in sorted(inside) if self.runs[k].name == run.name and self.runs[k].notes[0].bar == bar]
            inner = [n for k in same for n in self.runs[k].notes if n.bar == bar]
            if target not in same or len(inner) != len(same) or same.index(target) > 2:
                how = "bar"
            else:
                values["nth"] = ORDINALS[same.index(target) + 1]
                values["obs"] = self._name(run.name)
        if how == "barbeat":
            inside = frozenset({target})
        if how == "nth":
            inside = frozenset({target})
        return target, how, _filled(rng.choice(self.phrases["at"][how]), values), inside

    def _values(self, kind: str, run: Run, target: int) -> tuple[str, str] | None:
        rng = self.rng
        if kind == "note":
            step, alter = run.name
            others = [
                (step, 1 - abs(alter) if alter >= 0 else 0),
                ("CDEFGAB"[("CDEFGAB".index(step) + rng.choice([1, 6])) % 7], 0),
            ]
            other = rng.choice([o for o in others if o != (step, alter)])
            return self._name(run.name, natural=step == other[0]), self._name(other, natural=step == other[0])
        if kind == "finger":
            if len(set(run.fingers)) > 1 or run.fingers[0] not in (1, 2, 3, 4) or run.substitute is not None:
                return None
            return ORDINALS[run.fingers[0]], ORDINALS[rng.choice([f for f in (1, 2, 3, 4) if f != run.fingers[0]])]
        if kind == "string":
            return self.letters[run.string], rng.choice([x for k, x in enumerate(self.letters) if k != run.string])
        if kind == "position":
            name = self.positions.get(run.frame)
            if name is None or run.zone != "neck" or run.shape != "closed" or run.fingers[0] == 0:
                return None
            return name, rng.choice([n for n in ("first", "second", "third", "fourth") if n != name])
        if kind == "bow":
            stroke = self.strokes.get(run.notes[0].id)
            if stroke is None or len({self.strokes.get(n.id) for n in run.notes}) > 1:
                return None
            return stroke, "up" if stroke == "down" else "down"
        figure = FIGURES.get(run.notes[0].duration_quarters)
        if figure is None or len({n.duration_quarters for n in run.notes}) > 1 or run.notes[0].tied_to is not None:
            return None
        return figure, rng.choice([f for f in FIGURES.values() if f != figure])

    def _accepted(self, kind: str, target: int, reach: frozenset[int], how: str, *, named: bool) -> frozenset[int]:
        """Runs that the words fit as well: the same name in reach, or any in the bar where no note is named."""
        run = self.runs[target]
        if how in ("barbeat", "nth"):
            return frozenset({target})
        same = frozenset(k for k in reach if self.runs[k].name == run.name)
        if how == "time" or named:
            return same | {target}
        return reach | {target}

    def _name(self, name: tuple[str, int], *, natural: bool = False) -> str:
        step, alter = name
        if alter == 0:
            return f"{step} natural" if natural and self.rng.random() < 0.4 else step
        if alter in (1, -1):
            return step + self.rng.choice(SIGNS if alter == 1 else FLATS)
        return step + ACCIDENTALS[alter]

    def _time(self, seconds: float) -> str:
        whole = int(seconds)
        if self.rng.random() < 0.08:
            return f"{whole // 60}m{whole % 60:02}s"
        return f"{whole // 60}:{whole % 60:02}"

    def _noise(self, text: str, keep: str = "") -> str:
        """Slips of typing in words of four letters and more, small letters, missing marks, emoji, greetings."""
        rng = self.rng
        if rng.random() < 0.25:
            text = rng.choice(HELLOS) + text
        text = text[:1].upper() + text[1:] if rng.random() < 0.3 else text
        if rng.random() < 0.3:
            text = text.replace("'", "")
        words = text.split(" ")
        for k, word in enumerate(words):
            if len(word) >= 4 and word.isalpha() and word not in keep and rng.random() < 0.06:
                at = rng.randrange(1, len(word) - 1)
                draw = rng.random()
                if draw < 0.4:
                    words[k] = word[:at] + word[at + 1] + word[at] + word[at + 2 :]
                elif draw < 0.7:
                    words[k] = word[:at] + word[at + 1 :]
                else:
                    words[k] = word[:at] + word[at] + word[at:]
        text = " ".join(words)
        if rng.random() < 0.3 and not keep:
            text = text.lower()
        if rng.random() < 0.2:
            text = text.rstrip("?.!") + rng.choice(["", "??", "!!", " lol", "..."])
        if rng.random() < 0.3:
            text += " " + rng.choice(FIRST_EMOJI)
        return text


def _filled(text: str, values: dict[str, str]) -> str:
    for key, value in values.items():
        text = text.replace("{" + key + "}", value)
    return text


def _ordinal(number: str) -> str:
    if not number.isdigit():
        return number
    n = int(number)
    ending = "th" if 10 <= n % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(n % 10, "th")
    return f"{n}{ending}"


def _ordinal_word(beat: str) -> str:
    return ORDINALS[int(beat)] if beat.isdigit() and int(beat) < len(ORDINALS) else beat
