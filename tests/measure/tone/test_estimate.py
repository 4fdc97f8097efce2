"""Level, frequency and phase of a stretch against the Cramér-Rao bounds of a steady tone in white noise.

Bounds: Rife and Boorstyn, IEEE Trans. Inf. Theory IT-20 (1974); with K = samples × SNR of a sample, level
8.686/√K dB, frequency √(12/K)/(2π T) Hz, phase difference of two channels √(2/K) rad (computed).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from bench.measure.tone.estimate import ChannelTone, measure_stretch
from tests.measure.spoiled import Tone, hiss, hum, knowledge, stereo
from tests.measure.tone.demodulated import demodulate
from tests.measure.whole_array import find_tones

RATE = 48000.0
FLUTTER = ((4.0, 0.001), (20.0, 0.0005))
SPOILED = {"flutter": FLUTTER, "speed": 0.03, "harmonics": (0.01, 0.03)}


@dataclass(frozen=True)
class Errors:
    """Errors of each trial, in units of the bounds."""

    level: NDArray[np.float64]
    frequency: NDArray[np.float64]
    delay: NDArray[np.float64]
    covered: NDArray[np.float64]
    """Share of trials within the stated uncertainty: level, frequency, delay."""


def trials(tone: Tone, snr_db: float, count: int, *, with_hum: bool, seed: int = 1) -> Errors:
    rng = np.random.default_rng(seed)
    k = knowledge(tone.seconds, snr_db)
    hz = tone.hz * (1.0 + tone.speed)
    bounds = (8.686 / np.sqrt(k), np.sqrt(12.0 / k) / (2 * np.pi * tone.seconds), np.sqrt(2.0 / k))
    errors, inside = [], []
    for _ in range(count):
        x = stereo(tone, RATE, rng)
        if with_hum:
            x = x + hum(len(x), tone.dbfs - 30.0, RATE, rng)
        x = x + hiss(len(x), tone.dbfs - snr_db, RATE, rng)
        (found,) = [f for f in find_tones(x, RATE) if abs(f.frequency_hz / hz - 1.0) < 0.02]
        left, pair = found.tones[0], found.pair
        assert pair is not None
        late = pair.lag_rad - 2 * np.pi * pair.frequency_hz * tone.delay_s
        off = (
            left.dbfs - tone.dbfs,
            left.frequency_hz - hz,
            late - 2 * np.pi * round(late / (2 * np.pi)),
        )
        told = (left.dbfs_uncertainty, left.frequency_uncertainty_hz, pair.uncertainty_rad)
        errors.append([e / b for e, b in zip(off, bounds, strict=True)])
        inside.append([abs(e) < u for e, u in zip(off, told, strict=True)])
    e = np.array(errors)
    return Errors(e[:, 0], e[:, 1], e[:, 2], np.mean(inside, axis=0))


def near_the_bound(errors: Errors, count: int) -> None:
    """Standard deviation at most 1.1 bounds, and bias 0.2, with three standard errors of the trials themselves."""
    for e in (errors.level, errors.frequency, errors.delay):
        assert np.std(e) < 1.1 * (1.0 + 3.0 / np.sqrt(2 * count))
        assert abs(np.mean(e)) < 0.2 + 3.0 / np.sqrt(count)


@pytest.mark.parametrize(("hz", "seconds"), [(1000.0, 1.0), (10000.0, 1.0), (63.0, 1.0)])
@pytest.mark.parametrize("snr_db", [40.0, 60.0])
def test_a_steady_tone_is_read_at_the_bound(hz: float, seconds: float, snr_db: float) -> None:
    near_the_bound(trials(Tone(hz, -10.0, seconds, delay_s=7e-6), snr_db, 16, with_hum=False), 16)


@pytest.mark.parametrize("hz", [1000.0, 10000.0])
def test_so_is_a_spoiled_one(hz: float) -> None:
    near_the_bound(trials(Tone(hz, -20.0, 1.5, delay_s=7e-6, **SPOILED), 50.0, 12, with_hum=True), 12)  # type: ignore[arg-type]


@pytest.mark.long
@pytest.mark.parametrize(
    ("hz", "seconds"), [(1000.0, 1.0), (3150.0, 10.0), (10000.0, 1.0), (315.0, 2.0), (63.0, 2.0), (40.0, 3.0)]
)
@pytest.mark.parametrize("snr_db", [40.0, 50.0, 60.0])
@pytest.mark.parametrize("spoiled", [False, True])
def test_five_hundred_trials_stay_near_the_bound(hz: float, seconds: float, snr_db: float, spoiled: bool) -> None:
    count = 100 if seconds > 5 else 200
    tone = Tone(hz, -10.0, seconds, delay_s=7e-6, **(SPOILED if spoiled else {}))  # type: ignore[arg-type]
    errors = trials(tone, snr_db, count, with_hum=spoiled)
    near_the_bound(errors, count)
    assert np.all(errors.covered > 0.9)


def test_flutter_takes_nothing_off_the_level() -> None:
    # 10 kHz under 0.1 % peak at 4 Hz, 50 dB: a long transform's bin would be 6 dB low.
    rng = np.random.default_rng(3)
    x = stereo(Tone(10000.0, -20.0, 1.4, flutter=((4.0, 0.001),)), RATE, rng)
    (found,) = find_tones(x + hiss(len(x), -70.0, RATE, rng), RATE)
    assert abs(found.tones[0].dbfs + 20.0) < 0.001


def test_direct_current_hum_and_harmonics_are_no_part_of_a_low_tone() -> None:
    rng = np.random.default_rng(4)
    x = stereo(Tone(63.0, -20.0, 1.5, harmonics=(0.02, 0.03)), RATE, rng)
    x = x + hum(len(x), -50.0, RATE, rng) + 0.2 + hiss(len(x), -80.0, RATE, rng)
    (found,) = [f for f in find_tones(x, RATE) if abs(f.frequency_hz - 63.0) < 1.0]
    assert abs(found.tones[0].dbfs + 20.0) < 0.001


def test_clicks_and_dropouts_are_passed_over() -> None:
    rng = np.random.default_rng(5)
    x = stereo(Tone(10000.0, -20.0, 3.0), RATE, rng)
    for at in rng.integers(10000, 130000, 5):
        x[at] += 0.8
    x[60000:62000] *= 0.2
    (found,) = find_tones(x + hiss(len(x), -75.0, RATE, rng), RATE)
    assert found.duration_s > 2.9
    assert abs(found.tones[0].dbfs + 20.0) < 0.002


def test_the_pair_tells_lag_frequency_and_weave() -> None:
    rng = np.random.default_rng(6)
    seconds, hz = 4.0, 8000.0
    t = np.arange(round(seconds * RATE)) / RATE
    delay = 5e-6 + 2e-6 * np.sin(2 * np.pi * 1.5 * t)
    x = 0.1 * np.stack([np.sin(2 * np.pi * hz * t), np.sin(2 * np.pi * hz * (t - delay))], axis=1)
    z, rate, zero = demodulate(x + hiss(len(x), -70.0, RATE, rng), RATE, hz)
    _, pair = measure_stretch(z[20:-20], rate, zero, hz)
    assert pair is not None
    turn = 2 * np.pi * hz
    assert pair.lag_rad / turn == pytest.approx(5e-6, abs=0.05e-6)
    assert pair.weave_rad / turn == pytest.approx(2e-6 / np.sqrt(2), rel=0.02)
    assert pair.frequency_hz == pytest.approx(hz, abs=0.001)


def test_no_tone_has_no_level() -> None:
    assert ChannelTone(0.0, 1e-6, 1000.0, 1.0, present=False).dbfs_uncertainty == np.inf
