"""A tone that rises evenly in level, to find where a tape gives out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bench.signals.tones import SteadyTone, Tone, check


class LevelRamp:
    """A tone whose level rises by so many decibels, a straight line in dB over time.

    Args:
        hz: its frequency.
        from_dbfs: where it starts, dB re a full-scale sine (AES17).
        to_dbfs: where it ends, at most 0.
        seconds: how long.
        sample_rate: frames a second.

    Raises:
        Problem: an impossible tone.
    """

    def __init__(self, hz: float, from_dbfs: float, to_dbfs: float, seconds: float, sample_rate: int) -> None:
        check(Tone(hz, from_dbfs, seconds), sample_rate)
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
        """The tone in words."""
        return f"{self._hz:g} Hz rising from {self._from:.1f} to {self._to:.1f} dBFS"

    def render(self, start: int, frames: int) -> NDArray[np.float64]:
        """Samples from frame `start`, shape (frames, 2)."""
        below = self._rise * (np.arange(start, start + frames) / self._frames - 1.0)
        return self._tone.render(start, frames) * 10.0 ** (np.minimum(below, 0.0) / 20.0)[:, None]
