"""Detects the sharp upper band edge that lossy coding leaves and tape does not.

A coder removes what lies above about 16 kHz; tape noise falls off by a few dB per octave. Log power is averaged over
time, then its median is taken over narrow bands, so that tones do not count. Common practice, no source.
"""

from __future__ import annotations

import numpy as np

from bench.arrays import Floats

HOP, EVERY_S = 4096, 0.25
LOWEST_HZ, HIGHEST_HZ, TOP = 11000.0, 19500.0, 0.44
"""The search range; the last as a fraction of the sample rate: the converter's own band edge lies above it."""
DECODED_HZ, DECODED_DB = 20500.0, -119.0
"""The search goes to the first where the highest bands are below the second, which is less than the noise of 24 bits:
no converter was between the decoder and this file. Opus keeps everything up to 20 kHz."""
BAND_HZ = 300.0
DROPS_DB = 8.0
"""Least drop from all bands below the edge to two above it, and to everything higher."""
FLOOR_DB = -105.0
"""Power of a bin: anything weaker is window leakage and rounding, not sound."""
OFTEN = 0.25
"""Least share of the windows in which there is sound below the edge: where a tone begins or ends it fills all bands."""
SILENT = 1e-7
FEWEST = 6


class MissingTop:
    """Watches a stream of blocks of any length; it examines one window four times a second.

    Args:
        sample_rate: frames per second.
    """

    def __init__(self, sample_rate: float) -> None:
        self._rate = sample_rate
        self._every = round(EVERY_S * sample_rate)
        self._skip = 0
        self._rest = np.zeros(0)
        self._window = np.blackman(HOP)
        self._sum = np.zeros(HOP // 2 + 1)
        self._heard = np.zeros(HOP // 2 + 1)
        self._looks = 0

    def feed(self, mono: Floats) -> None:
        """Process the sum of the channels, shape (frames,)."""
        if self._rate < 2.0 * LOWEST_HZ:
            return
        joined = np.concatenate([self._rest, mono])
        at = self._skip
        while at + HOP <= len(joined):
            hop = joined[at : at + HOP]
            if float(hop.std()) > SILENT:
                power = np.abs(np.fft.rfft(hop * self._window)) ** 2
                self._sum += np.log10(power + 1e-20)
                self._heard += power > 10.0 ** (FLOOR_DB / 10.0)
                self._looks += 1
            at += self._every
        self._skip = max(0, at - len(joined))
        self._rest = joined[at:]

    def edge_hz(self) -> float | None:
        """Frequency of the band edge, Hz; None if there is none."""
        if self._looks < FEWEST:
            return None
        bin_hz = self._rate / HOP
        few = max(1, round(BAND_HZ / bin_hz))
        db = 10.0 * self._sum / self._looks
        bands = np.median(db[: len(db) // few * few].reshape(-1, few), axis=1)
        share = self._heard / self._looks
        heard = np.median(share[: len(db) // few * few].reshape(-1, few), axis=1) > OFTEN
        hz = (np.arange(len(bands)) + 0.5) * few * bin_hz
        last = int(np.searchsorted(hz, max(TOP * self._rate, HIGHEST_HZ + 500.0)))
        highest = DECODED_HZ if bands[-2:].max() < DECODED_DB else HIGHEST_HZ
        best, edge = 0.0, None
        for k in np.flatnonzero((hz > LOWEST_HZ) & (hz < min(highest, TOP * self._rate))):
            above = bands[k + 2 : last]
            if len(above) < 2:
                break
            least = bands[2 : k - 1].min()  # of a tone alone, bands below it are empty too
            drop = float(least - max(above[:2].max(), above.mean()))
            if drop > max(DROPS_DB, best) and heard[k - 3 : k - 1].all():
                best, edge = drop, float(hz[k])
        return edge
