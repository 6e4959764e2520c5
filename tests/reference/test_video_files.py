"""Demonstration, overlays and burnt-in footage, read back by FFmpeg's decoders (through PyAV), Pillow, and ffprobe.

Outside facts: ISO/IEC 14496-12 (moov before mdat, track matrix), BT.709 tags, W3C compositing (source over), and the
decoders' own time stamps.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil
import subprocess
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from partwright.errors import InputError, OutputError
from partwright.video import (
    Chapter,
    Overlay,
    Piece,
    burn_in,
    demonstration_captions,
    demonstration_chapters,
    frame_times,
    picture_format,
    pixels_png,
    read_footage,
    timeline_pieces,
    write_demonstration,
    write_overlay,
    write_overlay_pictures,
    write_pictures,
)
from video_pieces import RATE_HZ, decoded_sound, demonstration, footage, impulses, ready, turned

SECONDS = 9.0
ACCENT_BLUE = 140  # Cb of the accent lies above this, of ink and paper below (BT.709, computed)


@pytest.fixture(scope="module", params=[False, True], ids=["constant", "variable"])
def video(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, bool]:
    path = tmp_path_factory.mktemp("video") / "demonstration.mp4"
    show = demonstration(seconds=SECONDS)
    write_demonstration(
        path,
        show,
        samples=impulses(ready().timing, SECONDS),
        rate_hz=RATE_HZ,
        captions=demonstration_captions(show.timeline),
        chapters=(
            Chapter(start_seconds=0, end_seconds=4, title="Section A"),
            Chapter(start_seconds=4, end_seconds=SECONDS, title="Größe & mehr"),
        ),
        title="Weir",
        variable=request.param,
    )
    return path, request.param


def pictures(path: Path) -> list[tuple[float, Any]]:
    container: Any
    with av.open(str(path)) as container:
        return [(float(f.pts * f.time_base), f.to_ndarray(format="yuv420p")) for f in container.decode(video=0)]


def test_every_picture_has_its_time(video: tuple[Path, bool]) -> None:
    path, variable = video
    times = [at for at, _ in pictures(path)]
    if variable:
        assert times == pytest.approx(frame_times(demonstration(seconds=SECONDS), variable=True), abs=1e-4)
        assert len(times) < SECONDS * 30 / 3
    else:
        assert len(times) == SECONDS * 30
        assert times == pytest.approx([n / 30 for n in range(len(times))], abs=1e-4)


def test_sound_and_picture_begin_and_end_together(video: tuple[Path, bool]) -> None:
    path, _ = video
    first, samples = decoded_sound(path)
    container: Any
    with av.open(str(path)) as container:
        pictures_end = max(float((p.pts + p.duration) * p.time_base) for p in container.demux(video=0) if p.size)
    assert abs(first) < 1 / 30
    assert abs(pictures_end - SECONDS) < 0.002
    assert abs(first + len(samples) / RATE_HZ - SECONDS) < 1 / 30


def test_chapters_text_and_tags_are_read_back(video: tuple[Path, bool]) -> None:
    path, _ = video
    container: Any
    with av.open(str(path)) as container:
        assert [(c["start"], c["metadata"]["title"]) for c in container.chapters()] == [
            (0, "Section A"),
            (4000, "Größe & mehr"),
        ]
        stream = container.streams.video[0]
        assert (stream.codec_context.name, stream.codec_context.pix_fmt) == ("h264", "yuv420p")
        assert (stream.codec_context.colorspace, stream.codec_context.color_range) == (1, 1)  # BT.709, limited
        assert container.streams.audio[0].codec_context.name == "aac"
        assert container.metadata["title"] == "Weir"
        shown = []
        for packet in container.demux(container.streams.subtitles[0]):
            if packet.size > 2:
                text = bytes(packet)[2:].decode()
                shown.append((float(packet.pts * packet.time_base), float(packet.duration * packet.time_base), text))
    wanted = [
        (c.start_seconds, c.end_seconds - c.start_seconds, c.text)
        for c in demonstration_captions(demonstration(seconds=SECONDS).timeline)
    ]
    assert [text for _, _, text in shown] == [text for _, _, text in wanted]
    for got, want in zip(shown, wanted, strict=True):
        assert got[:2] == pytest.approx(want[:2], abs=0.002)


def test_the_index_stands_before_the_content(video: tuple[Path, bool]) -> None:
    """ISO/IEC 14496-12: a file is a row of boxes, each with its length and name."""
    data, at, names = video[0].read_bytes(), 0, []
    while at < len(data):
        length = int.from_bytes(data[at : at + 4], "big")
        names.append(data[at + 4 : at + 8])
        at += length if length > 1 else int.from_bytes(data[at + 8 : at + 16], "big")
    assert names.index(b"moov") < names.index(b"mdat")


@pytest.mark.skipif(shutil.which("ffprobe") is None, reason="ffprobe (Debian: ffmpeg) is not on this machine")
def test_another_program_reads_the_same(video: tuple[Path, bool]) -> None:
    call = ["ffprobe", "-v", "error", "-count_frames", "-show_streams", "-show_chapters", "-of", "json", str(video[0])]
    found = json.loads(subprocess.run(call, capture_output=True, check=True).stdout)
    kinds = [stream["codec_name"] for stream in found["streams"]]
    assert kinds[:3] == ["h264", "aac", "mov_text"]
    assert int(found["streams"][0]["nb_read_frames"]) == len(pictures(video[0]))
    assert len(found["chapters"]) == 2


def test_a_note_is_marked_when_it_is_heard(video: tuple[Path, bool]) -> None:
    """Onsets are measured in the decoded sound, marks in the decoded pictures; they differ by less than a picture."""
    path, _ = video
    first, samples = decoded_sound(path)
    loud = np.flatnonzero(np.abs(samples) > 0.2) / RATE_HZ + first
    onsets = loud[np.flatnonzero(np.diff(loud, prepend=-1.0) > 0.05)]
    place = picture_format("wide-720").staff
    changes, before = [], None
    for at, planes in pictures(path):
        height = planes.shape[0] * 2 // 3
        blue = planes[height:].reshape(-1)[: planes.shape[1] * height // 4].reshape(height // 2, -1)
        staff = blue[place.y // 2 : place.bottom // 2, place.x // 2 : place.right // 2]
        mark = np.flatnonzero((staff > ACCENT_BLUE).any(axis=0))
        now = (int(mark.min()), int(mark.max())) if len(mark) else None
        if now != before and now is not None:
            changes.append(at)
        before = now
    assert len(onsets) == 9
    for onset in onsets:
        assert min(abs(onset - change) for change in changes) < 1 / 30


def test_the_guide_itself_is_heard_with_the_first_mark(tmp_path: Path) -> None:
    """The real guide, no click: silence through the count-in, then the first note."""
    from partwright.sound import Music, make_timing, render_stems

    made = ready()
    music = Music(part=made.job.part, instrument=made.job.instrument, plan=made.work.plan, bowing=made.work.bowing)
    timing = make_timing(made.job.part, tempo_qpm=100, count_in_bars=1, passage=(0, 3))
    stem = render_stems(music, timing, wanted=("guide",), passage=(0, 3), seconds=5.0)["guide"]
    samples = np.stack([stem, stem])
    path = tmp_path / "guide.mp4"
    write_demonstration(path, demonstration(seconds=5.0), samples=samples, rate_hz=RATE_HZ, variable=True)
    first, heard = decoded_sound(path)
    level = np.abs(heard)
    onset = first + float(np.flatnonzero(level > 0.1 * level.max())[0]) / RATE_HZ
    place = picture_format("wide-720").staff
    for at, planes in pictures(path):
        height = planes.shape[0] * 2 // 3
        blue = planes[height:].reshape(-1)[: planes.shape[1] * height // 4].reshape(height // 2, -1)
        if (blue[place.y // 2 : place.bottom // 2, place.x // 2 : place.right // 2] > ACCENT_BLUE).any():
            assert abs(at - onset) < 1 / 30
            return
    raise AssertionError("no note was marked")


def test_the_same_again_is_the_same(tmp_path: Path) -> None:
    hashes = []
    for name in ("one.mp4", "two.mp4"):
        write_demonstration(
            tmp_path / name,
            demonstration(seconds=5.0),
            samples=impulses(ready().timing, 5.0),
            rate_hz=RATE_HZ,
            variable=True,
        )
        digest = hashlib.sha256()
        for at, planes in pictures(tmp_path / name):
            digest.update(f"{at:.6f}".encode())
            digest.update(np.ascontiguousarray(planes))
        hashes.append((digest.hexdigest(), hashlib.sha256((tmp_path / name).read_bytes()).hexdigest()))
    assert hashes[0] == hashes[1]


def test_an_interrupted_render_leaves_what_was_there(tmp_path: Path) -> None:
    path = tmp_path / "video.mp4"
    path.write_bytes(b"the one before")

    def some() -> Any:
        for number in range(5):
            yield number / 30, np.full((96, 64), 128, dtype=np.uint8)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_pictures(path, some(), width=64, height=64, seconds=1.0)
    assert path.read_bytes() == b"the one before"
    assert [p.name for p in tmp_path.iterdir()] == ["video.mp4"]


@pytest.mark.skipif(os.name != "posix", reason="a limit on the size of files is a thing of POSIX")
def test_a_full_disk_is_said_in_one_sentence(tmp_path: Path) -> None:
    """A process that may write no more than 20 kB to a file stands for a disk that is full."""
    code = (
        "import resource, signal, sys, numpy as np\n"
        "from pathlib import Path\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (20000, 20000))\n"
        "from partwright.errors import OutputError\n"
        "from partwright.video import write_pictures\n"
        "rng = np.random.default_rng(1)\n"
        "frames = ((n / 30, rng.integers(0, 255, (540, 640), dtype=np.uint8)) for n in range(40))\n"
        "try:\n"
        "    write_pictures(Path(sys.argv[1]), frames, width=640, height=360, seconds=2.0)\n"
        "except OutputError as error:\n"
        "    print(error)\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "video.mp4")], capture_output=True, text=True, timeout=120
    )
    assert "cannot be written" in ran.stdout, ran.stderr
    assert "Traceback" not in ran.stderr
    assert list(tmp_path.iterdir()) == []


# Overlays ------------------------------------------------------------------------------------------------------------


def _small_overlay() -> Overlay:
    pieces = (
        Piece(start_seconds=0.0, end_seconds=0.7, kind="title", words="Section A"),
        Piece(start_seconds=0.3, end_seconds=1.2, kind="line", words="F♯  3  D string"),
    )
    return Overlay(640, 360, pieces)


def _card(height: int, width: int) -> np.ndarray:
    rows, columns = np.mgrid[0:height, 0:width]
    return np.stack([columns * 255 // width, rows * 255 // height, (rows + columns) % 256], axis=-1).astype(np.uint8)


def _composed(overlay: np.ndarray, card: np.ndarray) -> np.ndarray:
    """Source over, W3C Compositing and Blending Level 1, 5.1: co = cs·αs + cb·(1 − αs)."""
    alpha = overlay[..., 3:].astype(float) / 255
    return overlay[..., :3] * alpha + card * (1 - alpha)


def test_the_animation_overlay_composes_exactly(tmp_path: Path) -> None:
    path, overlay = tmp_path / "overlay.mov", _small_overlay()
    assert write_overlay(path, overlay, kind="animation", seconds=1.5) == 45
    card = _card(360, 640)
    container: Any
    with av.open(str(path)) as container:
        frames = [frame.to_ndarray(format="rgba") for frame in container.decode(video=0)]
        assert container.streams.video[0].codec_context.name == "qtrle"
    assert len(frames) == 45
    for number in (0, 12, 25, 44):
        wanted = _composed(overlay.picture((number + 0.5) / 30), card)
        assert np.abs(_composed(frames[number], card) - wanted).max() <= 1.0
    assert frames[44][..., 3].max() == 0  # nothing is left at the end


def test_the_pictures_compose_in_another_library(tmp_path: Path) -> None:
    """Pillow's alpha compositing of our PNG over a card equals the formula within rounding."""
    image = pytest.importorskip("PIL.Image")
    overlay = _small_overlay()
    paths = write_overlay_pictures(tmp_path, overlay, seconds=1.5)
    card = _card(360, 640)
    over = image.open(paths[1])
    ground = image.fromarray(card).convert("RGBA")
    got = np.asarray(image.alpha_composite(ground, over))[..., :3].astype(float)
    wanted = _composed(np.asarray(over), card)
    assert np.abs(got - wanted).max() <= 1.0
    rows = (tmp_path / "pictures.csv").read_text().splitlines()[1:]
    assert sum(int(row.split(",")[2]) for row in rows) == 45


