"""The filter of least phase that has a given magnitude."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
LOWEST_DB = -200.0
"""Deeper than this a response is not followed: its logarithm has to be finite."""


def minimum_phase(response_db: Floats, taps: int) -> Floats:
    """Taps whose response has this magnitude and the least phase that goes with it.

    The phase is the Hilbert transform of the log magnitude, taken by folding the real cepstrum.

    Args:
        response_db: at evenly spaced frequencies from 0 Hz to half the sample rate, both included; dB.
        taps: how many are kept of an impulse response of 2·(len(response_db) − 1).

    Source: homomorphic filtering, textbook (Oppenheim and Schafer, from memory).
    """
    size = 2 * (response_db.size - 1)
    cepstrum = np.fft.irfft(np.maximum(response_db, LOWEST_DB) * (np.log(10) / 20), size)
    fold = np.zeros(size)
    fold[0], fold[size // 2] = 1, 1
    fold[1 : size // 2] = 2
    return np.asarray(np.fft.irfft(np.exp(np.fft.rfft(cepstrum * fold)), size)[:taps])
