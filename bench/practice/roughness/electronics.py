"""Drift of the amplifiers during warm-up, and bias leakage at the output."""

from __future__ import annotations

import numpy as np

from bench.arrays import Floats
from bench.practice.filters import CHUNK, RATE
from bench.practice.roughness.wander import Wander

WARM_UP_S = 1200.0
"""Time constant of warm-up. Common practice, no source."""
WARM_WANDER = 0.2
"""Wander of the warm machine, rms re its drift during warm-up."""
LEAKAGE_HZ = (9000.0, 21000.0)
"""Frequency range of the bias, or of its alias at 48 kHz, at the output."""


class Electronics:
    """Imperfections of the replay amplifiers and the bias oscillator.

    Args:
        seed: random seed of the machine.
    """

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng([seed, 0xE1])
        self._cold = rng.uniform(-1, 1, 2)
        self._warm = Wander((1 / (2 * np.pi * WARM_UP_S),), 2, (seed, 0xE2))
        self._chunks = 0
        self._leakage_hz = float(np.round(rng.uniform(*LEAKAGE_HZ)))
        # A whole number of Hz, so that the phase repeats every second.
        self._leakage = np.exp(2j * np.pi * self._leakage_hz * np.arange(CHUNK) / RATE)

    def gain(self, warm_up_db: float) -> Floats | float:
        """Gain of each channel in the next chunk, shape (2, 1); `warm_up_db` is the maximum drift."""
        if not warm_up_db:
            return 1.0
        self._warm.advance()
        self._chunks += 1
        cold = np.exp(-self._chunks * CHUNK / RATE / WARM_UP_S)
        drift = warm_up_db * (cold * self._cold + WARM_WANDER * self._warm.now)
        return np.asarray(10 ** (drift / 20))[:, None]

    def bias_leakage(self, chunk: int, level_db: float) -> Floats:
        """Leakage of the bias in a chunk with this number, for a level re the reference level."""
        if level_db <= -120.0:
            return np.zeros(CHUNK)
        start = np.exp(2j * np.pi * self._leakage_hz * (chunk * CHUNK % RATE) / RATE)
        return np.asarray((self._leakage * (10 ** (level_db / 20) * start)).imag)
