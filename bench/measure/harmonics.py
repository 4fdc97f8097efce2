"""A followed tone and its harmonics, block by block.

Each point of the baseband of harmonic n is turned back by n times the fundamental's phase, and the mean is taken
under a window: see `coherent`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bench.measure.coherent import BLOCK, HOP, window
from bench.measure.follow import Follower, Piece
from bench.measure.hops import Rows

Floats = NDArray[np.float64]

HARMONICS = 10
"""The highest harmonic looked at."""
TOP_HZ = 22000.0
FLAT = 0.7
"""A block in which the envelope falls below this share of its mean is not all tone."""


class Harmonics:
    """Per-block amplitudes of a followed tone and its harmonics. Feeds on the pieces of a `Follower`.

    Args:
        follower: of the fundamental.
        highest: the highest harmonic looked at.
    """

    def __init__(self, follower: Follower, highest: int = HARMONICS) -> None:
        self.follower = follower
        self._highest = highest
        self._z: list[NDArray[np.complex128]] = []
        self._level = self._ratio = self._frequency = Rows(())
        self.orders: range = range(2, 2)
        """The harmonics that the sample rate allows."""

    def take(self, piece: Piece) -> None:
        """Take in the next piece."""
        follow = self.follower
        if piece.fresh:
            top = min(TOP_HZ, 0.5 * follow.spectra.sample_rate - 100.0)
            self.orders = range(2, min(self._highest, int(top / max(follow.tone_hz, 1.0))) + 1)
            channels = (follow.spectra.channels,)
            self._z, self._level, self._frequency = [], Rows(channels), Rows(channels)
            self._ratio = Rows((len(self.orders), *channels), np.complex64)
        z = np.stack([follow.baseband(piece, n) for n in (1, *self.orders)])
        start = follow.start_of(piece)
        self._z.append(z[:, max(0, -start) : max(0, follow.spectra.points() - start)])
        have = sum(p.shape[1] for p in self._z)
        if have >= BLOCK:
            joined = np.concatenate(self._z, axis=1)
            while joined.shape[1] >= BLOCK:
                self._block(joined[:, :BLOCK])
                joined = joined[:, HOP:]
            self._z = [joined]

    def _block(self, z: NDArray[np.complex128]) -> None:
        size = np.abs(z[0])
        w = window()
        mean = w @ size
        whole = (size.min(axis=0) > FLAT * mean) & (size.max(axis=0) < (2.0 - FLAT) * mean) & (mean > 1e-9)
        back = np.conj(z[0]) / np.maximum(size, 1e-30)
        turn = np.angle(np.sum(back[:-1] * np.conj(back[1:]), axis=0))
        offset = turn * self.follower.spectra.rate / (2 * np.pi)
        weights = w.astype(np.complex128)
        turned, ratios = back, []
        for harmonic in z[1:]:
            turned = turned * back
            ratios.append(weights @ (harmonic * turned))
        passed = self.follower.passes(np.multiply.outer(np.array([1, *self.orders]), offset))
        mean = np.maximum(mean, 1e-30) / passed[0]
        ratios = [r / (mean * share) for r, share in zip(ratios, passed[1:], strict=True)]
        whole &= self.follower.near(self.follower.oscillator_hz + offset)
        self._level.append(np.where(whole, mean, np.nan))
        self._ratio.append(np.array(ratios).reshape(len(self.orders), z.shape[2]))
        self._frequency.append(self.follower.oscillator_hz + offset)

    def blocks(self, channel: int) -> tuple[Floats, NDArray[np.complex128], Floats]:
        """What the blocks say of one channel.

        Args:
            channel: its number.

        Returns:
            Level of the fundamental in dBFS, NaN where it does not sound all through; harmonics 2, 3 … over the
            fundamental, shape (blocks, harmonics); frequency of the fundamental in Hz.
        """
        if not len(self._level):
            return np.zeros(0), np.zeros((0, 0), dtype=np.complex128), np.zeros(0)
        level = 20.0 * np.log10(self._level.all()[:, channel])
        ratio = self._ratio.all()[:, :, channel].astype(np.complex128)
        return level, ratio, self._frequency.all()[:, channel]
