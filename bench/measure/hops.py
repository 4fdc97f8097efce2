"""Blocks of any length in, pieces of one length out, so that no reading depends on how the sound was cut up.

And what was found in each piece, kept in little memory.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Hops:
    """Cuts a stream of blocks into pieces of `length` frames.

    Args:
        length: frames in a piece.
        channels: how many.
    """

    def __init__(self, length: int, channels: int) -> None:
        self._piece = np.zeros((length, channels))
        self._filled = 0

    def feed(self, samples: Floats) -> Iterator[Floats]:
        """Whole pieces, as they fill. A piece is a view that the next one overwrites: use it or copy it."""
        at, length = 0, len(self._piece)
        while at < len(samples):
            take = min(length - self._filled, len(samples) - at)
            self._piece[self._filled : self._filled + take] = samples[at : at + take]
            self._filled += take
            at += take
            if self._filled == length:
                self._filled = 0
                yield self._piece

    def rest(self) -> Floats:
        """What is left: less than a piece, perhaps nothing."""
        return self._piece[: self._filled]


class Rows:
    """Rows of figures, kept one after the other in little memory.

    Args:
        shape: of a row.
        kind: of a figure.
    """

    def __init__(self, shape: tuple[int, ...], kind: type[np.generic] = np.float64) -> None:
        self._rows = np.zeros((64, *shape), dtype=kind)
        self._count = 0

    def __len__(self) -> int:
        return self._count

    def append(self, row: NDArray[np.generic]) -> None:
        """Add one."""
        if self._count == len(self._rows):
            self._rows = np.concatenate([self._rows, np.zeros_like(self._rows)])
        self._rows[self._count] = row
        self._count += 1

    def all(self) -> NDArray[Any]:
        """All of them, (rows, …)."""
        return self._rows[: self._count]
