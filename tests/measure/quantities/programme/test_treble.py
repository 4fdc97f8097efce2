"""The fall of the treble of programme, on noise of known density."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.meters import make_meter
from bench.measure.reading import Result
from tests.results import a_reading, no_reading

RATE = 48000


def read(sound: np.ndarray, rate: int = RATE) -> Result:
    meter = make_meter("programme_treble", rate, 2)
    meter.feed(sound)
    (result,) = meter.finish().readings
    return result


def noise(seconds: float, octave_db: float) -> np.ndarray:
    """Noise whose power density falls by so many dB an octave."""
    rng = np.random.default_rng(3)
    frames = round(seconds * RATE)
    hz = np.maximum(np.fft.rfftfreq(frames, 1 / RATE), 20.0)
    shape = 10 ** (octave_db * np.log2(hz / 1000.0) / 20)
    sound = np.fft.irfft(np.fft.rfft(rng.standard_normal((frames, 2)), axis=0) * shape[:, None], frames, axis=0)
    return np.asarray(0.1 * sound / np.abs(sound).max())


@pytest.mark.parametrize("octave_db", [0.0, -3.0, -6.0])
def test_the_fall_between_the_bands(octave_db: float) -> None:
    # The mean of f^n over a band is (high^(n+1) - low^(n+1)) / ((n+1)(high - low)); for n = -1 a logarithm.
    n = octave_db / (10 * np.log10(2))

    def mean(low: float, high: float) -> float:
        whole = np.log(high / low) if abs(n + 1) < 0.01 else (high ** (n + 1) - low ** (n + 1)) / (n + 1)
        return float(whole / (high - low))

    wanted = 10 * np.log10(mean(5000, 12500) / mean(400, 1000))
    assert a_reading(read(noise(10.0, octave_db))).value == pytest.approx(wanted, abs=0.3)


def test_soft_passages_of_hiss_do_not_count() -> None:
    loud, soft = noise(5.0, -6.0), 10 ** (-40 / 20) * noise(10.0, 0.0)
    assert a_reading(read(np.concatenate((loud, soft)))).value == pytest.approx(a_reading(read(loud)).value, abs=0.3)


def test_where_there_is_too_little_there_is_no_reading() -> None:
    assert "nothing is heard" in no_reading(read(np.zeros((RATE * 6, 2)))).reason
    assert "let it play on" in no_reading(read(noise(2.0, -3.0))).reason
    assert "too little treble" in no_reading(read(noise(6.0, -3.0), 22050)).reason