@pytest.mark.parametrize(("kind", "decoder"), [("prores", None), ("webm", "libvpx-vp9")])
def test_the_coded_overlays_keep_their_alpha(tmp_path: Path, kind: str, decoder: str | None) -> None:
    """ProRes 4444 and VP9 lose a little; on the average less than two steps of 255."""
    overlay = _small_overlay()
    path = tmp_path / ("overlay.mov" if kind == "prores" else "overlay.webm")
    write_overlay(path, overlay, kind=kind, seconds=0.5)
    container: Any
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        if decoder is None:
            frames = list(container.decode(stream))
        else:  # FFmpeg's own decoder leaves alpha aside
            context: Any = av.CodecContext.create(decoder, "r")
            frames = [frame for packet in container.demux(stream) for frame in context.decode(packet)]
    assert len(frames) == 15
    got = frames[3].reformat(format="rgba", src_colorspace=1, src_color_range=1).to_ndarray()
    want = overlay.picture(3.5 / 30)
    assert np.abs(got[..., 3].astype(int) - want[..., 3]).mean() < 2
    card = _card(360, 640)
    assert np.abs(_composed(got, card) - _composed(want, card)).mean() < 2


# Footage -------------------------------------------------------------------------------------------------------------


def _noted() -> tuple[Piece, ...]:
    return (Piece(start_seconds=0.5, end_seconds=1.5, kind="card", words="Correction\nBar 4: 1st finger, not 2nd"),)


