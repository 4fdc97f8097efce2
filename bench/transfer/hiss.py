"""Whether a capture was decoded already, by the hiss in its pauses.

A Type B decoder takes 10 dB off soft treble and nothing off the bass, so that hiss that was decoded falls steeply from
400 Hz to 2.5 kHz and little beyond. The hiss of a cassette falls by 2 dB at most there, that of open reel rises. Pauses
are the softest quarter seconds of a capture, where they are alike, far softer than its programme, and not the same in
both channels. Noise of a replay amplifier alone is shaped like decoded hiss, so this is a suspicion and no reading.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WINDOW_S = 0.25
PAUSES = 8
"""So many of the softest windows are looked at: two seconds together."""
ALIKE_DB = 1.5
"""They are hiss if their levels lie within this, and"""
BELOW_PROGRAMME_DB = 20.0
"""if they are so much softer than the loudest window, and"""
SHARED = 0.25
"""if the channels have less than this in common (magnitude-squared coherence)."""
STEEP_DB, FLAT_DB = 5.0, 3.0
"""Decoded hiss falls by more than the first from 400 Hz to 2.5 kHz, and by less than the second from there to 6.3 kHz.
Midway between hiss with and without decoding, of cassettes and open reel, by the static law of Type B."""
BANDS_HZ = (400.0, 2500.0, 6300.0)
_HALF_BAND = 1.189
"""Bands half an octave wide."""


@dataclass(frozen=True, slots=True)
class _Window:
    power: float
    bands: tuple[float, ...]
    """Power density, both channels together."""
    shared: float


class HissWatch:
    """Hears a capture through. `falls_db` then says how steeply its hiss falls.

    Args:
        rate: sample rate, Hz.
    """

    def __init__(self, rate: float) -> None:
        self._size = round(WINDOW_S * rate)
        self._hz = np.fft.rfftfreq(self._size, 1 / rate)
        self._taper = np.hanning(self._size)[:, None]
        self._rest: Floats | None = None
        self._softest: list[_Window] = []
        self._loudest = 0.0

    def feed(self, samples: Floats) -> None:
        """Take in frames of shape (frames, channels)."""
        have = samples if self._rest is None else np.concatenate((self._rest, samples))
        whole = len(have) // self._size * self._size
        for at in range(0, whole, self._size):
            self._look(have[at : at + self._size])
        self._rest = have[whole:]

    def _look(self, samples: Floats) -> None:
        power = float(np.mean(samples**2))
        self._loudest = max(self._loudest, power)
        quiet = len(self._softest) < PAUSES or power < self._softest[-1].power
        if not quiet or not (samples != 0).any(axis=0).all():
            return
        spectrum = np.fft.rfft(samples * self._taper, axis=0)
        density = (np.abs(spectrum) ** 2).sum(axis=1)
        bands = tuple(float(density[self._inside(hz / _HALF_BAND, hz * _HALF_BAND)].mean()) for hz in BANDS_HZ)
        treble = spectrum[self._inside(1000.0, 8000.0)]
        both = float(np.prod((np.abs(treble[:, [0, -1]]) ** 2).sum(axis=0)))
        shared = float(np.abs(np.vdot(treble[:, 0], treble[:, -1])) ** 2) / max(1e-300, both)
        window = _Window(power, bands, shared if samples.shape[1] > 1 else 0.0)
        self._softest = sorted([*self._softest, window], key=lambda w: w.power)[:PAUSES]

    def _inside(self, low: float, high: float) -> slice:
        first, last = np.searchsorted(self._hz, (low, high))
        return slice(int(first), int(last))

    def falls_db(self) -> tuple[float, float] | None:
        """By how much the hiss falls from 400 Hz to 2.5 kHz, and on to 6.3 kHz; None where no hiss was heard."""
        windows = self._softest
        if len(windows) < PAUSES or self._loudest < windows[-1].power * 10 ** (BELOW_PROGRAMME_DB / 10):
            return None
        windows = windows[PAUSES // 4 :]  # the very softest may lie across the edge of what was recorded
        if windows[-1].power > windows[0].power * 10 ** (ALIKE_DB / 10):
            return None
        if np.median([w.shared for w in windows]) > SHARED:
            return None
        low, middle, high = (10 * float(np.log10(np.mean([w.bands[n] for w in windows]))) for n in range(3))
        return low - middle, middle - high


def as_decoded(falls_db: tuple[float, float]) -> bool:
    """Whether hiss that falls so was probably decoded."""
    return falls_db[0] > STEEP_DB and falls_db[1] < FLAT_DB
