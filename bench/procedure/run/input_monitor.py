"""Watches the input at every step: peaks, clipping, silence, a dead channel, mains hum."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from bench.audio.port import Block, PortStatus
from bench.clock import Clock
from bench.measure.quantities.hum_watch import HumWatch
from bench.procedure.state.snapshot import Hum, InputView

CLIP = 0.999
"""Samples at or above this fraction of full scale count as clipped."""

SILENT_DBFS = -80.0
"""Peaks below this for a second are silence; the hiss of any tape is louder at an interface."""

HOLD_S = 1.0

LOSS_SHOWN_S = 5.0
"""How long lost sound is shown."""

FAR_DB = 30.0
"""A channel whose peaks stay this far below those of the other for a second is dead."""


class InputMonitor:
    """Keeps the state of the input over the last second."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._peaks: tuple[float | None, ...] = ()
        self._clipped_at = -math.inf
        self._heard_at = -math.inf
        self._alike_at = math.inf
        self._hum: HumWatch | None = None
        self._lost_at = -math.inf

    def hear(self, block: Block) -> None:
        """Take in a block."""
        if block.lost:
            self._lost_at = self._clock.now()
        if len(block.samples) == 0:
            return
        top = np.abs(block.samples.T, order="C").max(axis=1)
        self._peaks = tuple(20 * math.log10(p) if p > 0 else None for p in top.tolist())
        now = self._clock.now()
        self._alike_at = min(self._alike_at, now)
        if len(top) < 2 or float(top.min()) * 10 ** (FAR_DB / 20) >= float(top.max()):
            self._alike_at = now
        if float(top.max()) >= CLIP:
            self._clipped_at = now
        if any(p is not None and p > SILENT_DBFS for p in self._peaks):
            self._heard_at = now

    def view(self, port: PortStatus) -> InputView:
        """The input as a screen shows it."""
        return InputView(*self.state(), port, self.only(), self.hum(), self.lost())

    def state(self) -> tuple[tuple[float | None, ...], bool, bool]:
        """Peaks of each channel in dBFS; whether it clipped in the last second; whether it was silent for one."""
        now = self._clock.now()
        return self._peaks, now - self._clipped_at < HOLD_S, now - self._heard_at > HOLD_S

    def only(self) -> Literal["", "left", "right"]:
        """The only channel that has carried sound for the last second; "" for both or none."""
        now = self._clock.now()
        if len(self._peaks) != 2 or now - self._heard_at > HOLD_S or now - self._alike_at <= HOLD_S:
            return ""
        left, right = (-math.inf if p is None else p for p in self._peaks)
        return "left" if left > right else "right"

    def watch_hum(self, block: Block, sample_rate: int) -> None:
        """Look for mains hum in a block."""
        if self._hum is None or block.lost:
            self._hum = HumWatch(sample_rate)
        self._hum.feed(block.samples)

    def lost(self) -> bool:
        """Whether sound was lost in the last seconds."""
        return self._clock.now() - self._lost_at < LOSS_SHOWN_S

    def hum(self) -> Hum | None:
        """Mains hum in the input, where there is any."""
        if self._hum is None or self._hum.found is None:
            return None
        return Hum(*self._hum.found)