def _packets(path: Path) -> list[tuple[float, bytes]]:
    container: Any
    with av.open(str(path)) as container:
        return [(round(float(p.pts * p.time_base), 4), bytes(p)) for p in container.demux(audio=0) if p.size]


def test_burnt_in_footage_keeps_its_sound_and_its_times(tmp_path: Path) -> None:
    """Variable rate, as phones record it: every picture at its own time, the sound packet by packet."""
    rng = np.random.default_rng(5)
    times = np.round(np.cumsum(np.concatenate([[0.0], rng.uniform(0.02, 0.06, 45)])), 4)
    source = tmp_path / "phone.mp4"
    footage(source, times=[float(t) for t in times], seconds=2.0)
    before = source.read_bytes()
    made = read_footage(source)
    overlay = Overlay(made.width, made.height, _noted())
    assert burn_in(made, tmp_path / "out.mp4", overlay) == len(times)
    assert source.read_bytes() == before
    assert [at for at, _ in pictures(tmp_path / "out.mp4")] == pytest.approx(times, abs=2e-4)
    assert _packets(tmp_path / "out.mp4") == _packets(source)


def test_a_card_on_footage_is_the_formula(tmp_path: Path) -> None:
    """Over one grey, the card's paper comes out as αF + (1 − α)B; beside and before it the footage is left alone."""
    source = tmp_path / "grey.mp4"
    footage(source, grey=100)
    made = read_footage(source)
    overlay = Overlay(made.width, made.height, _noted())
    burn_in(made, tmp_path / "out.mp4", overlay)
    (piece,) = overlay.placed(overlay.state_at(1.0))
    alpha = piece.pixels[2, 2, 3] / 255
    ground = pictures(source)[10][1][0, 0]
    paper = 0.2126 * 252 + 0.7152 * 250 + 0.0722 * 245
    wanted = alpha * (16 + paper * 219 / 255) + (1 - alpha) * ground
    shown = {round(at * 30): planes for at, planes in pictures(tmp_path / "out.mp4")}
    assert abs(int(shown[30][piece.y + 2, piece.x + 4]) - wanted) <= 3  # 2 of coding, 1 of rounding
    assert abs(int(shown[3][piece.y + 2, piece.x + 4]) - int(ground)) <= 2
    assert abs(int(shown[30][170, 10]) - int(ground)) <= 2


