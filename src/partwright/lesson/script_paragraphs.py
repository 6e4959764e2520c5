"""The script as text a teacher edits, and back again.

One paragraph a sentence, its bars before it in square brackets; `##` heads a new part. The generated text lies in
build/; a file script.md beside lesson.toml is the teacher's own and is used instead. A sentence that still stands as
it was made keeps its claims; a changed one has none until it has been checked.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from partwright.lesson.saying import bars_printed
from partwright.lesson.script import Sentence, spoken_seconds
from partwright.lesson.teaching import Teaching

__all__ = ["OWN_SCRIPT_FILE", "parse_script", "script_text"]

OWN_SCRIPT_FILE = "script.md"

_EPISODE = re.compile(r"^##\s+Episode\s+(\d+)\b")
_BARS = re.compile(r"^\[(?:bars?\s+([^\]–-]+?)(?:\s*[–-]\s*([^\]]+?))?|pick-up)\]\s*")


def script_text(teaching: Teaching, sentences: Sequence[Sentence]) -> str:
    """The script as Markdown."""
    title = teaching.lesson.title or teaching.part.credits.title or "Script"
    wpm = teaching.lesson.speaking_wpm
    minutes = sum(spoken_seconds(s.text, wpm) for s in sentences) / 60
    lines = [
        f"# {title}: what to say",
        "",
        f"> About {minutes:.0f} minutes of speech at {wpm:g} words a minute. Made from the part and its plan, and made",
        f"> again when they change. To make it yours, copy this file beside lesson.toml as {OWN_SCRIPT_FILE}: one",
        "> paragraph is one sentence to say, and the bars in brackets go with it.",
        "",
    ]
    for sentence in sentences:
        if sentence.heading:
            lines += [f"## {sentence.heading}", ""]
        bars = f"[{bars_printed(sentence.bars)}] " if sentence.bars else ""
        lines += [f"{bars}{sentence.text}", ""]
    if teaching.uncovered:
        lines += [f"> No episode teaches: bars {', '.join(teaching.uncovered)}.", ""]
    return "\n".join(lines)


def parse_script(text: str, made: Sequence[Sentence]) -> tuple[Sentence, ...]:
    """The teacher's own script. Sentences that stand in `made` keep their claims, steps and episodes; the others take
    those of the sentence before them. Headings "## Episode 2 …" begin an episode."""
    known: dict[str, list[Sentence]] = {}
    for sentence in made:
        known.setdefault(sentence.text, []).append(sentence)
    found: list[Sentence] = []
    episode, step, heading = 1, 0, ""
    for block in re.split(r"\n\s*\n", re.sub(r"<!--.*?-->", "", text, flags=re.DOTALL)):
        lines = [line.strip() for line in block.splitlines() if line.strip() and not line.lstrip().startswith(">")]
        for line in [line for line in lines if line.startswith("#")]:
            if line.startswith("##"):
                heading = line.lstrip("# ").strip()
                numbered = _EPISODE.match(line)
                episode = int(numbered[1]) if numbered else episode
        said = " ".join(line for line in lines if not line.startswith("#"))
        if not said:
            continue
        bars: tuple[str, str] | tuple[()] = ()
        if marked := _BARS.match(said):
            first = (marked[1] or "0").strip()
            bars, said = (first, (marked[2] or first).strip()), said[marked.end() :]
        alike = known.get(said, [])
        before = next((s for s in alike if s.bars and bars_printed(s.bars) == bars_printed(bars or s.bars)), None)
        before = before or next(iter(alike), None)
        number = len(found) + 1
        if before is not None:
            known[said].remove(before)
            episode, step = before.episode, before.step
            kept = before.bars if not bars or before.bars[:1] == ("0",) else bars  # the pick-up prints as bar 1
            found.append(replace(before, number=number, bars=kept, heading=heading))
        else:
            found.append(
                Sentence(
                    number=number, episode=episode, step=step, template="own", text=said, bars=bars, heading=heading
                )
            )
        heading = ""
    return tuple(found)
