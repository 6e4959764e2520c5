"""What a page may ask to be changed, and what it makes of the lesson's texts. Nothing is read or written here."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from partwright.bowing import is_bow_pin
from partwright.fingering.phrases import like_runs
from partwright.lesson import LESSON_FILE, OWN_SCRIPT_FILE, parse_lesson
from partwright.nearest import nearest_sentence
from partwright.score import Note, Part, beat_text
from partwright.studio.edit_texts import (
    SETTINGS,
    apply_settings,
    apply_table,
    parse_document,
    put_pin,
    replace_entries,
    set_pin_comment,
    set_teaching_order,
    take_pin,
)
from partwright.studio.history_io import Texts
from partwright.studio.pin_rows import bow_place, placement_value, value_words
from partwright.studio.plan_state import PlanState
from partwright.studio.refusal import Refusal
from partwright.studio.script_texts import add_sentence, set_sentence, write_script

__all__ = ["edited_texts", "equal_notes", "note_at"]

_MOST_PINS = 2000


def edited_texts(state: PlanState, edits: Sequence[Mapping[str, Any]]) -> tuple[Texts, str]:
    """The lesson's texts after these edits, and what was done in words. Raises Refusal or InputError."""
    desk = _Edit(state, parse_document(state.texts[LESSON_FILE] or ""), dict(state.texts))
    words = [_MAKERS[edit["kind"]](desk, edit) for edit in edits]
    if desk.touched:
        import tomlkit

        text = tomlkit.dumps(desk.document)
        parse_lesson(text)
        desk.texts[LESSON_FILE] = text
    said = words[0] if len(words) == 1 else f"{words[0]}, and {len(words) - 1} more" if words else "Nothing"
    return desk.texts, said


@dataclass
class _Edit:
    state: PlanState
    document: Any
    texts: dict[str, str | None]
    touched: bool = False


def note_at(part: Part, n: int) -> Note:
    """Note number `n`. Raises Refusal where there is none."""
    if not 0 <= n < len(part.notes):
        raise Refusal("bad_request", f"there is no note {n}; the part has {len(part.notes)}, counted from 0")
    return part.notes[n]


def equal_notes(state: PlanState, note: Note) -> tuple[Note, ...]:
    """The same place in every equal phrase, this one left out."""
    part = state.part
    group = {note.bar_index}
    runs = like_runs(part)
    grown = True
    while grown:
        grown = False
        for run in runs:
            for k in range(run.length):
                pair = {run.first + k, run.like + k}
                if pair & group and not pair <= group:
                    group |= pair
                    grown = True
    rank = [other.id for other in part.notes if other.bar_index == note.bar_index].index(note.id)
    found = []
    for bar in sorted(group - {note.bar_index}):
        inside = [other for other in part.notes if other.bar_index == bar]
        if rank < len(inside) and inside[rank].pitch == note.pitch:
            found.append(inside[rank])
    return tuple(found)


def _where(note: Note) -> str:
    return f"bar {note.bar}, beat {beat_text(note.beat)}"


def _pin_note(desk: _Edit, note: Note, value: str) -> None:
    state = desk.state
    value = value.strip()
    if is_bow_pin(f"1:1={value}"):
        raise Refusal("bad_request", "a bow is pinned by an edit of kind bow")
    mine = [row for row in state.pins if row.kind == "finger" and row.note == note and not row.place.endswith("!")]
    place = mine[0].place if mine else state.finger_places[note.index]
    for row in mine:
        if row.place != place:
            take_pin(desk.document, row.place, row.value)
    put_pin(desk.document, place, value, replaces=[row.value for row in mine])
    desk.touched = True


def _pin(desk: _Edit, edit: Mapping[str, Any]) -> str:
    note = desk.state.head_of(note_at(desk.state.part, edit["n"]))
    _pin_note(desk, note, edit["value"])
    return f"Pinned {_shown(edit['value'])} at {_where(note)}"


def _shown(value: str) -> str:
    try:
        return value_words(value.strip())
    except (ValueError, KeyError):
        return value[:60]


def _pin_equal(desk: _Edit, edit: Mapping[str, Any]) -> str:
    note = desk.state.head_of(note_at(desk.state.part, edit["n"]))
    others = equal_notes(desk.state, note)
    for one in (note, *others):
        _pin_note(desk, one, edit["value"])
    more = f" and {len(others)} equal place{'s' if len(others) > 1 else ''}" if others else ""
    return f"Pinned {_shown(edit['value'])} at {_where(note)}{more}"


def _unpin(desk: _Edit, edit: Mapping[str, Any]) -> str:
    note = desk.state.head_of(note_at(desk.state.part, edit["n"]))
    mine = [row for row in desk.state.pins if row.kind == "finger" and row.note == note]
    if not mine:
        if any(pin.note_id == note.id for pin in desk.state.job.pins):
            raise Refusal(
                "cannot", f"the finger at {_where(note)} is printed in the tune itself",
                "Pin another one here; or leave out all of the tune's own with the setting source_marks.",
            )  # fmt: skip
        raise Refusal("cannot", f"nothing is pinned at {_where(note)}")
    for row in mine:
        take_pin(desk.document, row.place, row.value)
    desk.touched = True
    return f"Unpinned {_where(note)}"