def test_footage_that_is_turned_stands_upright(tmp_path: Path) -> None:
    source, lying = tmp_path / "turned.mp4", tmp_path / "lying.mp4"
    footage(lying, width=320, height=180)
    turned(lying, source)
    made = read_footage(source)
    assert (made.width, made.height) == (180, 320)
    burn_in(made, tmp_path / "out.mp4", Overlay(made.width, made.height, _noted()))
    container: Any
    with av.open(str(tmp_path / "out.mp4")) as container:
        frame = next(container.decode(video=0))
        assert (frame.width, frame.height, getattr(frame, "rotation", 0)) == (180, 320, 0)
        red = frame.to_ndarray(format="rgb24")[..., 0].astype(float)
    # The card's red grows to the right; shown a quarter turn to the right, it grows downwards.
    assert red[300:, :].mean() > red[:20, :].mean() + 100


@pytest.mark.parametrize(
    ("ending", "wanted"),
    [
        ({"width": 321, "height": 181, "codec": "ffv1", "name": "odd.mkv", "sound": "flac"}, (322, 182)),
        ({"pixels": "yuv420p10le", "codec": "ffv1", "name": "ten.mkv", "sound": ""}, (320, 180)),
        ({"pixels": "yuv422p10le", "codec": "prores_ks", "name": "camera.mov", "sound": "pcm_s16le"}, (320, 180)),
    ],
)
def test_unusual_footage(tmp_path: Path, ending: dict[str, Any], wanted: tuple[int, int]) -> None:
    options = dict(ending)
    source = tmp_path / options.pop("name")
    footage(source, seconds=1.0, **options)
    made = read_footage(source)
    assert (made.width, made.height) == wanted
    assert made.remarks  # what had to be changed is said
    target = tmp_path / f"out.{'mp4' if made.container == 'mp4' else 'mov'}"
    assert burn_in(made, target, Overlay(made.width, made.height, _noted())) == 30
    assert pictures(target)[0][1].shape == (wanted[1] * 3 // 2, wanted[0])
    container: Any
    with av.open(str(target)) as container:
        assert [s.codec_context.name for s in container.streams.audio] == ([ending["sound"]] if ending["sound"] else [])


def test_what_is_no_film_is_said_in_one_sentence(tmp_path: Path) -> None:
    text = tmp_path / "film.mp4"
    text.write_text("not a film")
    with pytest.raises(InputError, match="not a video"):
        read_footage(text)
    with pytest.raises(InputError, match="not there"):
        read_footage(tmp_path / "none.mp4")
    only_sound = tmp_path / "sound.m4a"
    container: Any
    with av.open(str(only_sound), "w", format="ipod") as container:
        stream = container.add_stream("aac", rate=RATE_HZ)
        stream.layout = "stereo"
        frame = av.AudioFrame.from_ndarray(np.zeros((2, 1024), np.float32), "fltp", "stereo")
        frame.sample_rate, frame.pts, frame.time_base = RATE_HZ, 0, Fraction(1, RATE_HZ)
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    with pytest.raises(InputError, match="holds no picture"):
        read_footage(only_sound)


def test_a_film_cut_short_gives_what_it_holds(tmp_path: Path) -> None:
    whole, cut = tmp_path / "whole.mkv", tmp_path / "cut.mkv"
    footage(whole, seconds=2.0)
    cut.write_bytes(whole.read_bytes()[: whole.stat().st_size * 6 // 10])
    made = read_footage(cut)
    assert 5 < burn_in(made, tmp_path / "out.mp4", Overlay(made.width, made.height, ())) < 60


def test_the_recording_is_never_overwritten(tmp_path: Path) -> None:
    source = tmp_path / "film.mp4"
    footage(source, seconds=0.5)
    made = read_footage(source)
    with pytest.raises(InputError, match="recording itself"):
        burn_in(made, source, Overlay(made.width, made.height, ()))
    with pytest.raises(OutputError):
        burn_in(made, tmp_path / "no folder" / "x.mp4", Overlay(made.width, made.height, ()))


def test_nothing_is_put_over_the_hands() -> None:
    made = ready()
    pieces = timeline_pieces(made.timeline, made.job.instrument)
    hands = (30.0, 40.0, 100.0, 100.0)
    overlay = Overlay(1280, 720, (*pieces, *_noted()), hands=hands)
    for seconds in np.arange(0, made.timeline.seconds, 0.37):
        picture = overlay.picture(float(seconds))
        assert picture[288:, 384:, 3].max() == 0
    assert overlay.picture(10.0)[..., 3].max() > 0


def test_a_png_of_ours_is_read_by_another_library() -> None:
    image = pytest.importorskip("PIL.Image")
    pixels = np.random.default_rng(2).integers(0, 256, (20, 30, 4), dtype=np.uint8)
    assert (np.asarray(image.open(io.BytesIO(pixels_png(pixels)))) == pixels).all()


def test_chapters_of_the_whole_tune_follow_its_sections() -> None:
    made = ready()
    chapters = demonstration_chapters(made.timeline)
    assert chapters[0].start_seconds == 0
    assert [c.end_seconds for c in chapters[:-1]] == [c.start_seconds for c in chapters[1:]]
    # 47 bars of three quarters at 100 (the tune's own metre and tempo): section B begins after 2 × A.
    starts = {c.title.partition(",")[0]: c.start_seconds for c in chapters if "again" not in c.title}
    bar = next(b for b in made.timing.bars if b.bar == "11")
    assert starts["Section B"] == pytest.approx(bar.start_seconds, abs=0.001)
