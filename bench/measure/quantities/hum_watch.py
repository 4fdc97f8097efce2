"""Live detection of mains hum: whether it is present, and its level relative to the whole input.

Formula
    Half a second of the louder channel under a Hann window is correlated with 1, 2 and 3 times 50 Hz (and 60 Hz), and
    with frequencies 8 Hz on either side of each. There is hum if at least two of the three lines are 10 dB above their
    neighbours; its level is that of those lines. A single tone has only one line, so it is not taken for hum.
Unit and reference
    dBFS, full-scale sine = 0 (AES17); "below" is the ratio of the total rms to that of the lines.
Source
    Common practice, no source.
Accuracy
    A warning for the person at the bench, not a reading: within 1 dB if hum is 10 dB above its surroundings. Stored
    readings come from `hum`.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

WINDOW_S = 0.5
COARSE_HZ = 6000
"""The reduced sample rate: enough below 200 Hz."""
MAINS_HZ = (50.0, 60.0)
LINES = (1, 2, 3)
NEIGHBOUR_HZ = 8.0
STANDS_OUT = 10.0
"""Least ratio of the power of a line to that of its stronger neighbour."""
SHOWN_BELOW_DB = 26.0
"""Hum further below the signal changes no reading by more than a few hundredths of a decibel."""
LEAST_DBFS = -70.0


class HumWatch:
    """Looks for hum every half second in a stream of blocks.

    Args:
        sample_rate: frames per second.
    """

    def __init__(self, sample_rate: int) -> None:
        self._step = max(1, sample_rate // COARSE_HZ)
        points = round(WINDOW_S * sample_rate / self._step)
        self._length = points * self._step
        window = np.hanning(points)
        self._gain = float(window.sum()) / 2.0
        t = np.arange(points) * self._step / sample_rate
        hz = [n * mains + beside for mains in MAINS_HZ for n in LINES for beside in (-NEIGHBOUR_HZ, 0.0, NEIGHBOUR_HZ)]
        self._kernel = (np.exp(-2j * np.pi * np.outer(hz, t)) * window).astype(np.complex64)
        self._evenly = np.full(self._step, 1.0 / self._step, dtype=np.float32)
        self._pieces: list[NDArray[np.float32]] = []
        self._count = 0
        self.found: tuple[float, float, float] | None = None
        """(mains frequency in Hz, dBFS, dB below the whole input); None if there is no hum worth showing."""

    def feed(self, samples: NDArray[np.floating]) -> None:
        """Process samples of shape (frames, channels)."""
        self._pieces.append(np.asarray(samples, dtype=np.float32))
        self._count += len(samples)
        while self._count >= self._length:
            sound = np.concatenate(self._pieces)
            self._look(sound[: self._length])
            rest = sound[self._length :]
            self._pieces, self._count = [rest], len(rest)

    def _look(self, sound: NDArray[np.float32]) -> None:
        squares = np.einsum("nc,nc->c", sound, sound) / len(sound)
        loudest = int(np.argmax(squares))
        total = float(squares[loudest])
        coarse = sound[:, loudest].reshape(-1, self._step) @ self._evenly
        power = np.square(np.abs(self._kernel @ coarse) / self._gain)
        self.found = None
        for n, mains in enumerate(MAINS_HZ):
            lines = power[9 * n : 9 * n + 9].reshape(3, 3)
            clear = lines[:, 1] > STANDS_OUT * np.maximum(lines[:, 0], lines[:, 2])
            hum = float(lines[clear, 1].sum())
            if int(clear.sum()) < 2 or hum <= 0.0 or total <= 0.0:
                continue
            dbfs = 10.0 * math.log10(hum)
            below = 10.0 * math.log10(2.0 * total) - dbfs
            if below <= SHOWN_BELOW_DB and dbfs > LEAST_DBFS and (self.found is None or dbfs > self.found[1]):
                self.found = (mains, dbfs, max(0.0, below))
