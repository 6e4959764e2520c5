"""The key of a recording, heard: chords of known keys, tuned apart from A = 440 Hz; what is no music."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from partwright.errors import AudioError
from partwright.sound import FORMATS, encode_audio, heard_key

RATE = 22_050
# Cadences I IV V I of major and i iv V i of minor keys, as pitch classes above the tonic (common practice, no source).
MAJOR = ((0, 4, 7), (5, 9, 0), (7, 11, 2), (0, 4, 7))
MINOR = ((0, 3, 7), (5, 8, 0), (7, 11, 2), (0, 3, 7))


def cadence(tonic: int, chords: tuple[tuple[int, ...], ...], *, cents: float = 0.0) -> np.ndarray:
    """Chords of six falling partials, a second each, over a low root; shape (1, frames)."""
    time = np.arange(RATE) / RATE
    sound = []
    for chord in chords:
        wave = np.zeros(RATE)
        for midi in (36 + (tonic + chord[0]) % 12, *(60 + (tonic + c) % 12 for c in chord)):
            hz = 440.0 * 2 ** ((midi - 69 + cents / 100) / 12)
            wave += sum(np.sin(2 * np.pi * n * hz * time) / n for n in range(1, 7))
        sound.append(wave * np.minimum(1, (1 - time) * 8))
    joined = np.concatenate(sound)
    return (0.3 * joined / np.abs(joined).max())[None].astype(np.float32)


@pytest.mark.parametrize(("tonic", "name"), [(0, "C"), (2, "D"), (7, "G"), (9, "A"), (10, "Bb"), (6, "F#"), (4, "E")])
@pytest.mark.parametrize("cents", [-30.0, 0.0, 25.0])
def test_major_cadences_are_heard_in_their_key(tmp_path: Path, tonic: int, name: str, cents: float) -> None:
    path = tmp_path / "backing.flac"
    path.write_bytes(encode_audio(cadence(tonic, MAJOR * 3, cents=cents), RATE, FORMATS[".flac"]))
    heard = heard_key(path)
    assert heard.key in (f"{name} major", {"F#": "Gb"}.get(name, name) + " major")
    assert heard.tuning_cents == pytest.approx(cents, abs=6)


@pytest.mark.parametrize(("tonic", "name"), [(9, "A"), (4, "E"), (2, "D"), (0, "C")])
def test_minor_cadences_are_heard_in_their_key(tmp_path: Path, tonic: int, name: str) -> None:
    path = tmp_path / "backing.flac"
    path.write_bytes(encode_audio(cadence(tonic, MINOR * 3), RATE, FORMATS[".flac"]))
    assert heard_key(path).key == f"{name} minor"


@pytest.mark.parametrize("samples", [np.zeros((1, RATE), np.float32), np.zeros((1, 200), np.float32)])
def test_a_recording_without_notes_is_refused(tmp_path: Path, samples: np.ndarray) -> None:
    path = tmp_path / "silence.wav"
    path.write_bytes(encode_audio(samples, RATE, FORMATS[".wav"]))
    with pytest.raises(AudioError, match="no notes"):
        heard_key(path)
