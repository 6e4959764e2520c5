"""The teacher's own script, sentence by sentence: what script.md holds after one of them is changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from partwright.lesson import Sentence, script_text
from partwright.studio.plan_state import PlanState
from partwright.studio.refusal import Refusal

__all__ = ["add_sentence", "set_sentence", "write_script"]


def write_script(state: PlanState) -> str:
    """The script as it stands, as text to change."""
    return script_text(state.teaching, state.script)


def set_sentence(state: PlanState, number: int, text: str) -> str:
    """script.md with another text for sentence `number`; an empty text takes it out."""
    said = _one_line(text)
    found: list[Sentence] = []
    heading = ""
    known = False
    for sentence in state.script:
        if sentence.number != number:
            found.append(replace(sentence, heading=sentence.heading or heading))
            heading = ""
            continue
        known = True
        if said:
            found.append(replace(sentence, text=said))
        else:
            heading = sentence.heading  # what it headed goes on under the next sentence
    if not known:
        raise Refusal("cannot", f"there is no sentence {number}", f"The script has {len(state.script)}.")
    return _written(state, found)


def add_sentence(state: PlanState, after: int, text: str) -> str:
    """script.md with one more sentence after sentence `after` (0: first)."""
    said = _one_line(text)
    if not said:
        raise Refusal("cannot", "the new sentence is empty", "Write what is to be said.")
    script = list(state.script)
    if not 0 <= after <= len(script):
        raise Refusal("cannot", f"there is no sentence {after}", f"The script has {len(script)}.")
    before = script[after - 1] if after else None
    fresh = Sentence(
        number=0,
        episode=before.episode if before else 1,
        step=before.step if before else 0,
        template="own",
        text=said,
        bars=before.bars if before else (),
        heading="",
    )
    if not after and script:
        fresh = replace(fresh, heading=script[0].heading)
        script[0] = replace(script[0], heading="")
    return _written(state, [*script[:after], fresh, *script[after:]])


def _one_line(text: str) -> str:
    """One sentence is one paragraph; what would read as a heading, a remark or a place is said as it stands."""
    said = " ".join(text.split())
    while said[:1] in ("#", ">"):
        said = said[1:].lstrip()
    return said.replace("<!--", "‹").replace("-->", "›")


def _written(state: PlanState, sentences: Sequence[Sentence]) -> str:
    return script_text(state.teaching, tuple(sentences))
