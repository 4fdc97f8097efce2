"""Tones written to a file read back at their level, and no file is left incomplete or overwritten."""

from __future__ import annotations

import stat
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from bench.audio.file import Capture
from bench.audio.write import write_source
from bench.problem import Problem
from bench.signals.tones import SteadyTone, Tone, ToneSequence

RATE = 48000


def read(path: Path) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    return np.concatenate(list(Capture(path).blocks()))


@pytest.mark.parametrize("ending", ["wav", "flac", "aiff"])
@pytest.mark.parametrize("bits", [16, 24])
def test_what_is_written_is_what_is_sent_within_its_dither(tmp_path: Path, ending: str, bits: int) -> None:
    path = tmp_path / f"tones.{ending}"
    source = ToneSequence([Tone(997.0, -20.0, 2.0), Tone(10000.0, 0.0, 1.0, "left")], RATE)
    write_source(path, source, RATE, bits)
    assert soundfile.info(path).subtype == f"PCM_{bits}"
    error = (read(path) - source.render(0, source.frames or 0)) * 2.0 ** (bits - 1)
    assert np.abs(error).max() <= 1.5 + 1e-6  # rounding by half a step, triangular dither by one
    # Triangular dither of two steps and the rounding make white noise of 1/4 step squared (its textbook figure).
    assert np.mean(error[:RATE] ** 2) == pytest.approx(0.25, rel=0.03)


def test_a_tone_below_one_step_of_16_bits_is_still_there(tmp_path: Path) -> None:
    """The reason for the dither: without it this file would be silent."""
    path = tmp_path / "low.wav"
    write_source(path, SteadyTone(Tone(1000.0, -100.0, 4.0), RATE), RATE, 16)
    left = read(path)[:, 0]
    t = np.arange(len(left)) / RATE
    amplitude = 2.0 * abs(np.mean(left * np.exp(-2j * np.pi * 1000.0 * t)))
    assert 20.0 * np.log10(amplitude) == pytest.approx(-100.0, abs=0.5)


def test_nothing_is_written_over_unless_forced(tmp_path: Path) -> None:
    path = tmp_path / "tones.wav"
    source = SteadyTone(Tone(1000.0, -10.0, 0.1), RATE)
    path.write_text("someone's")
    with pytest.raises(Problem, match="is there already"):
        write_source(path, source, RATE, 16)
    assert path.read_text() == "someone's"
    write_source(path, source, RATE, 16, force=True)
    assert Capture(path).frames == 4800
    assert [p.name for p in tmp_path.iterdir()] == ["tones.wav"]


def test_a_file_that_appears_meanwhile_is_not_written_over(tmp_path: Path) -> None:
    path = tmp_path / "tones.wav"

    class Slow(SteadyTone):
        def render(self, start: int, frames: int) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
            path.write_text("another's")
            return super().render(start, frames)

    with pytest.raises(Problem, match="is there already"):
        write_source(path, Slow(Tone(1000.0, -10.0, 0.1), RATE), RATE, 16)
    assert path.read_text() == "another's"


def test_a_write_that_fails_leaves_nothing_behind(tmp_path: Path) -> None:
    class Breaks(SteadyTone):
        def render(self, start: int, frames: int) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
            if start:
                raise MemoryError
            return super().render(start, frames)

    with pytest.raises(MemoryError):
        write_source(tmp_path / "tones.wav", Breaks(Tone(1000.0, -10.0, 10.0), RATE), RATE, 16)
    assert list(tmp_path.iterdir()) == []


def test_the_file_is_as_readable_as_any(tmp_path: Path) -> None:
    write_source(tmp_path / "tones.wav", SteadyTone(Tone(1000.0, -10.0, 0.1), RATE), RATE, 16)
    (tmp_path / "other").touch()
    modes = {stat.S_IMODE(p.stat().st_mode) for p in tmp_path.iterdir()}
    assert len(modes) == 1


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("tones.txt", "ends in .wav, .flac"),
        ("nowhere/tones.wav", "can't be written: No such file or directory"),
        (".", "ends in"),
    ],
)
def test_where_it_can_not_be_written_is_one_sentence(tmp_path: Path, name: str, said: str) -> None:
    with pytest.raises(Problem) as caught:
        write_source(tmp_path / name, SteadyTone(Tone(1000.0, -10.0, 0.1), RATE), RATE, 16)
    assert said in caught.value.sentence


def test_a_source_without_end_and_a_rate_that_the_format_has_not(tmp_path: Path) -> None:
    with pytest.raises(Problem, match="never ends"):
        write_source(tmp_path / "tones.wav", SteadyTone(Tone(1000.0, -10.0), RATE), RATE, 16)
    with pytest.raises(Problem, match=r"\.flac can't be written at 768000 Hz"):
        write_source(tmp_path / "tones.flac", SteadyTone(Tone(1000.0, -10.0, 0.1), 768000), 768000, 16)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(sys.platform == "win32", reason="limits of file size are POSIX")
def test_a_full_disk_is_named_and_leaves_no_file(tmp_path: Path) -> None:
    import resource

    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, before[1]))  # the system refuses the rest, as a full disk does
    try:
        with pytest.raises(Problem, match="the disk is full"):
            write_source(tmp_path / "tones.wav", SteadyTone(Tone(1000.0, -20.0, 4.0), RATE), RATE, 24)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert list(tmp_path.iterdir()) == []