def _range(desk: _Edit, edit: Mapping[str, Any]) -> list[Note]:
    part = desk.state.part
    first, last = note_at(part, edit["first_n"]).index, note_at(part, edit["last_n"]).index
    chosen = [note for note in part.notes[min(first, last) : max(first, last) + 1] if note.tied_from is None]
    if len(chosen) > _MOST_PINS:
        raise Refusal("cannot", f"these are {len(chosen)} notes at once", f"Choose at most {_MOST_PINS}.")
    return chosen


def _range_words(notes: Sequence[Note]) -> str:
    if not notes:
        return "no notes"
    return f"{_where(notes[0])} to {_where(notes[-1])}"


def _pin_range(desk: _Edit, edit: Mapping[str, Any]) -> str:
    notes = _range(desk, edit)
    pinned = desk.state.pinned_n["finger"]
    for note in notes:
        fingered = desk.state.plan.by_id.get(note.id)
        if fingered is not None and note.index not in pinned and not note.grace:
            _pin_note(desk, note, placement_value(fingered.placement, desk.state.job.instrument))
    desk.touched = True
    return f"Pinned as planned: {_range_words(notes)}"


def _unpin_range(desk: _Edit, edit: Mapping[str, Any]) -> str:
    notes = _range(desk, edit)
    inside = {note.id for note in notes}
    mine = [row for row in desk.state.pins if row.note is not None and row.note.id in inside]
    if not mine:
        raise Refusal("cannot", "nothing is pinned there")
    for row in mine:
        take_pin(desk.document, row.place, row.value)
    desk.touched = True
    return f"Unpinned {_range_words(notes)}"


def _bow(desk: _Edit, edit: Mapping[str, Any]) -> str:
    state = desk.state
    note = state.head_of(note_at(state.part, edit["n"]))
    stroke = state.bowing.by_note.get(note.id)
    if stroke is None:
        raise Refusal("cannot", f"nothing is bowed at {_where(note)}")
    under = {state.part.by_id[i] for i in stroke.note_ids}
    head = next((one for one in (state.part.by_id[i] for i in stroke.note_ids) if not one.grace), note)
    mine = [row for row in state.pins if row.kind == "bow" and row.note in under]
    value = edit["value"]
    if value is None and not mine:
        raise Refusal("cannot", f"no bow is pinned at {_where(note)}")
    for row in mine:
        take_pin(desk.document, row.place, row.value)
    desk.touched = True
    if value is None:
        return f"Unpinned the bow at {_where(head)}"
    put_pin(desk.document, bow_place(head), value, replaces=[])
    return f"Pinned {value + '-bow' if value in ('down', 'up') else value} at {_where(head)}"


def _unpin_place(desk: _Edit, edit: Mapping[str, Any]) -> str:
    take_pin(desk.document, edit["place"])
    desk.touched = True
    return f"Unpinned {edit['place']}"


def _pin_comment(desk: _Edit, edit: Mapping[str, Any]) -> str:
    place = edit["place"]
    if not any(row.place == place for row in desk.state.pins):
        raise Refusal("cannot", f"nothing is pinned at {place}", "Pin it first; then say why.")
    set_pin_comment(desk.document, place, edit["comment"])
    desk.touched = True
    return f"{'Said' if edit['comment'].strip() else 'No longer says'} why {place} is pinned"


def _settings(desk: _Edit, edit: Mapping[str, Any]) -> str:
    _refuse_unknown(desk.state, edit["values"])
    apply_settings(desk.document, edit["values"])
    desk.touched = True
    names = ", ".join(_SETTING_WORDS.get(name, f"the {name}") for name in edit["values"] if name in SETTINGS)
    return f"Changed {names}" if names else "Nothing changed"


_SETTING_WORDS: Mapping[str, str] = {
    "tempo_qpm": "the tempo",
    "practice_percent": "the practice tempi",
    "marks": "which marks are printed",
    "string_names": "how strings are named",
    "own_levels": "the versions for levels",
    "undo_steps": "which steps of a version are left out",
    "second": "the second part",
    "style": "the accompaniment",
    "tries": "how often a step is played",
    "speaking_wpm": "the rate of speaking",
}


def _refuse_unknown(state: PlanState, values: Mapping[str, Any]) -> None:
    """Levels and styles that only a build would stumble over."""
    from partwright.arranging import style_table

    levels = state.job.instrument.levels
    for level in values.get("own_levels", ()):
        if "instrument" not in values and level not in levels:
            raise Refusal("cannot", f'there is no level "{level[:40]}"', f"Known are {', '.join(levels)}.")
    style = values.get("style")
    if style and style != "auto" and style not in style_table():
        raise Refusal("cannot", f'there is no style "{style[:40]}"', f"Known are auto, {', '.join(style_table())}.")


