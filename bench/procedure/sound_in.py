"""What comes in, whatever the step: peaks, clipping, silence."""

from __future__ import annotations

import math

import numpy as np

from bench.audio.port import Block
from bench.clock import Clock

CLIP = 0.999
"""A sample this near full scale counts as clipped."""

SILENT_DBFS = -80.0
"""A peak below it for a second is silence: lower than any tape's hiss reaches an interface."""

HOLD_S = 1.0


class SoundIn:
    """Watches the incoming sound."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._peaks: tuple[float | None, ...] = ()
        self._clipped_at = -math.inf
        self._heard_at = -math.inf

    def hear(self, block: Block) -> None:
        """Take a block in."""
        if len(block.samples) == 0:
            return
        top = np.max(np.abs(block.samples), axis=0)
        self._peaks = tuple(20 * math.log10(p) if p > 0 else None for p in top.tolist())
        now = self._clock.now()
        if float(top.max()) >= CLIP:
            self._clipped_at = now
        if any(p is not None and p > SILENT_DBFS for p in self._peaks):
            self._heard_at = now

    def state(self) -> tuple[tuple[float | None, ...], bool, bool]:
        """Peaks in dBFS by channel, whether it clipped in the last second, whether it was silent for one."""
        now = self._clock.now()
        return self._peaks, now - self._clipped_at < HOLD_S, now - self._heard_at > HOLD_S
