"""The prompter: the script as one page for a screen beside the camera, everything it needs inside it.

Large type that scrolls at the teacher's rate of speaking; keys and the page keys of a foot pedal; it stops by itself
where the teacher plays. The page asks nothing of the network (its own policy forbids it).
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from functools import cache
from html import escape
from importlib import resources

from partwright.engraving.typefaces import SANS, SERIF, Face, font_face_css
from partwright.lesson import Sentence, Teaching, bars_printed, script_document

__all__ = ["prompter_html"]

_PLAYS = frozenset({"listen", "try_slowly", "join", "tempo", "full_tempo", "recap", "whole", "drill", "drill_again"})
"""Templates after which the teacher plays."""
_KEYS = "".join(chr(code) for code in range(0x20, 0x7F)) + "·−–…"


def prompter_html(teaching: Teaching, sentences: Sequence[Sentence]) -> str:
    """The page. Type is at least 48 px; times are those of `script_document`."""
    document = script_document(teaching, sentences)
    cues = document["cues"]
    assert isinstance(cues, list)
    shown = [_cue(cue, sentence) for cue, sentence in zip(cues, sentences, strict=True)]
    taught = {sentence.episode for sentence in sentences}
    episodes = [{"number": e.number, "title": e.title} for e in teaching.episodes if e.number in taught]
    data = {"words_per_minute": document["words_per_minute"], "episodes": episodes, "cues": shown}
    texts = _KEYS + "".join(s.text + s.heading for s in sentences) + "".join(e.title for e in teaching.episodes)
    signs = "".join(sorted(set(texts + texts.upper())))
    fonts = font_face_css({Face(SERIF): signs, Face(SANS): signs, Face(SANS, bold=True): signs})
    title = teaching.lesson.title or teaching.part.credits.title or "Script"
    slots = {
        "@@TITLE@@": escape(f"{title}: prompter"),
        "@@FONTS@@": fonts,
        "@@CUES@@": json.dumps(data, ensure_ascii=False).replace("<", "\\u003c"),
    }
    page = _page()
    for slot, content in slots.items():
        page = page.replace(slot, content, 1)
    return page


def _cue(cue: Mapping[str, object], sentence: Sentence) -> dict[str, object]:
    bars = bars_printed(sentence.bars) if sentence.bars else ""
    kept = {key: cue[key] for key in ("cue", "episode", "text", "start_s", "end_s")}
    return {**kept, "bars": bars, "heading": sentence.heading, "play": sentence.template in _PLAYS}


@cache
def _page() -> str:
    return (resources.files("partwright.engraving") / "data" / "prompter.html").read_text(encoding="utf-8")