def _sections(desk: _Edit, edit: Mapping[str, Any]) -> str:
    """The sections; episodes and the order of teaching follow their names."""
    lesson, wanted = desk.state.lesson, edit["sections"]
    new_names = [section["name"] for section in wanted]
    renamed = {
        old.name: new["name"]
        for old, new in zip(lesson.sections, wanted, strict=False)
        if old.name not in new_names
        and (
            len(lesson.sections) == len(wanted) or (old.first_bar, old.last_bar) == (new["first_bar"], new["last_bar"])
        )
    }

    def followed(names: Sequence[str]) -> list[str]:
        return list(dict.fromkeys(name for old in names if (name := renamed.get(old, old)) in new_names))

    replace_entries(desk.document, "sections", wanted, ("name", "first_bar", "last_bar", "remark"))
    if lesson.teaching_order:
        set_teaching_order(desk.document, followed(lesson.teaching_order))
    if lesson.episodes:
        episodes = [{"title": e.title, "sections": followed(e.sections)} for e in lesson.episodes]
        replace_entries(desk.document, "episodes", [e for e in episodes if e["sections"]], ("title", "sections"))
    desk.touched = True
    return "Changed the sections"


def _order(desk: _Edit, edit: Mapping[str, Any]) -> str:
    set_teaching_order(desk.document, edit["order"])
    desk.touched = True
    return "Changed the order of teaching"


def _episodes(desk: _Edit, edit: Mapping[str, Any]) -> str:
    """The episodes. What the file's reader refuses is refused by it; a name that only a build would miss, here."""
    known = [section.name for section in desk.state.outline.sections]
    for episode in edit["episodes"]:
        for name in episode["sections"]:
            if name not in known:
                what = f'episode "{episode["title"][:60]}" names a section "{name[:60]}"'
                raise Refusal("cannot", what, nearest_sentence(name, known))
    replace_entries(desk.document, "episodes", edit["episodes"], ("title", "sections"))
    desk.touched = True
    return _episode_words([episode.title for episode in desk.state.lesson.episodes], edit["episodes"])


def _episode_words(before: Sequence[str], wanted: Sequence[Mapping[str, Any]]) -> str:
    titles = [episode["title"] for episode in wanted]
    more, fewer = [t for t in titles if t not in before], [t for t in before if t not in titles]
    if len(titles) == len(before) + 1 and len(more) == 1 and not fewer:
        return f'Added the episode "{more[0]}"'
    if len(titles) == len(before) - 1 and len(fewer) == 1 and not more:
        return f'Took out the episode "{fewer[0]}"'
    return "Changed the episodes"


def _one_script_change(desk: _Edit) -> None:
    if desk.texts[OWN_SCRIPT_FILE] != desk.state.texts[OWN_SCRIPT_FILE]:
        raise Refusal("bad_request", "the script is changed one sentence at a time")


def _sentence(desk: _Edit, edit: Mapping[str, Any]) -> str:
    _one_script_change(desk)
    desk.texts[OWN_SCRIPT_FILE] = set_sentence(desk.state, edit["number"], edit["text"])
    return f"Changed sentence {edit['number']}" if edit["text"].strip() else f"Took out sentence {edit['number']}"


def _add_sentence(desk: _Edit, edit: Mapping[str, Any]) -> str:
    _one_script_change(desk)
    desk.texts[OWN_SCRIPT_FILE] = add_sentence(desk.state, edit["after"], edit["text"])
    return f"Added a sentence after {edit['after']}"


def _own_script(desk: _Edit, edit: Mapping[str, Any]) -> str:
    if edit["own"]:
        desk.texts[OWN_SCRIPT_FILE] = write_script(desk.state)
        return "Made the script your own"
    desk.texts[OWN_SCRIPT_FILE] = None
    return "Went back to the script the program makes"


def _script(desk: _Edit, edit: Mapping[str, Any]) -> str:
    desk.texts[OWN_SCRIPT_FILE] = edit["text"]
    return "Changed the script"


def _rights(desk: _Edit, edit: Mapping[str, Any]) -> str:
    for key in ("granted", "expires"):
        if edit["values"].get(key) is not None:
            try:
                datetime.date.fromisoformat(edit["values"][key])
            except ValueError:
                raise Refusal("cannot", f'"{edit["values"][key]}" is no date', "Write it as 2026-11-28.") from None
    apply_table(desk.document, "rights", edit["values"])
    desk.touched = True
    return "Changed the rights sheet"


def _catalogue(desk: _Edit, edit: Mapping[str, Any]) -> str:
    apply_table(desk.document, "catalogue", edit["values"])
    desk.touched = True
    return "Changed what the catalogue says"


_MAKERS: Mapping[str, Callable[[_Edit, Mapping[str, Any]], str]] = {
    "pin": _pin,
    "pin_equal": _pin_equal,
    "unpin": _unpin,
    "pin_range": _pin_range,
    "unpin_range": _unpin_range,
    "bow": _bow,
    "unpin_place": _unpin_place,
    "pin_comment": _pin_comment,
    "settings": _settings,
    "sections": _sections,
    "teaching_order": _order,
    "episodes": _episodes,
    "sentence": _sentence,
    "add_sentence": _add_sentence,
    "own_script": _own_script,
    "script": _script,
    "rights": _rights,
    "catalogue": _catalogue,
}
