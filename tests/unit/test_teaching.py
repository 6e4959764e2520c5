"""The teaching order, episodes and the teacher's own script: settings, laws of the steps, round trips."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from partwright.errors import InputError, LessonError
from partwright.lesson import (
    Episode,
    Lesson,
    Prepared,
    Teaching,
    make_script,
    parse_lesson,
    parse_script,
    prepare,
    read_lesson,
    script_text,
    teach,
    tempo_ladder,
)
from partwright.lesson.demo_io import demo_files
from partwright.lesson.read_script import lesson_script
from partwright.lesson.teaching import stretch_seconds
from partwright.lesson.write_lesson import lesson_text

SECTIONS = "".join(
    f'[[sections]]\nname = "{name}"\nfirst_bar = "{first}"\nlast_bar = "{last}"\n'
    for name, first, last in (("A", 1, 10), ("B", 11, 18))
)


@cache
def demo_folder() -> Path:
    import partwright.lesson.demo_io

    return Path(partwright.lesson.demo_io.__file__).parent / "data" / "demo"


def taught(**changes: object) -> Teaching:
    return teach(job(**changes))


def job(**changes: object) -> Prepared:
    lesson = replace(read_lesson(demo_folder()), **changes)  # type: ignore[arg-type]
    return prepare(lesson, demo_folder())


@cache
def demo() -> Teaching:
    return taught(episodes=())


def test_each_step_adds_one_thing() -> None:
    """From one step to the next within a section: new bars at the slow tempo, or the same bars at the next tempo."""
    teaching = demo()
    slow = teaching.ladder[0]
    seen: dict[str, set[int]] = {}
    percent: dict[str, float] = {}
    for step in teaching.steps:
        assert step.adds
        if step.kind in ("phrase", "difference"):
            assert len(step.phrases) == 1
            assert step.percent == slow
            seen.setdefault(step.section, set()).add(step.phrases[0])
        elif step.kind == "join":
            assert set(step.phrases) == seen[step.section]
            assert step.percent == slow
        elif step.kind == "tempo":
            before = percent.get(step.section, slow)
            assert teaching.ladder.index(step.percent) == teaching.ladder.index(before) + 1
            percent[step.section] = step.percent
    for section in teaching.outline.sections:
        assert len(seen[section.name]) == len(section.phrases)
        assert percent[section.name] == 100.0
    assert teaching.steps[-1].kind == "whole"


def test_times_are_those_of_the_bars_and_tries() -> None:
    """Worked by hand: section B of the demonstration is eight bars of three quarters at 100, three tries: 43.2 s."""
    teaching = demo()
    step = next(s for s in teaching.steps if s.section == "B" and s.kind == "tempo" and s.percent == 100)
    assert 3 * stretch_seconds(teaching.part, step.first, step.last, 100.0) == pytest.approx(43.2)
    assert step.seconds == pytest.approx(43.2 + 20.0)  # twenty seconds of talk to a step


def test_the_teachers_order_stands() -> None:
    order = ("C", "A")
    teaching = taught(episodes=(), teaching_order=order)
    sections = list(dict.fromkeys(s.section for s in teaching.steps if s.section))
    assert sections == ["C", "A", "B", "D", "E"]


def test_what_returns_is_told_by_its_difference_only_after_it_was_taught() -> None:
    first = next(s for s in demo().steps if s.section == "D" and s.phrases)
    assert first.kind == "difference"
    teaching = taught(episodes=(), teaching_order=("D", "A"))
    assert next(s for s in teaching.steps if s.section == "D" and s.phrases).kind == "phrase"


@pytest.mark.parametrize(
    "text, what, todo",
    [
        ('[teaching]\norder = ["A", "X"]\n', 'names a section "X"', "Known are A, B."),
        ('[[episodes]]\nsections = ["Bb"]\n', 'names a section "Bb"', "Known are A, B."),
        ('[[episodes]]\ntitle = "One"\n', "does not say which sections it teaches", 'sections = ["A", "B"]'),
        ('[[episodes]]\nsectoins = ["A"]\n', 'no setting "sectoins"', 'Did you mean "sections"?'),
        ("[teaching]\ntries = 0\n", '"tries" is 0', "between 1 and 20"),
        ("[teaching]\ntrys = 2\n", 'no setting "trys"', 'Did you mean "tries"?'),
        ("[teaching]\nspeaking_wpm = 1000\n", '"speaking_wpm" is 1000', "between 60 and 260"),
    ],
)
def test_a_setting_that_cannot_be_is_refused_with_what_would_be_right(text: str, what: str, todo: str) -> None:
    with pytest.raises(LessonError) as refused:
        parse_lesson(f"format = 1\n{text}{SECTIONS}")
    assert what in str(refused.value)
    assert todo in str(refused.value)
    assert "line" in str(refused.value)


def test_sections_found_in_the_music_are_known_to_episodes() -> None:
    """Where lesson.toml names no sections, an episode's are checked against those of the page."""
    with pytest.raises(LessonError, match='names a section "Z"'):
        taught(sections=(), episodes=(Episode(title="One", sections=("Z",)),))
    assert taught(sections=(), episodes=(Episode(title="One", sections=("A",)),)).uncovered


