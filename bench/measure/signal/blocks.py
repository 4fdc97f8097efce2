"""Splits blocks of any length into segments of fixed length, so that no reading depends on the block size.

`Rows` stores the results of the segments compactly.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Floats

AT_ONCE = 256
"""Rows are allocated in batches of this size: an hour is not copied repeatedly, and little memory is left unused."""

Samples = NDArray[np.float64]
"""Shape (frames, channels), full scale ±1."""


class Segments:
    """Cuts a stream of blocks into segments of `length` frames.

    Args:
        length: frames per segment.
        channels: number of channels.
    """

    def __init__(self, length: int, channels: int) -> None:
        self._piece = np.zeros((length, channels))
        self._filled = 0

    def feed(self, samples: Floats) -> Iterator[Floats]:
        """Yield each complete segment. It is a view that the next one overwrites: use it at once or copy it."""
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
        """The incomplete last segment; may be empty."""
        return self._piece[: self._filled]


class Rows:
    """Rows of numbers, stored compactly.

    Args:
        shape: shape of a row.
        kind: data type.
    """

    def __init__(self, shape: tuple[int, ...], kind: type[np.generic] = np.float64) -> None:
        self._full: list[NDArray[Any]] = []
        self._last = np.zeros((AT_ONCE, *shape), dtype=kind)
        self._filled = 0

    def __len__(self) -> int:
        return AT_ONCE * len(self._full) + self._filled

    def append(self, row: NDArray[np.generic] | float) -> None:
        """Add a row."""
        if self._filled == AT_ONCE:
            self._full.append(self._last)
            self._last, self._filled = np.zeros_like(self._last), 0
        self._last[self._filled] = row
        self._filled += 1

    def latest(self, count: int) -> NDArray[Any]:
        """The last `count` rows, at most 256, shape (rows, …)."""
        before = self._full[-1:] if self._filled < count else []
        return np.concatenate([*before, self._last[: self._filled]])[-count:]

    def all(self) -> NDArray[Any]:
        """All rows, shape (rows, …)."""
        return np.concatenate([*self._full, self._last[: self._filled]])
