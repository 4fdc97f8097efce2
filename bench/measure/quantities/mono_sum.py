"""Mono sum: the level that remains when the two channels are added, which reveals an inverted channel.

Formula
    20 lg(rms(L + R) / (rms L + rms R)) dB, averaged over all quarters of a second in which both channels are within
    40 dB of the loudest one.
Unit and reference
    dB relative to two identical channels: 0 for identical ones, −3 for uncorrelated ones of equal level, far below for
    one of inverted polarity.
Source
    Common practice, no source: fold to mono and listen for a loss of bass.
Accuracy
    As stated: twice the standard error over the quarters of a second, and at least 0.05 dB.
"""

from __future__ import annotations

import math

import numpy as np

from bench.measure.catalogue import QUANTITIES
from bench.measure.meters import Options
from bench.measure.method import Method
from bench.measure.reading import Measured, NoReading, Reading, Result
from bench.measure.signal.blocks import Samples

PIECE_S = 0.25
LEAST_DB = -60.0
"""A lower sum is lost in the noise of any tape, so the reading is an upper bound."""
METHOD = Method("rms of the sum re the sum of the rms")


class MonoSumMeter:
    """`mono_sum` of both channels. Options: none."""

    def __init__(self, sample_rate: float, channels: int, options: Options | None = None) -> None:
        self._size, self._channels = round(PIECE_S * sample_rate), channels
        self._rest = np.zeros((0, channels))
        self._pieces: list[tuple[float, float, float]] = []

    def feed(self, samples: Samples) -> None:
        """Process samples of shape (frames, channels)."""
        if self._channels < 2:
            return
        have = np.concatenate([self._rest, samples])
        at = 0
        while at + self._size <= len(have):
            piece = have[at : at + self._size, :2]
            left, right = (float(v) for v in np.sqrt(np.mean(piece**2, axis=0)))
            self._pieces.append((left, right, float(np.sqrt(np.mean(piece.sum(axis=1) ** 2)))))
            at += self._size
        self._rest = have[at:]

    def finish(self) -> Measured:
        """End the stream and return the reading."""
        return Measured((self._reading(),))

    def _reading(self) -> Result:
        if self._channels < 2:
            return NoReading("mono_sum", "both", "it needs two channels", method=METHOD)
        loudest = max((max(left, right) for left, right, _ in self._pieces), default=0.0)
        kept = [p for p in self._pieces if min(p[0], p[1]) > loudest / 100.0 > 0.0]
        if len(kept) < 2:
            because = "nothing is heard" if loudest == 0.0 else "one channel is silent, or too little was heard"
            return NoReading("mono_sum", "both", because, method=METHOD)
        values = [
            max(LEAST_DB, 20 * math.log10(both / (left + right))) if both > 0 else LEAST_DB
            for left, right, both in kept
        ]
        spread = max(0.05, 2.0 * float(np.std(values, ddof=1)) / math.sqrt(len(values)))
        return Reading(
            "mono_sum",
            "both",
            float(np.mean(values)),
            spread,
            method=METHOD,
            bound="at most" if min(values) == LEAST_DB else None,
            reference=QUANTITIES["mono_sum"].relative_to,
        )
