"""Recognises by the hiss in its pauses a capture that has already been decoded.

A Type B decoder attenuates soft treble by 10 dB and leaves the bass alone, so decoded hiss falls steeply from 400 Hz to
2.5 kHz and little above. The hiss of a cassette falls by at most 2 dB there, and that of open reel rises. Pauses are
the softest quarter seconds of a capture, if they are equally loud, far softer than the programme, and uncorrelated
between the channels. The noise of a replay amplifier alone has the spectrum of decoded hiss, so the result is a
suspicion, not a reading.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bench.arrays import Floats

WINDOW_S = 0.25
PAUSES = 8
"""Number of softest windows that are examined, two seconds in all. They are hiss if the next three conditions hold."""
LEVEL_RANGE_DB = 1.5
"""Their levels lie within this range."""
BELOW_PROGRAMME_DB = 20.0
"""They are at least this much softer than the loudest window."""
MOST_COHERENT = 0.25
"""The magnitude-squared coherence of the channels is below this."""
STEEP_DB, FLAT_DB = 5.0, 3.0
"""Decoded hiss falls by more than the first from 400 Hz to 2.5 kHz, and by less than the second from there to 6.3 kHz.
Both lie midway between decoded and undecoded hiss of cassettes and open reel, by the static law of Type B."""
BANDS_HZ = (400.0, 2500.0, 6300.0)
_HALF_BAND = 1.189
"""From the centre to the edge of a band half an octave wide."""


@dataclass(frozen=True, slots=True)
class _Window:
    power: float
    bands: tuple[float, ...]
    """Power density, both channels together."""
    shared: float


class HissMonitor:
    """Collects the softest windows of a capture; `falls_db` then gives the fall of their hiss.

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
            self._examine(have[at : at + self._size])
        self._rest = have[whole:]

    def _examine(self, samples: Floats) -> None:
        power = float(np.vdot(samples, samples)) / samples.size
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
        """Fall of the hiss from 400 Hz to 2.5 kHz, and from there to 6.3 kHz; None if no hiss was found."""
        windows = self._softest
        if len(windows) < PAUSES or self._loudest < windows[-1].power * 10 ** (BELOW_PROGRAMME_DB / 10):
            return None
        windows = windows[PAUSES // 4 :]  # the softest ones may straddle the start or end of the recording
        if windows[-1].power > windows[0].power * 10 ** (LEVEL_RANGE_DB / 10):
            return None
        if np.median([w.shared for w in windows]) > MOST_COHERENT:
            return None
        low, middle, high = (10 * float(np.log10(np.mean([w.bands[n] for w in windows]))) for n in range(3))
        return low - middle, middle - high


def as_decoded(falls_db: tuple[float, float]) -> bool:
    """Whether the fall of the hiss suggests that it was decoded."""
    return falls_db[0] > STEEP_DB and falls_db[1] < FLAT_DB
