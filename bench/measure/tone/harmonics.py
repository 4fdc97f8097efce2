"""Amplitudes of a followed tone and its harmonics, block by block.

Each point of the baseband of harmonic n is rotated back by n times the fundamental's phase, and a windowed mean is
taken: see `coherent`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Floats
from bench.measure.signal.blocks import Rows
from bench.measure.tone.coherent import BLOCK, HOP, window
from bench.measure.tone.follower import Follower, Piece

HARMONICS = 10
"""The highest harmonic that is measured."""
TOP_HZ = 22000.0
"""Harmonics above this are ignored: no interface passes them at 44.1 kHz."""
FLAT = 0.7
"""If the envelope falls below this fraction of its mean, the tone does not fill the block; our own choice."""
PART = 64
"""Points of a part. Pieces and blocks begin and end at multiples of it."""


class Harmonics:
    """Amplitudes per block of a followed tone and its harmonics, from the pieces of a `Follower`.

    Args:
        follower: the follower of the fundamental.
        highest: the highest harmonic that is measured.
    """

    def __init__(self, follower: Follower, highest: int = HARMONICS) -> None:
        self.follower = follower
        self._highest = highest
        self._size: Floats = np.zeros((0, 0))
        self._turned: NDArray[np.complex128] = np.zeros((0, 0), dtype=np.complex128)
        self._level = self._ratio = self._offset = self._ripple = Rows(())
        self.orders: range = range(2, 2)
        """The harmonics that the sample rate allows."""

    def take(self, piece: Piece) -> None:
        """Process the next piece."""
        follow = self.follower
        if piece.fresh:
            top = min(TOP_HZ, 0.5 * follow.spectra.sample_rate - 100.0)
            self.orders = range(2, min(self._highest, int(top / max(follow.tone_hz, 1.0))) + 1)
            channels = (follow.spectra.channels,)
            self._size = np.zeros((0, *channels))
            self._turned = np.zeros((0, 1 + len(self.orders), *channels), dtype=np.complex128)
            self._level, self._offset, self._ripple = (Rows(channels, np.float32) for _ in range(3))
            self._ratio = Rows((len(self.orders), *channels), np.complex64)
        start = follow.start_of(piece)
        here = slice(max(0, -start), max(0, follow.spectra.points() - start))
        z = follow.baseband(piece)[here]
        size = np.sqrt(z.real**2 + z.imag**2)
        turned = np.zeros((len(z), 1 + len(self.orders), follow.spectra.channels), dtype=np.complex128)
        turn = back = turned[:, 0] = np.conj(z) / np.maximum(size, 1e-30)
        for row, n in enumerate(self.orders if _may_fill_a_block(size) else (), 1):
            turn = turn * back
            turned[:, row] = follow.baseband(piece, n)[here] * turn
        self._size = np.concatenate([self._size, size])
        self._turned = np.concatenate([self._turned, turned])
        at = 0
        while len(self._size) - at >= BLOCK:
            self._block(self._size[at : at + BLOCK], self._turned[at : at + BLOCK])
            at += HOP
        self._size, self._turned = self._size[at:], self._turned[at:]

    def _block(self, size: Floats, turned: NDArray[np.complex128]) -> None:
        """Add a block.

        Args:
            size: envelope of the fundamental, (points, channels).
            turned: the fundamental with its phase removed, then each harmonic rotated back by it, of shape (points,
                1 + harmonics, channels).
        """
        w = window()
        mean = w @ size
        rows = np.ascontiguousarray(size.T)  # a minimum along a row takes a tenth of the time of one down a column
        whole = (rows.min(axis=1) > FLAT * mean) & (rows.max(axis=1) < (2.0 - FLAT) * mean) & (mean > 1e-9)
        self._level.append(np.where(whole, mean, np.nan))
        self._ripple.append(w @ size**2 / np.maximum(mean, 1e-30) ** 2 - 1.0)
        if not whole.any():
            self._ratio.append(np.zeros(turned[0, 1:].shape, dtype=np.complex64))
            self._offset.append(np.zeros(len(whole)))
            return
        turn = np.angle(np.einsum("pc,pc->c", turned[:-1, 0], np.conj(turned[1:, 0])))
        sums = (w @ turned.reshape(BLOCK, -1).view(np.float64)).view(np.complex128).reshape(turned.shape[1:])
        self._ratio.append(sums[1:] / np.maximum(mean, 1e-30))
        self._offset.append(turn * self.follower.spectra.rate / (2 * np.pi))

    def blocks(self, channel: int) -> tuple[Floats, NDArray[np.complex128], Floats]:
        """The blocks of one channel.

        Args:
            channel: its number.

        Returns:
            Level of the fundamental in dBFS, NaN where it does not fill the block; harmonics 2, 3 … as ratios to the
            fundamental, shape (blocks, harmonics); frequency of the fundamental in Hz.
        """
        if not len(self._level):
            return np.zeros(0), np.zeros((0, 0), dtype=np.complex128), np.zeros(0)
        follow, offset = self.follower, self._offset.all()[:, channel].astype(np.float64)
        passed = follow.passes(np.multiply.outer(offset, np.array([1, *self.orders])))
        level = self._level.all()[:, channel].astype(np.float64)
        level[~follow.near(follow.oscillator_hz + offset)] = np.nan
        ratio = self._ratio.all()[:, :, channel] * (passed[:, :1] / passed[:, 1:])
        return 20.0 * np.log10(level / passed[:, 0]), ratio.astype(np.complex128), follow.oscillator_hz + offset

    def ripple(self, channel: int) -> Floats:
        """Relative variance of one channel's envelope in each block.

        A line near the fundamental, such as hum, makes equal ripples in its envelope and its phase. With a ripple v,
        harmonic n, which is rotated back by n times that phase, reads low by a fraction of up to (n² + 1) v / 2.
        """
        return np.maximum(self._ripple.all()[:, channel].astype(np.float64), 0.0) if len(self._ripple) else np.zeros(0)


def _may_fill_a_block(size: Floats) -> bool:
    """Whether in some part of a piece the envelope varies no more than it may in a block that the tone fills."""
    parts = size[: len(size) // PART * PART].reshape(-1, PART, size.shape[1])
    return bool(np.any(FLAT * parts.max(axis=1) < (2.0 - FLAT) * parts.min(axis=1)))
