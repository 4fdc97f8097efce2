"""A capture that went through lossy coding is recognised, and its readings are less certain."""

from __future__ import annotations

import io

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from bench.measure.reading import Reading
from tests.measure.whole_array import azimuth, level
from tests.results import a_reading
from tests.rough_tape.grades import GRADES, Grade
from tests.rough_tape.scenes import single

RATE = 44100


def coded(
    samples: NDArray[np.float64], form: str, subtype: str, rate: int = RATE, compression: float = 0.6
) -> NDArray[np.float64]:
    """Encode and decode it."""
    file = io.BytesIO()
    soundfile.write(file, samples, rate, format=form, subtype=subtype, compression_level=compression)
    file.seek(0)
    return np.asarray(soundfile.read(file)[0])


@pytest.mark.parametrize("grade", GRADES, ids=[g.name for g in GRADES])
def test_lossy_coding_is_told_and_tape_is_not_taken_for_it(grade: Grade) -> None:
    capture = single(np.random.default_rng(5), grade, 1000.0, -10.0, 3.0, rate=float(RATE), bits=16)
    plain = level(capture.samples, RATE)
    assert not any("lossy" in w for w in plain.warnings)
    for form, subtype in (("OGG", "VORBIS"), ("MP3", "MPEG_LAYER_III")):
        told = level(coded(capture.samples, form, subtype), RATE)
        assert any("lossy" in w for w in told.warnings)
        assert a_reading(told.readings[0]).uncertainty > 0.3
        assert a_reading(told.readings[0]).value == pytest.approx(a_reading(plain.readings[0]).value, abs=0.3)


@pytest.mark.parametrize("bits", [16, 24])
def test_a_file_decoded_from_opus_is_told(bits: int) -> None:
    """At 115 kbit/s it holds everything up to 20 kHz, and above it less than any converter's noise."""
    capture = single(np.random.default_rng(6), GRADES[2], 1000.0, -10.0, 3.0, rate=48000.0, bits=bits)
    assert not any("lossy" in w for w in level(capture.samples, 48000).warnings)
    told = level(coded(capture.samples, "OGG", "OPUS", 48000, 0.8), 48000)
    assert any("lossy" in w for w in told.warnings)


def test_a_file_of_two_tones_is_not_taken_for_lossy_coding() -> None:
    """Where a tone begins and ends there is sound at all frequencies, for a moment."""
    time = np.arange(3 * RATE) / RATE
    faded = np.clip(np.minimum(time, 3.0 - time) / 0.01, 0.0, 1.0)
    low, high = (0.3 * faded * np.sin(2 * np.pi * hz * time) for hz in (400.0, 10000.0))
    gap = np.zeros(RATE // 2)
    file = io.BytesIO()
    soundfile.write(file, np.concatenate([gap, low, gap, high, gap]), RATE, format="WAV", subtype="PCM_24")
    file.seek(0)
    assert not any("lossy" in w for w in level(np.asarray(soundfile.read(file)[0])[:, None], RATE).warnings)


@pytest.mark.parametrize(("compression", "kept"), [(0.5, True), (0.85, False)])
def test_joint_stereo_of_a_coder_leaves_no_azimuth(compression: float, kept: bool) -> None:
    """Opus at 90 kbit/s makes the channels copies of each other at 10 kHz; at 260 kbit/s it keeps the delay."""
    capture = single(np.random.default_rng(2), GRADES[2], 10000.0, -20.0, 4.0, rate=48000.0, bits=16)
    told = azimuth(coded(capture.samples, "OGG", "OPUS", 48000, compression), 48000)
    delays = [r for r in told.readings if r.quantity == "azimuth_delay" and isinstance(r, Reading)]
    assert bool(delays) == kept
