"""Mains hum: the fundamental and its harmonics up to the seventh."""

from __future__ import annotations

import numpy as np

from bench.arrays import Floats
from bench.practice.filters import CHUNK, RATE
from bench.practice.roughness.wander import Wander

HARMONICS = np.array([0.75, 0.35, 0.45, 0.12, 0.2, 0.07, 0.1])
"""Amplitudes from the fundamental on; their powers add up to about that of a sine of amplitude 1."""
ORDERS = np.arange(1, 8)
MAINS_WANDER_HZ = 0.03
"""Wander of the mains frequency, rms; it is within ±0.05 Hz most of the time. Common practice, no source."""
_WITHIN = np.arange(CHUNK) / RATE


class MainsHum:
    """Continuous hum that does not depend on what the machine is doing; each channel and harmonic has its own phase.

    Args:
        seed: random seed of phases and drift.
    """

    def __init__(self, seed: int) -> None:
        self._mains_hz = 0.0
        self._turning = np.zeros((ORDERS.size, CHUNK), dtype=np.complex128)
        rng = np.random.default_rng([seed, 0x50])
        self._phases = np.exp(2j * np.pi * rng.random((2, ORDERS.size)))
        self._frequency, self._level = Wander((0.02,), 1, (seed, 0x51)), Wander((0.01,), 2, (seed, 0x52))
        self._turn = 0.0

    def chunk(self, mains_hz: float, drift_db: float) -> Floats:
        """Hum of the next chunk, amplitude about 1, shape (2, n).

        Args:
            mains_hz: mains frequency.
            drift_db: drift of its level, about twice the rms; 0 for hum of constant level and frequency.
        """
        if mains_hz != self._mains_hz:
            self._mains_hz = mains_hz
            self._turning = np.exp(2j * np.pi * mains_hz * np.outer(ORDERS, _WITHIN))
        start = self._phases * HARMONICS * np.exp(1j * ORDERS * self._turn)
        hz = mains_hz
        if drift_db:
            self._frequency.advance()
            self._level.advance()
            hz += MAINS_WANDER_HZ * float(self._frequency.now[0])
            start *= 10 ** (drift_db / 2 / 20 * self._level.now)[:, None]
        # Within a chunk the frequency is nominal; the drift of the mains is added at its end.
        self._turn = (self._turn + 2 * np.pi * hz * CHUNK / RATE) % (2 * np.pi)
        return np.asarray((start @ self._turning).imag)
