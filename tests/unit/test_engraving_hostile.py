"""Input on which the engraving library aborts, faults, hangs or draws nothing: one sentence each, and we live on.

The kinds are those measured on the library itself; each is put past our own reader, straight into the render copy,
so that the second and third line of defence are what is tested.
"""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import pytest
from lxml import etree

from engraving_pieces import forty_bars, plain_bars
from partwright.engraving import EngravingProcess, Heading, Limits, engrave_part_svg
from partwright.engraving.music import library_options
from partwright.engraving.render_copy import render_tree
from partwright.errors import EngravingError

GOOD = plain_bars(2).musicxml()
ONE_NOTE = "<duration>2</duration>"


def spoilt(old: str, new: str) -> str:
    assert old in GOOD
    return GOOD.replace(old, new, 1)


HOSTILE = {
    "negative duration": spoilt(ONE_NOTE, "<duration>-4</duration>"),
    "endless duration": spoilt(ONE_NOTE, "<duration>7777777</duration>"),
    "duration that is no number": spoilt(ONE_NOTE, "<duration>long</duration>"),
    "huge divisions": spoilt("<divisions>4</divisions>", "<divisions>99999999999999</divisions>"),
    "zero divisions": spoilt("<divisions>4</divisions>", "<divisions>0</divisions>"),
    "negative divisions": spoilt("<divisions>4</divisions>", "<divisions>-4</divisions>"),
    "no beats": spoilt("<beats>4</beats>", "<beats>0</beats>"),
    "a million beats": spoilt("<beats>4</beats>", "<beats>1000000</beats>"),
    "beat type nought": spoilt("<beat-type>4</beat-type>", "<beat-type>0</beat-type>"),
    "beat type five": spoilt("<beat-type>4</beat-type>", "<beat-type>5</beat-type>"),
    "a hundred thousand staves": spoilt("<clef>", "<staves>100000</staves><clef>"),
    "a million repeats": spoilt(
        "</measure>",
        '<barline location="right"><repeat direction="backward" times="1000000"/></barline></measure>',
    ),
    "an octave out of this world": spoilt("<octave>2</octave>", "<octave>99</octave>"),
    "not a note at all": '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name/></score-part>'
    '</part-list><part id="P1"><measure number="1"/></part></score-partwise>',
    "no bars": '<score-partwise version="4.0"><part-list/><part id="P1"/></score-partwise>',
    "another part's id": GOOD.replace('<part id="P1">', '<part id="P9">'),
}


@pytest.mark.parametrize("kind", HOSTILE)
def test_refused_in_one_sentence_before_the_library_sees_it(kind: str) -> None:
    root = etree.fromstring(HOSTILE[kind].encode())
    started = time.monotonic()
    with pytest.raises(EngravingError) as caught:
        render_tree(root, part_id="P1")
    assert time.monotonic() - started < 2
    sentence = str(caught.value)
    assert "\n" not in sentence and sentence.endswith(".") and "Traceback" not in sentence


def test_the_bar_is_named() -> None:
    root = etree.fromstring(spoilt("<beats>4</beats>", "<beats>0</beats>").encode())
    with pytest.raises(EngravingError, match=r"^bar 1: the metre is 0"):
        render_tree(root, part_id="P1")


@pytest.mark.parametrize("kind", ["a hundred thousand staves", "no beats", "beat type nought", "huge divisions"])
def test_a_crash_of_the_library_is_one_sentence(kind: str) -> None:
    """The same input handed to the library itself ends its process, never ours, and the next drawing works."""
    with EngravingProcess(Limits(cpu_seconds=10, wall_seconds=20.0)) as process:
        try:
            process.draw(HOSTILE[kind].encode(), library_options(17_800.0, 1.0, "auto"))
        except EngravingError as error:
            assert "\n" not in str(error) and str(error).startswith("the engraver cannot draw this tune")
        (page,) = process.draw(GOOD.encode(), library_options(17_800.0, 1.0, "auto"))
        assert page.count('class="note"') == 16


def test_a_hang_is_ended_by_the_wall_clock() -> None:
    """A process that does not answer (here: stopped) is ended after its time, with a sentence that says so."""
    with EngravingProcess(Limits(wall_seconds=4.0, cpu_seconds=30)) as process:
        process.draw(GOOD.encode(), library_options(17_800.0, 1.0, "auto"))
        assert process._process is not None
        os.kill(process._process.pid, signal.SIGSTOP)
        with pytest.raises(EngravingError, match="longer than 4 seconds"):
            process.draw(GOOD.encode(), library_options(17_800.0, 1.0, "auto"))
        (page,) = process.draw(GOOD.encode(), library_options(17_800.0, 1.0, "auto"))
        assert page.count('class="note"') == 16


def test_too_much_memory_ends_the_worker_not_us() -> None:
    """With almost no memory the worker fails; we say so in one sentence."""
    with EngravingProcess(Limits(memory_mb=60)) as process, pytest.raises(EngravingError) as caught:
        process.draw(plain_bars(1500).musicxml().encode(), library_options(17_800.0, 1.0, "auto"))
    assert "the engraver cannot draw this tune" in str(caught.value)


def test_a_killed_worker_is_replaced() -> None:
    with EngravingProcess() as process:
        process.draw(GOOD.encode(), library_options(17_800.0, 1.0, "auto"))
        assert process._process is not None
        process._process.kill()
        process._process.wait()
        (page,) = process.draw(GOOD.encode(), library_options(17_800.0, 1.0, "auto"))
        assert page.count('class="note"') == 16


def test_music_that_is_not_music_is_refused() -> None:
    with EngravingProcess() as process, pytest.raises(EngravingError, match="could not read the music"):
        process.draw(b"<html/>", library_options(17_800.0, 1.0, "auto"))


def test_missing_notes_are_noticed(tmp_path: Path) -> None:
    """The library answers "well done" for a page with notes missing; we count."""

    class Losing(EngravingProcess):
        def draw(self, musicxml: bytes, options: object) -> tuple[str, ...]:  # type: ignore[override]
            root = etree.fromstring(musicxml)
            note = next(root.iter("note"))
            note.getparent().remove(note)
            return super().draw(etree.tostring(root), options)  # type: ignore[arg-type]

    with Losing() as process, pytest.raises(EngravingError, match=r"drew 15 of 16 notes"):
        engrave_part_svg(plain_bars(2).tune(tmp_path), (), heading=Heading(title="x"), process=process)


def test_names_and_words_cannot_be_markup(tmp_path: Path) -> None:
    """Ids, words and lyrics with markup in them come out as text in well-formed SVG."""
    xml = forty_bars().musicxml().replace("poco rit.", "&lt;script&gt;alert(1)&lt;/script&gt;")
    file = tmp_path / "markup.musicxml"
    file.write_text(xml, encoding="utf-8")
    from partwright.score import read_tune

    pages = engrave_part_svg(read_tune(file), (), heading=Heading(title="<script>x</script>"))
    for page in pages:
        root = etree.fromstring(page.encode())
        assert not list(root.iter("{*}script"))
    texts = "".join(t for page in pages for t in etree.fromstring(page.encode()).itertext())
    assert "<script>alert(1)</script>" in texts and "<script>x</script>" in texts


def test_nothing_is_left_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A closed process leaves no folder in the temporary directory."""
    import tempfile

    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    with EngravingProcess() as process:
        process.draw(GOOD.encode(), library_options(17_800.0, 1.0, "auto"))
        assert list(tmp_path.iterdir())
    assert not list(tmp_path.iterdir())
