"""Other plans of a lesson to compare with: without its pins, or as kept under a name."""

from __future__ import annotations

from partwright.lesson import LESSON_FILE
from partwright.studio.edit_texts import parse_document
from partwright.studio.history_io import History, Texts
from partwright.studio.plan_state import PlanState
from partwright.studio.refusal import Refusal

__all__ = ["other_texts"]


def other_texts(state: PlanState, history: History, name: str) -> Texts:
    """The texts that lead to the plan called `free` or `kept:NAME`. Raises Refusal for another name."""
    if name == "free":
        import tomlkit

        document = parse_document(state.texts[LESSON_FILE] or "")
        document.pop("pins", None)
        return {**state.texts, LESSON_FILE: tomlkit.dumps(document)}
    kind, _, kept = name.partition(":")
    if kind == "kept" and kept in history.kept:
        return history.kept[kept][1]
    raise Refusal("not_found", f'there is no plan "{name[:80]}"', "Known are now, free and kept:NAME.")
