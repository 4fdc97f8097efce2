"""The live flag for hum, against sums of sines of known levels (AES17: a full-scale sine is 0 dBFS)."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.quantities.hum_watch import HumWatch

RATE = 48000


def tone(hz: float, dbfs: float, seconds: float = 1.0) -> np.ndarray:
    t = np.arange(round(seconds * RATE)) / RATE
    return 10 ** (dbfs / 20) * np.sin(2 * np.pi * hz * t + 0.3)


def watched(mono: np.ndarray, rate: int = RATE, block: int = 1000) -> HumWatch:
    watch = HumWatch(rate)
    noise = np.random.default_rng(1).normal(0, 1e-4, (len(mono), 2))
    samples = noise + mono[:, None]
    for start in range(0, len(samples), block):
        watch.feed(samples[start : start + block])
    return watch


@pytest.mark.parametrize("mains", [50.0, 60.0])
def test_hum_is_named_with_its_level_and_how_far_it_lies_below(mains: float) -> None:
    hum = tone(mains, -40.0) + tone(3 * mains, -46.0)
    found = watched(tone(1000.0, -20.0) + hum).found
    assert found is not None
    together = 10 * np.log10(10**-4.0 + 10**-4.6)
    assert found[0] == mains
    assert found[1] == pytest.approx(together, abs=0.5)
    assert found[2] == pytest.approx(-20.0 - together, abs=0.7)


@pytest.mark.parametrize("hz", [40.0, 50.0, 60.0, 63.0, 100.0, 120.0, 315.0, 400.0, 1000.0, 6300.0, 12500.0])
def test_no_single_tone_is_taken_for_hum(hz: float) -> None:
    assert watched(tone(hz, -10.0)).found is None


def test_silence_and_hum_far_below_the_sound_are_not_told() -> None:
    assert watched(np.zeros(RATE)).found is None
    faint = tone(50.0, -60.0) + tone(150.0, -62.0)
    assert watched(tone(1000.0, -20.0) + faint).found is None


def test_block_sizes_and_rates_make_no_difference() -> None:
    hum = tone(50.0, -30.0) + tone(100.0, -36.0)
    one, other = watched(hum, block=480), watched(hum, block=7001)
    assert one.found == pytest.approx(other.found)
    assert watched(hum[::1], rate=44100).found is None  # 50 Hz read at another rate is 45.9 Hz: no mains
