"""Routes of the script: its sentences with their times, and the check of one while it is written."""

from __future__ import annotations

from typing import Any

from partwright.lesson import OWN_SCRIPT_FILE, script_document, script_text
from partwright.studio.calls import Call, Row
from partwright.studio.said import said_findings
from partwright.studio.shapes import SENTENCE

__all__ = ["ROWS"]

_PLAYS = frozenset(
    {"listen", "try_slowly", "join", "tempo", "full_tempo", "recap", "whole", "drill", "drill_again"}
)  # templates after which the teacher plays


def _script(call: Call) -> dict[str, Any]:
    desk = call.desk
    with desk.lock:
        state = desk.state()
        document: dict[str, Any] = script_document(state.teaching, state.script)
        made = {sentence.text for sentence in state.made_script}
        sentences = []
        for cue, sentence in zip(document["cues"], state.script, strict=True):
            changed = sentence.text not in made
            said = said_findings(state, sentence.text, sentence.bars) if changed else {"findings": []}
            sentences.append(
                {
                    "number": sentence.number,
                    "episode": sentence.episode,
                    "step": sentence.step,
                    "text": sentence.text,
                    "bars": list(sentence.bars),
                    "heading": sentence.heading,
                    "start_s": cue["start_s"],
                    "end_s": cue["end_s"],
                    "changed": changed,
                    "plays": sentence.template in _PLAYS,
                    "findings": said["findings"],
                }
            )
        return {
            "version": state.version,
            "own": state.texts[OWN_SCRIPT_FILE] is not None,
            "language": document["language"],
            "words_per_minute": document["words_per_minute"],
            "spoken_s": round(sum(episode["spoken_s"] for episode in document["episodes"]), 1),
            "episodes": document["episodes"],
            "steps": document["steps"],
            "sentences": sentences,
            "uncovered_bars": document["uncovered_bars"],
            "text": state.texts[OWN_SCRIPT_FILE] or script_text(state.teaching, state.script),
        }


def _sentence(call: Call) -> dict[str, Any]:
    desk = call.desk
    with desk.lock:
        state = desk.state()
        return {"version": state.version, **said_findings(state, call.body["text"], call.body.get("bars", ()))}


ROWS = (
    Row(method="GET", path="/api/lessons/{lesson}/script", words="What is said.", answer=_script),
    Row(
        method="POST",
        path="/api/lessons/{lesson}/sentence",
        words="What is wrong with a sentence.",
        answer=_sentence,
        body=SENTENCE,
    ),
)
