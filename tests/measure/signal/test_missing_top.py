"""A capture that went through lossy coding is recognised, and its readings are less certain."""

from __future__ import annotations

import io

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from tests.measure.whole_array import level
from tests.results import a_reading
from tests.rough_tape.grades import GRADES, Grade
from tests.rough_tape.scenes import single

RATE = 44100


def coded(samples: NDArray[np.float64], form: str, subtype: str) -> NDArray[np.float64]:
    """Encode and decode it."""
    file = io.BytesIO()
    soundfile.write(file, samples, RATE, format=form, subtype=subtype, compression_level=0.6)
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
