"""The step that samples were rounded to, found from the samples themselves."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

BITS = (8, 16, 24)
LOOK_EVERY = 7
"""One sample in this many is looked at."""


class StepSize:
    """The step that the samples of a stream are whole multiples of; 0 when they are of none."""

    def __init__(self) -> None:
        self._left = [2.0 ** (1 - b) for b in BITS]

    @property
    def step(self) -> float:
        """Full scale is 1."""
        return self._left[0] if self._left else 0.0

    def look(self, samples: NDArray[np.float64]) -> None:
        """Take in samples, time along the last axis."""
        while self._left:
            counted = samples[..., ::LOOK_EVERY] / self._left[0]
            if (counted == np.rint(counted)).all():
                return
            self._left.pop(0)
