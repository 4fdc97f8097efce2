"""Stored samples, requested in any blocks."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from bench.signals.stored_samples import StoredSamples


@given(st.integers(-30, 30), st.integers(0, 40))
def test_any_stretch_is_its_samples_with_silence_around(start: int, frames: int) -> None:
    samples = np.arange(1.0, 41.0).reshape(20, 2)
    around = np.concatenate([np.zeros((100, 2)), samples, np.zeros((100, 2))])
    source = StoredSamples(samples, "steps")
    assert source.frames == 20
    assert np.array_equal(source.render(start, frames), around[100 + start : 100 + start + frames])
