"""The journal of a lesson: every change can be taken back and made again, whatever happens to the file."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from partwright.studio.history_io import FILES, HISTORY_FILE, History, Texts, read_texts, texts_version

LINES = st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=30)
TEXTS = st.builds(
    lambda toml, script: {FILES[0]: toml, FILES[1]: script},
    st.lists(LINES, max_size=6).map("\n".join),
    st.none() | st.lists(LINES, max_size=4).map("\n".join),
)
ACTIONS = st.lists(
    st.tuples(st.just("edit"), TEXTS) | st.tuples(st.sampled_from(["undo", "redo", "again", "outside"]), TEXTS),
    max_size=14,
)


def write(folder: Path, texts: Texts) -> None:
    for name in FILES:
        text = texts[name]
        if text is None:
            (folder / name).unlink(missing_ok=True)
        else:
            (folder / name).write_bytes(text.encode())


@settings(max_examples=120, deadline=None)
@given(TEXTS, ACTIONS)
def test_undo_and_redo_are_those_of_a_list_of_texts(first: Texts, actions: list[tuple[str, Texts]]) -> None:
    """A model of the same: a list of texts and a place in it; the journal may be read anew at any moment."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write(folder, first)
        history = History(folder)
        history.meet(first)
        model: list[Texts] = [first]
        at = 0
        for kind, texts in actions:
            if kind == "again":
                history = History(folder)
                history.meet(read_texts(folder))
            elif kind in ("edit", "outside"):
                write(folder, texts)
                if kind == "edit":
                    history.record("an edit", texts)
                else:
                    history.meet(read_texts(folder))
                if dict(texts) != dict(model[at]):
                    model[at + 1 :] = [texts]
                    at += 1
            else:
                step = history.before_last() if kind == "undo" else history.after_next()
                possible = at > 0 if kind == "undo" else at + 1 < len(model)
                assert (step is not None) == possible
                if step is not None:
                    at += -1 if kind == "undo" else 1
                    assert step[0] == model[at]
                    write(folder, step[0])
                    if kind == "undo":
                        history.step_back()
                    else:
                        history.step_on()
            assert read_texts(folder) == model[at]
            assert len(history.done) == at
            assert len(history.undone) == len(model) - at - 1


def folder_with(tmp_path: Path, *texts: str) -> tuple[Path, History]:
    write(tmp_path, {FILES[0]: texts[0], FILES[1]: None})
    history = History(tmp_path)
    history.meet(read_texts(tmp_path))
    for text in texts[1:]:
        write(tmp_path, {FILES[0]: text, FILES[1]: None})
        history.record(f"made it {text}", read_texts(tmp_path))
    return tmp_path, history


def test_a_torn_last_line_is_dropped_and_written_over(tmp_path: Path) -> None:
    folder, _ = folder_with(tmp_path, "a", "b", "c")
    path = folder / HISTORY_FILE
    whole = path.read_bytes()
    for cut in range(1, 60, 7):
        path.write_bytes(whole + b'{"seq":9,"when":"2026-11-28T20:00:00+00:00","kind":"edit","wo'[:cut])
        history = History(folder)
        assert not history.meet(read_texts(folder))
        assert [change.words for change in history.done] == ["made it b", "made it c"]
        write(folder, {FILES[0]: "d", FILES[1]: None})
        history.record("made it d", read_texts(folder))
        assert [c.words for c in History_read(folder).done][-1] == "made it d"
        write(folder, {FILES[0]: "c", FILES[1]: None})


def History_read(folder: Path) -> History:  # noqa: N802 (it stands for the class)
    history = History(folder)
    history.meet(read_texts(folder))
    return history


def test_an_edit_whose_record_was_lost_counts_as_made_outside(tmp_path: Path) -> None:
    folder, history = folder_with(tmp_path, "a", "b")
    write(folder, {FILES[0]: "b and more", FILES[1]: None})  # a kill came before the journal
    again = History(folder)
    assert again.meet(read_texts(folder))
    step = again.before_last()
    assert step is not None
    assert step[0][FILES[0]] == "b"
    assert len(history.done) == 1


def test_a_damaged_journal_is_kept_aside_and_the_lesson_stands(tmp_path: Path) -> None:
    folder, _ = folder_with(tmp_path, "a", "b", "c")
    path = folder / HISTORY_FILE
    lines = path.read_bytes().splitlines(keepends=True)
    lines[1] = b'{"nonsense": true}\n'
    path.write_bytes(b"".join(lines))
    history = History_read(folder)
    assert read_texts(folder)[FILES[0]] == "c"
    assert not history.done
    assert (folder / "history-damaged-1.jsonl").read_bytes() == b"".join(lines)
    assert json.loads(path.read_bytes().splitlines()[0])["kind"] == "base"


def test_what_is_kept_under_a_name_survives_and_is_whole(tmp_path: Path) -> None:
    folder, history = folder_with(tmp_path, "a", "b")
    history.keep("Tuesday")
    write(folder, {FILES[0]: "c", FILES[1]: "said"})
    history.record("changed", read_texts(folder))
    kept = History_read(folder).kept
    assert kept["Tuesday"][1] == {FILES[0]: "b", FILES[1]: None}


def test_text_that_is_not_utf8_is_journalled_byte_for_byte(tmp_path: Path) -> None:
    (tmp_path / FILES[0]).write_bytes(b"title = '\xff\xfe'\n")
    history = History(tmp_path)
    history.meet(read_texts(tmp_path))
    (tmp_path / FILES[0]).write_bytes(b"title = 'plain'\n")
    assert history.meet(read_texts(tmp_path))
    step = History_read(tmp_path).before_last()
    assert step is not None
    text = step[0][FILES[0]]
    assert text is not None
    assert text.encode("utf-8", "surrogateescape") == b"title = '\xff\xfe'\n"


def test_versions_stand_for_content() -> None:
    one = {FILES[0]: "a", FILES[1]: None}
    assert texts_version(one) == texts_version(dict(one))
    assert texts_version(one) != texts_version({FILES[0]: "a", FILES[1]: ""})


@pytest.mark.slow
def test_a_thousand_changes_are_read_back_quickly_enough_to_be_unlimited(tmp_path: Path) -> None:
    folder, history = folder_with(tmp_path, *[f"line {k}\n" * 40 for k in range(1000)])
    again = History_read(folder)
    assert len(again.done) == len(history.done) == 999
