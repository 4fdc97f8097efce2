"""One channel with everything but its tone removed, on synthetic basebands."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.tone.channel_phase import BasebandFacts, follow_tone
from tests.measure.tone.demodulated import demodulate

RATE = 48000


@pytest.mark.parametrize("mains_hz", [49.9, 60.05])
def test_hum_beside_a_low_tone_is_found_and_taken_out(mains_hz: float) -> None:
    rng = np.random.default_rng(1)
    t = np.arange(2 * RATE) / RATE
    hz = 55.0
    x = 0.1 * np.sin(2 * np.pi * hz * t + 1.0) + 0.004 * np.sin(2 * np.pi * mains_hz * t) + 0.05
    x += 1e-5 * rng.standard_normal(len(t))
    z, rate, zero = demodulate(x[:, None], RATE, hz)
    z = z[16:-16, 0]
    turn = np.asarray(2 * np.pi * (hz - zero) / rate * np.arange(len(z)), dtype=np.float64)
    voice = follow_tone(z, BasebandFacts(rate, zero, 400.0), hz - zero, turn, lines=None, glance=False)
    assert [round(f + zero, 1) for f in voice.lines] == [
        mains_hz if mains_hz != 60.05 else pytest.approx(60.05, abs=0.06)
    ]
    assert voice.amplitude == pytest.approx(0.1, rel=1e-5)
    assert np.std(voice.phase - turn - np.mean(voice.phase - turn)) < 1e-3


def test_a_dropout_is_bridged_in_the_phase() -> None:
    rate, n = 2000.0, 4000
    rng = np.random.default_rng(2)
    turn = np.asarray(2 * np.pi * 3.0 / rate * np.arange(n), dtype=np.float64)
    z = 0.1 * np.exp(1j * turn) + 1e-4 * (rng.standard_normal(n) + 1j * rng.standard_normal(n))
    z[2000:2060] *= 0.001
    voice = follow_tone(z, BasebandFacts(rate, 5000.0, 400.0), 3.0, turn, lines=None, glance=False)
    assert 0.97 < np.mean(voice.kept) < 0.99
    assert voice.amplitude == pytest.approx(0.1, rel=1e-3)
    assert np.max(np.abs(voice.noisy_phase() - turn)) < 0.02
