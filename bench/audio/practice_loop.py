"""The practice loop as a port: an interface plugged into itself, with a voltmeter and a counter beside it."""

from __future__ import annotations

import threading
from typing import Literal

import numpy as np

from bench.audio.port import Block, PortStatus
from bench.clock import Clock, RehearsalClock
from bench.practice.loop import PracticeLoop
from bench.signals.source import Source

NAME = "practice interface"


class LoopPort:
    """A port in front of a practice loop; also the instruments at its output.

    Args:
        loop: what stands in for the interface.
        clock: what time it is; a `RehearsalClock` goes on as sound is made.
        paced: sound comes in real time by the clock, or as fast as it is read.
        block: frames of a block.
    """

    def __init__(self, loop: PracticeLoop, clock: Clock, *, paced: bool, block: int = 960) -> None:
        self._loop, self._clock, self._paced, self._block = loop, clock, paced, block
        self._lock = threading.Lock()
        self._state: Literal["closed", "running"] = "closed"
        self._frames = 0
        self._began = 0.0
        self._source: Source | None = None
        self._source_began = 0

    @property
    def status(self) -> PortStatus:
        """How it is doing."""
        return PortStatus(NAME, "practice", self._loop.rate, 2, self._state)

    def open(self) -> None:
        """Start."""
        with self._lock:
            self._state = "running"
            self._began = self._clock.now() - self._frames / self._loop.rate

    def close(self) -> None:
        """Stop; safe to call twice."""
        with self._lock:
            self._state, self._source = "closed", None

    def reopen(self) -> bool:
        """A practice loop is never lost."""
        self.open()
        return True

    def send(self, source: Source | None) -> int:
        """Send this from the next block on; None is silence."""
        self._source, self._source_began = source, self._frames
        return self._frames

    def read(self, timeout_s: float) -> Block | None:
        """The next block; paced, None when it is not yet due within the time."""
        if self._state == "closed":
            return None
        lasts = self._block / self._loop.rate
        if self._paced:
            left = self._began + self._frames / self._loop.rate + lasts - self._clock.now()
            self._clock.wait(max(0.0, min(left, timeout_s)))
            if left > timeout_s:
                return None
        sent = np.zeros((self._block, 2))
        if self._source is not None:
            sent = self._source.render(self._frames - self._source_began, self._block)
        block = Block(self._loop.process(sent), self._frames)
        self._frames += self._block
        if not self._paced and isinstance(self._clock, RehearsalClock):
            self._clock.wait(lasts)
        return block

    def reads(self, unit: str) -> float | None:
        """The instrument at the output that reads in this unit: a voltmeter (V), a counter (Hz)."""
        return {"V": self._loop.volts, "Hz": self._loop.hertz}.get(unit, lambda: None)()