def test_teaching_settings_are_written_and_read_back() -> None:
    lesson = parse_lesson(
        f'format = 1\n[teaching]\norder = ["B", "A"]\ntries = 4\nspeaking_wpm = 110\n{SECTIONS}'
        '[[episodes]]\ntitle = "One \\"quoted\\""\nsections = ["A"]\n'
    )
    assert (lesson.teaching_order, lesson.tries, lesson.speaking_wpm) == (("B", "A"), 4, 110.0)
    again = parse_lesson(lesson_text(lesson))
    assert again.teaching_order == lesson.teaching_order
    assert [(e.title, e.sections) for e in again.episodes] == [(e.title, e.sections) for e in lesson.episodes]


def test_tempo_ladder_rises_to_the_performance() -> None:
    assert tempo_ladder((80.0, 60.0, 120.0)) == (60.0, 80.0, 100.0)
    assert tempo_ladder(()) == (100.0,)


def test_the_made_script_reads_back_with_all_its_claims() -> None:
    for teaching in (demo(), taught()):
        made = make_script(teaching)
        assert parse_script(script_text(teaching, made), made) == made


def test_a_changed_sentence_keeps_its_place_and_loses_its_claims() -> None:
    teaching = demo()
    made = make_script(teaching)
    target = next(s for s in made if s.template == "notes")
    text = script_text(teaching, made).replace(target.text, "Here I say it my own way.", 1)
    own = parse_script(text, made)
    assert len(own) == len(made)
    changed = own[target.number - 1]
    assert (changed.text, changed.claims, changed.template) == ("Here I say it my own way.", (), "own")
    assert (changed.episode, changed.step, changed.bars) == (target.episode, target.step, target.bars)
    assert [s for s in own if s.number != target.number] == [s for s in made if s.number != target.number]


def test_notes_to_oneself_are_not_said() -> None:
    made = make_script(demo())
    own = parse_script("# Mine\n\n> not this\n\n<!-- nor\n\nthis -->\n\n## Section A\n\n[bars 1–4] But this.\n", made)
    assert [(s.text, s.bars, s.heading) for s in own] == [("But this.", ("1", "4"), "Section A")]


def test_a_script_that_is_not_text_is_refused(tmp_path: Path) -> None:
    (tmp_path / "script.md").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not UTF-8"):
        lesson_script(demo(), tmp_path)


def test_the_demonstration_has_two_episodes_that_cover_it() -> None:
    assert set(demo_files()) >= {"lesson.toml", "tune.musicxml"}
    teaching = taught()
    assert [episode.sections for episode in teaching.episodes] == [("A", "B"), ("C", "D", "E")]
    assert teaching.uncovered == ()
    assert Lesson().episodes == ()
