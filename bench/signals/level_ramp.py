"""A level ramp: a tone that rises steadily in level, to find where a tape saturates."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bench.figures import hertz, number
from bench.signals.tones import SteadyTone, Tone, check_tone


class LevelRamp:
    """A tone whose level rises linearly in dB over time.

    Args:
        hz: frequency.
        from_dbfs: level at the start, dB re a full-scale sine (AES17).
        to_dbfs: level at the end, at most 0.
        seconds: length.
        sample_rate: frames per second.

    Raises:
        Problem: an impossible tone.
    """

    def __init__(self, hz: float, from_dbfs: float, to_dbfs: float, seconds: float, sample_rate: int) -> None:
        check_tone(Tone(hz, from_dbfs, seconds), sample_rate)
        self._tone = SteadyTone(Tone(hz, to_dbfs, seconds), sample_rate)
        self._rise = to_dbfs - from_dbfs
        self._hz, self._from, self._to = hz, from_dbfs, to_dbfs
        self._frames = round(seconds * sample_rate)

    @property
    def frames(self) -> int:
        """Length in frames."""
        return self._frames

    @property
    def description(self) -> str:
        """Its description for the screen."""
        return f"{hertz(self._hz)} rising from {number(self._from, 1)} to {number(self._to, 1)} dBFS"

    def render(self, start: int, frames: int) -> NDArray[np.float64]:
        """Samples from frame `start`, shape (frames, 2)."""
        below = self._rise * (np.arange(start, start + frames) / self._frames - 1.0)
        return self._tone.render(start, frames) * 10.0 ** (np.minimum(below, 0.0) / 20.0)[:, None]
