"""The demodulator against the definition: A cos(2π f t + φ) becomes A exp(i(2π(f - f0)t + φ))."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.cases import cases
from tests.measure.tone.demodulated import Demodulator, demodulate

EDGE = 16


@pytest.mark.parametrize("rate", [8000, 44100, 48000, 96000, 192000, 47999])
@pytest.mark.parametrize("offset", [-390.0, -100.0, 0.0, 37.0, 390.0])
def test_a_tone_comes_down_as_defined(rate: int, offset: float) -> None:
    hz = 2500.0 + offset
    t = np.arange(rate) / rate
    z, points, zero = demodulate((0.5 * np.cos(2 * np.pi * hz * t + 0.3))[:, None], rate, 2500.0)
    p = np.arange(len(z)) / points
    ratio = z[EDGE:-EDGE, 0] / (0.5 * np.exp(1j * (2 * np.pi * (hz - zero) * p + 0.3)))[EDGE:-EDGE]
    # 0.0005 dB is 5.8e-5; the demodulator is far better.
    assert np.max(np.abs(ratio - 1.0)) < 1e-5
    assert len(z) == -(-rate // round(rate / 2000.0))


@pytest.mark.parametrize("offset", [1000.0, 1500.0, 4000.0])
def test_what_is_far_away_is_kept_out(offset: float) -> None:
    t = np.arange(48000) / 48000
    z, _, _ = demodulate(np.cos(2 * np.pi * (5000.0 + offset) * t)[:, None], 48000, 5000.0)
    assert 20 * np.log10(np.max(np.abs(z[EDGE:-EDGE]))) < -105.0


@cases(20)
@given(
    blocks=st.lists(st.integers(1, 9000), min_size=1, max_size=5),
    rate=st.sampled_from([8000.0, 44100.0, 48000.0]),
    hz=st.floats(30.0, 3500.0),
)
def test_any_split_into_blocks_gives_the_same(blocks: list[int], rate: float, hz: float) -> None:
    x = np.random.default_rng(1).standard_normal((17000, 2))
    whole, _, _ = demodulate(x, rate, hz)
    tracker = Demodulator(rate, 2, hz)
    pieces, at, sizes = [], 0, itertools.cycle(blocks)
    while at < len(x):
        size = next(sizes)
        pieces.append(tracker.feed(x[at : at + size]))
        at += size
    pieces.append(tracker.finish())
    assert np.array_equal(np.concatenate(pieces), whole)
