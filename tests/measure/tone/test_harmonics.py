"""Harmonics are computed only where the tone can fill a block, which must change no block."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.signal.spectral_peaks import hann_power, strongest_peaks
from bench.measure.tone import harmonics as module
from bench.measure.tone.demodulator import HALF, RATE_HZ, Spectra
from bench.measure.tone.follower import Chunk, Follower
from bench.measure.tone.harmonics import Harmonics

RATE = 48000.0
BATCH = 16


def blocks(x: np.ndarray) -> tuple[list[np.ndarray], int]:
    """The level, the harmonics and the frequency in each block; and how many basebands that took."""
    spectra = Spectra(RATE, 2)
    found = Harmonics(Follower(spectra, 900.0, 1100.0), highest=3)
    chunks = [
        Chunk(n, s, strongest_peaks(hann_power(s, spectra.bin_hz), spectra.bin_hz))
        for n, s in enumerate([*spectra.feed(x), *spectra.finish()])
    ]
    taken = 0
    whole = spectra.basebands

    def counted(*args: object) -> np.ndarray:
        nonlocal taken
        taken += 1
        return whole(*args)  # type: ignore[arg-type]

    spectra.basebands = counted  # type: ignore[method-assign, assignment]
    for at in range(0, len(chunks), BATCH):
        for piece in found.follower.take(chunks[at : at + BATCH]):
            found.take(piece)
    return [part for channel in (0, 1) for part in found.blocks(channel)], taken


@pytest.mark.parametrize("seed", range(6))
def test_what_is_not_computed_is_not_needed(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """A tone that comes and goes near the boundaries between batches, in one channel sooner than in the other."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(40.0 * RATE)) / RATE
    turns = 2 * np.pi * 1000.0 * t
    x = 1e-4 * rng.standard_normal((len(t), 2))
    boundaries = [(BATCH * HALF * k - HALF / 2) / RATE_HZ for k in range(40)]
    k = 0
    while k < 36:
        last = k + int(rng.integers(1, 4))
        for channel in (0, 1):
            start, end = boundaries[k] - rng.uniform(0.0, 0.25), boundaries[last] + rng.uniform(0.0, 0.25)
            here = (t > start) & (t < end)
            x[here, channel] += 0.1 * np.sin(turns[here]) + 0.003 * np.sin(3 * turns[here])
        k = last + int(rng.integers(1, 5))
    sparing, fewer = blocks(x)
    monkeypatch.setattr(module, "_may_fill_a_block", lambda _: True)
    full, all_ = blocks(x)
    level = full[0]
    assert np.isfinite(level).sum() > 10
    for channel in (0, 3):
        sounds = np.isfinite(full[channel])
        for k in range(channel, channel + 3):
            np.testing.assert_array_equal(sparing[k][sounds], full[k][sounds])
        np.testing.assert_array_equal(np.isfinite(sparing[channel]), sounds)
    assert fewer < all_
