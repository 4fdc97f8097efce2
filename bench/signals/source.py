"""The protocol of a source: anything that can be sent."""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray


class Source(Protocol):
    """A signal that renders any stretch of itself, so that it is the same whatever the block size."""

    @property
    def frames(self) -> int | None:
        """Its length in frames; None if it never ends."""

    @property
    def description(self) -> str:
        """Its description for the screen: "400 Hz at -12.0 dBFS"."""

    def render(self, start: int, frames: int) -> NDArray[np.float64]:
        """Samples from frame `start`, shape (frames, 2), full scale ±1; silence beyond its end."""
