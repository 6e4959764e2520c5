"""`partwright learn` as a teacher types it: lessons with pins in, a taste out, used, explained, forgotten."""

from __future__ import annotations

import json
import shutil
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

from conftest import Ran
from made_teachers import corrected, hidden_taste, invented_tune, placed
from made_tunes import small_tune, write_lesson_folder
from partwright.files import file_hash
from partwright.fingering import HandTaste, Planning, Taste, prepare
from partwright.fingering.learning import Judged, Standing, judge, standing, standing_text
from partwright.instrument import finger_text, load_instrument
from partwright.lesson import learn_io
from partwright.lesson.read_settings import read_lesson
from partwright.score import Part, beat_text, read_tune

CELLO = load_instrument("cello")
_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")


def written(part: Part) -> str:
    """An invented tune as MusicXML; its slurs are left out."""
    bars: dict[int, list[str]] = {}
    for note in part.notes:
        name = f"{_NAMES[note.midi % 12]}{note.midi // 12 - 1}"
        bars.setdefault(note.bar_index, []).append(f"{name}:{note.duration_quarters}")
    return small_tune(*(" ".join(notes) for _, notes in sorted(bars.items())))


@pytest.fixture(scope="module")
def lessons(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six lessons corrected by one teacher, and a seventh without pins, in a folder."""
    home = tmp_path_factory.mktemp("lessons")
    taste = hidden_taste(2, CELLO)
    for seed in range(7):
        folder = write_lesson_folder(home / f"tune{seed}", written(invented_tune(seed)))
        part = read_tune(folder / "tune.musicxml").part
        pins = corrected(part, CELLO, placed(prepare(part, CELLO, weights=taste))) if seed < 6 else []
        lines = ["# Mine.", "format = 1", 'teacher = "Ottoline Fennick"', "[pins]"]
        for pin in pins:
            note = part.by_id[pin.note_id]
            assert pin.finger is not None
            assert pin.string is not None
            after = "" if pin.substitute is None else f"-{finger_text(pin.substitute)}"
            value = f"{finger_text(pin.finger)}{after}/{CELLO.strings[pin.string].letter}"
            lines.append(f'"{note.bar}:{beat_text(note.beat)}" = "{value}"  # as I play it')
        (folder / "lesson.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return home


def paths(home: Path, count: int = 6) -> list[str]:
    return [str(home / f"tune{seed}") for seed in range(count)]


def test_learn_tell_keep_use_explain_forget(lessons: Path, partwright_here: Callable[..., Ran], tmp_path: Path) -> None:
    told = partwright_here("learn", *paths(lessons), "--out", "hand.toml")
    assert told.code == 0
    assert "cello: learned from" in told.out
    assert "corrected the plan" in told.out
    assert " × as much" in told.out
    data = tomllib.loads((tmp_path / "hand.toml").read_text(encoding="utf-8"))
    assert data["name"] == "Ottoline Fennick"
    pinned = [path for path in paths(lessons) if tomllib.loads((Path(path) / "lesson.toml").read_text())["pins"]]
    assert data["hands"]["cello"]["lessons"] == len(pinned)
    assert len(data["hands"]["cello"]["learned_from"]) == len(pinned)
    assert data["hands"]["cello"]["let_stand"].keys() == data["hands"]["cello"]["learned_from"].keys()

    plain = json.loads(partwright_here("finger", lessons / "tune6", "--json").out)
    own = json.loads(partwright_here("finger", lessons / "tune6", "--taste", "hand.toml", "--json").out)
    assert plain["total_cost"] != own["total_cost"]
    assert "taste" not in plain
    assert own["taste"] == "Ottoline Fennick"
    said = partwright_here("finger", lessons / "tune6", "--taste", "hand.toml", "--out", "own.musicxml").out
    assert "as Ottoline Fennick has it" in said

    used = partwright_here("learn", *paths(lessons), "--use", "--json")
    document = json.loads(used.out)
    assert document["file"] is None
    assert document["used_in"] == paths(lessons)
    assert document["hands"][0]["times"] == data["hands"]["cello"]["times"]
    assert document["hands"][0]["held_back"]["as_wanted"] > document["hands"][0]["held_back"]["as_wanted_before"]

    settings = (lessons / "tune0" / "lesson.toml").read_text(encoding="utf-8")
    assert "# Mine." in settings
    assert "# as I play it" in settings
    assert tomllib.loads(settings)["fingering"] == {"taste": "taste.toml"}
    why = partwright_here("explain", lessons / "tune0", "3")
    assert "as Ottoline Fennick has it, learned from" in why.out
    why = partwright_here("explain", lessons / "tune0", "3", "--json")
    assert json.loads(why.out)["taste"]["name"] == "Ottoline Fennick"

    nothing = partwright_here("learn", *paths(lessons))
    assert "nothing new since the taste was learned" in nothing.out
    assert "Nothing was changed." in nothing.out

    gone = partwright_here("learn", "--forget", *paths(lessons))
    assert gone.code == 0
    assert not (lessons / "tune0" / "taste.toml").exists()
    assert "taste" not in tomllib.loads((lessons / "tune0" / "lesson.toml").read_text(encoding="utf-8"))["fingering"]
    assert "it had no taste" in partwright_here("learn", "--forget", lessons / "tune0").out
    back = json.loads(partwright_here("finger", lessons / "tune6", "--json").out)
    assert back["total_cost"] == plain["total_cost"]


def test_a_lesson_says_what_it_said_when_it_was_learned_from(
    lessons: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The taste moves the plan of the lesson it is put into; that is not taken for the teacher's consent."""
    folder = Path(shutil.copytree(lessons / "tune6", tmp_path / "own"))
    settings = folder / "lesson.toml"
    tune = file_hash(folder / "tune.musicxml")[:12]
    part = read_tune(folder / "tune.musicxml").part
    then = standing(prepare(part, CELLO))
    first = then[part.notes[0].id].finger
    pin = f'"1:1" = "{first}"'
    written_before = settings.read_text(encoding="utf-8")
    settings.write_text(written_before.replace("[pins]", f"[pins]\n{pin}"), encoding="utf-8")
    hand = HandTaste(
        instrument="cello",
        times={"shift": 4.0, "open_string": -3.0},
        added={},
        learned_from={tune: ("1:1",)},
        let_stand={tune: standing_text(then, part, CELLO)},
    )
    learn_io.use_taste(folder, Taste(name="Ottoline Fennick", hands=(hand,)))
    said: list[tuple[Planning, dict[str, Standing]]] = []

    def overheard(planning: Planning, *, stands: dict[str, Standing], **options: object) -> Judged:
        said.append((planning, stands))
        return judge(planning, stands=stands, **options)  # type: ignore[arg-type]

    monkeypatch.setattr(learn_io, "judge", overheard)

    def learn() -> tuple[Planning, dict[str, Standing]]:
        learn_io.learn_hands([learn_io.read_source(read_lesson(folder), folder)])
        return said[-1]

    def write(old: str, new: str) -> None:
        settings.write_text(settings.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")

    plan, stands = learn()
    assert standing(plan) != then
    assert stands == then
    write(pin, f'"1:1" = "{4 if first != 4 else 1}"')  # changed since: the lesson was gone through again
    plan, stands = learn()
    assert stands == standing(plan)
    write(f'"1:1" = "{4 if first != 4 else 1}"', f'{pin}\n"2:1" = "{then_finger(part, then)}"')
    plan, stands = learn()
    assert stands == standing(plan)


def then_finger(part: Part, then: dict[str, Standing]) -> str:
    """The finger that stood at the beginning of the second bar."""
    return finger_text(then[next(note.id for note in part.notes if note.bar == "2")].finger)


def test_too_little_says_how_much_more_would_help(lessons: Path, partwright_here: Callable[..., Ran]) -> None:
    none = partwright_here("learn", lessons / "tune6", "--out", "hand.toml")
    assert none.code == 0
    assert "about 20 corrections are a good start" in none.out
    assert not Path("hand.toml").exists()


def test_printed_fingers_are_learned_from_too(lessons: Path, partwright_here: Callable[..., Ran]) -> None:
    made = partwright_here("finger", lessons / "tune1", "--marks", "every", "--out", "printed.musicxml")
    assert made.code == 0
    document = json.loads(partwright_here("learn", "printed.musicxml", "--json").out)
    assert document["hands"][0]["decisions"] > 20
    assert document["hands"][0]["let_stand"] == 0


def test_each_instrument_is_learned_by_itself(lessons: Path, partwright_here: Callable[..., Ran]) -> None:
    folder = write_lesson_folder(
        Path("air"),
        small_tune("A4:1 B4:1 C5:1 D5:1", "E5:1 D5:1 C5:1 B4:1"),
        'format = 1\n[instrument]\nname = "violin"\n[pins]\n"1:2" = "1/A"\n',
    )
    document = json.loads(partwright_here("learn", lessons / "tune0", folder, "--json").out)
    assert [hand["instrument"] for hand in document["hands"]] == ["cello", "violin"]
    assert [hand["lessons"] for hand in document["hands"]] == [1, 1]


@pytest.mark.parametrize(
    ("taste", "said"),
    [
        ("format = 9\n", "newer partwright"),
        ("format = 1\n[hands.cello.times]\nshfit = 2\n", "hand.toml, line 3: there is no cost term"),
        ("format = 1\n[hands.cello.times]\nshift = -1\n", "nothing can cost less than nothing"),
        ("not toml", "is not TOML"),
    ],
)
def test_bad_taste_stops_the_plan(lessons: Path, partwright_here: Callable[..., Ran], taste: str, said: str) -> None:
    Path("hand.toml").write_text(taste, encoding="utf-8")
    ran = partwright_here("finger", lessons / "tune6", "--taste", "hand.toml")
    assert ran.code == 2
    assert said in ran.err


def test_taste_of_another_instrument_is_remarked_on(lessons: Path, partwright_here: Callable[..., Ran]) -> None:
    Path("hand.toml").write_text('format = 1\nname = "x"\n[hands.violin.times]\nshift = 2\n', encoding="utf-8")
    ran = partwright_here("finger", lessons / "tune6", "--taste", "hand.toml")
    assert ran.code == 0
    assert "says nothing of the cello" in ran.err


def test_calls_that_make_no_sense(lessons: Path, partwright_here: Callable[..., Ran]) -> None:
    tune = lessons / "tune6" / "tune.musicxml"
    assert "--use is for lesson folders" in partwright_here("learn", tune, "--use").err
    assert "Choose one of them" in partwright_here("learn", lessons / "tune6", "--forget", "--use").err
    assert partwright_here("learn").code == 2
    ran = partwright_here("learn", lessons / "nowhere")
    assert ran.code == 2
    assert "nowhere" in ran.err


def test_pins_that_contradict_each_other_are_named(partwright_here: Callable[..., Ran]) -> None:
    folder = write_lesson_folder(
        Path("clash"), small_tune("D3:1 E3:1 F3:1 G3:1"), 'format = 1\n[pins]\n"1:2" = ["1/D", "4/G"]\n'
    )
    ran = partwright_here("learn", folder)
    assert ran.code == 2
    assert "contradict" in ran.err
    assert "bar 1" in ran.err
