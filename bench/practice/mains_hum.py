"""Hum of the mains: the fundamental and two harmonics."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bench.practice.filters import CHUNK, RATE

Floats = NDArray[np.float64]

HARMONICS = (0.8, 0.4, 0.4)
"""Amplitudes of fundamental, second and third; their powers add up to about that of a sine of amplitude 1."""


class MainsHum:
    """Continuous hum that does not depend on what the machine is doing."""

    def __init__(self) -> None:
        self._mains_hz = 0.0
        self._turning = np.zeros((3, CHUNK), dtype=np.complex128)

    def chunk(self, chunk: int, mains_hz: float) -> Floats:
        """Hum for a chunk, given its number: amplitude about 1, the same in both channels."""
        order = np.arange(1, 4)
        if mains_hz != self._mains_hz:
            self._mains_hz = mains_hz
            turn = 2 * np.pi * mains_hz / RATE
            self._turning = np.array(HARMONICS)[:, None] * np.exp(1j * turn * np.outer(order, np.arange(CHUNK)))
        start = np.exp(1j * order * (2 * np.pi * mains_hz * chunk * CHUNK / RATE + 0.7))
        return np.asarray((start @ self._turning).imag)
