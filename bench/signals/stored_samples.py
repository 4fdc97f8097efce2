"""Existing samples as a source."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


class StoredSamples:
    """Samples to send or write unchanged.

    Args:
        samples: shape (frames, 2), full scale ±1.
        description: description for the screen.
    """

    def __init__(self, samples: NDArray[np.float64], description: str) -> None:
        self._samples, self.description = samples, description

    @property
    def frames(self) -> int:
        """Length in frames."""
        return len(self._samples)

    def render(self, start: int, frames: int) -> NDArray[np.float64]:
        """Samples from frame `start`, shape (frames, 2); silence beyond the end."""
        out = np.zeros((frames, 2))
        inside = self._samples[max(0, start) : max(0, start + frames)]
        out[max(0, -start) : max(0, -start) + len(inside)] = inside
        return out
