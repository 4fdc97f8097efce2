"""The exact ends of a stretch."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.tone.finding.steady_edges import exact
from tests.measure.tone.demodulated import demodulate


@pytest.mark.parametrize("hz", [40.0, 315.0, 10000.0])
def test_nothing_but_the_tone_is_left_and_hardly_any_of_it_is_lost(hz: float) -> None:
    rate = 48000
    t = np.arange(rate) / rate
    x = np.concatenate([np.zeros(rate // 2), 0.1 * np.sin(2 * np.pi * hz * t), np.zeros(rate // 2)])
    x += 1e-5 * np.random.default_rng(0).standard_normal(len(x)) + 0.003
    z, points, zero = demodulate(x[:, None], rate, hz)
    first, last = exact(z[:, 0], points, (1030, 2970), 32, tone_hz=hz, oscillator_hz=zero)
    # The filter spans 12.4 points either side of 0.5 s and 1.5 s: points 1013 to 2987 see the tone alone.
    assert 1009 <= first <= 1013 + 12
    assert 2987 - 12 <= last <= 2991


@pytest.mark.parametrize("hz", [63.0, 315.0, 1000.0, 10000.0])
@pytest.mark.parametrize("attack", ["exponential", "cosine", "straight"])
def test_a_slow_attack_is_left_out_beyond_what_can_be_seen(hz: float, attack: str) -> None:
    # An amplifier settles within 15 ms; a fade takes 100 ms. The remainder must not affect the mean level.
    rate = 48000
    t = np.arange(2 * rate) / rate
    both = np.minimum(t, t[::-1])
    rising = {
        "exponential": 1.0 - np.exp(-both / 0.015),
        "cosine": np.sin(np.pi / 2 * np.minimum(both / 0.1, 1.0)) ** 2,
        "straight": np.minimum(both / 0.1, 1.0),
    }[attack]
    x = np.concatenate([np.zeros(rate // 2), 0.1 * rising * np.sin(2 * np.pi * hz * t), np.zeros(rate // 2)])
    x += 1e-6 * np.random.default_rng(0).standard_normal(len(x))
    z, points, zero = demodulate(x[:, None], rate, hz)
    # Where the level is within 0.15 dB of what follows: 4 of the 15 ms after the start, or 98 % of the fade.
    about = (1120, 4880) if attack == "exponential" else (1190, 4810)
    first, last = exact(z[:, 0], points, about, 32, tone_hz=hz, oscillator_hz=zero)
    start, stop = (round((p / points - 0.5) * rate) for p in (first, last))
    assert 1.0 - float(np.mean(rising[start:stop])) < 1e-5
    assert stop - start > 1.6 * rate
