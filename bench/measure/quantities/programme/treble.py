"""Fall of programme spectra from the middle of the band to the treble, for any music or speech.

Formula
    10 lg of the ratio of the mean power density from 5 to 12.5 kHz to that from 400 Hz to 1 kHz, dB, over the half
    seconds within 20 dB of the loudest one; both channels together.
Unit and reference
    dB, relative to 400 Hz to 1 kHz.
Source
    Common practice, no source. `bench.tape.programme_treble` infers the equalisation from it.
Accuracy
    For this passage as stated: twice the standard error over its half seconds. The difference between pieces of music
    is far larger.
"""

from __future__ import annotations

import numpy as np

from bench.measure.meters import Options
from bench.measure.method import Method
from bench.measure.reading import Measured, NoReading, Reading
from bench.measure.signal.blocks import Samples
from bench.tape.programme_treble import MIDDLE_HZ, TREBLE_HZ

PIECE_S = 0.5
WITHIN = 1e-2
"""Least power relative to the loudest half second; in softer ones hiss replaces treble."""
LEAST_PIECES = 8
REFERENCE = f"{MIDDLE_HZ[0]:g} to {MIDDLE_HZ[1]:g} Hz"
METHOD = Method("power density of programme from 5 to 12.5 kHz")


class ProgrammeTrebleMeter:
    """`treble_fall` of both channels together. Options: none."""

    def __init__(self, sample_rate: float, channels: int, options: Options | None = None) -> None:
        self._size = round(PIECE_S * sample_rate)
        self._window = np.hanning(self._size)[:, None]
        hz = np.fft.rfftfreq(self._size, 1 / sample_rate)
        self._bands = [slice(*np.searchsorted(hz, band)) for band in (MIDDLE_HZ, TREBLE_HZ)]
        self._low_rate = sample_rate / 2 < TREBLE_HZ[1]
        self._rest = np.zeros((0, channels))
        self._pieces: list[tuple[float, float, float]] = []

    def feed(self, samples: Samples) -> None:
        """Process samples of shape (frames, channels)."""
        have = np.concatenate([self._rest, samples])
        at = 0
        while at + self._size <= len(have):
            piece = have[at : at + self._size]
            density = (np.abs(np.fft.rfft(piece * self._window, axis=0)) ** 2).sum(axis=1)
            middle, treble = (float(density[band].mean()) if density[band].size else 0.0 for band in self._bands)
            self._pieces.append((float(np.mean(piece**2)), middle, treble))
            at += self._size
        self._rest = have[at:]

    def finish(self) -> Measured:
        """End the stream and return the reading."""
        loudest = max((p[0] for p in self._pieces), default=0.0)
        kept = np.array([p for p in self._pieces if p[0] > WITHIN * loudest and p[1] > 0.0 and p[2] > 0.0])
        because = ""
        if self._low_rate:
            because = "the sample rate holds too little treble"
        elif loudest == 0.0:
            because = "nothing is heard"
        elif len(kept) < LEAST_PIECES:
            because = f"it takes {LEAST_PIECES * PIECE_S:g} s of programme or more; let it play on"
        if because:
            return Measured((NoReading("treble_fall", "both", because, method=METHOD, reference=REFERENCE),))
        each = 10 * np.log10(kept[:, 2] / kept[:, 1])
        value = 10 * np.log10(kept[:, 2].sum() / kept[:, 1].sum())
        spread = max(0.1, 2 * float(np.std(each, ddof=1)) / len(each) ** 0.5)
        return Measured((Reading("treble_fall", "both", float(value), spread, method=METHOD, reference=REFERENCE),))
