"""A whole array brought down to baseband."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bench.measure.tone.demodulator import Demodulator


def demodulate(
    samples: NDArray[np.float64], sample_rate: float, carrier_hz: float
) -> tuple[NDArray[np.complex128], float, float]:
    """A whole array brought down at once.

    Args:
        samples: shape (frames, channels).
        sample_rate: frames a second.
        carrier_hz: where the tone lies.

    Returns:
        The baseband of shape (points, channels), its rate in Hz and the frequency that became zero, Hz.
    """
    tracker = Demodulator(sample_rate, samples.shape[1], carrier_hz)
    z = np.concatenate([tracker.feed(samples), tracker.finish()])
    return z, tracker.rate, tracker.oscillator_hz
