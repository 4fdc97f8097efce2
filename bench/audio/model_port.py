"""A port in front of a simulation: the output passes through a model and returns as input."""

from __future__ import annotations

from typing import Literal, Protocol

import numpy as np

from bench.arrays import Floats
from bench.audio.port import Block, PortStatus
from bench.clock import Clock, RehearsalClock
from bench.signals.source import Source

BLOCK = 960
"""Frames per block."""
LATEST_S = 10.0
"""A reader delayed by more than this need not catch up, because the model pauses meanwhile."""


class SoundModel(Protocol):
    """A simulated machine or interface."""

    rate: int

    def process(self, sent: Floats) -> Floats:
        """The input for an output, both of shape (frames, 2)."""


class ModelPort:
    """A port in front of a model.

    Args:
        name: the port's name.
        model: the model.
        clock: a `RehearsalClock` advances as sound is generated.
        real_time: True for sound in real time by the clock, False for sound as fast as it is read.
    """

    def __init__(self, name: str, model: SoundModel, clock: Clock, *, real_time: bool) -> None:
        self._name, self._model, self._clock, self._real_time = name, model, clock, real_time
        self._state: Literal["closed", "running"] = "closed"
        self._frames = 0
        self._began = 0.0
        self._source: Source | None = None
        self._source_began = 0
        self._muted = False

    @property
    def status(self) -> PortStatus:
        """Its present state."""
        return PortStatus(self._name, "practice", self._model.rate, 2, self._state)

    def open(self) -> None:
        """Start."""
        if self._state == "closed":
            self._state, self._muted = "running", False
            self._began = self._clock.now() - self._frames / self._model.rate

    def close(self) -> None:
        """Stop; safe to call twice."""
        self._state, self._source = "closed", None

    def reopen(self) -> bool:
        """Open it: a model is never lost."""
        self.open()
        return True

    def send(self, source: Source | None) -> int:
        """Send this source from the next block on; None is silence."""
        self._source, self._source_began = source, self._frames
        return self._frames

    def mute(self, muted: bool) -> None:
        """Send silence to the model from the next block on, or resume the source."""
        self._muted = muted

    def read(self, timeout_s: float) -> Block | None:
        """The next block; in real time, None if it is not due within the timeout."""
        if self._state == "closed":
            return None
        if self._real_time and not self._due(timeout_s):
            return None
        sent = np.zeros((BLOCK, 2))
        if self._source is not None and not self._muted:
            sent = self._source.render(self._frames - self._source_began, BLOCK)
        block = Block(self._model.process(sent), self._frames)
        self._frames += BLOCK
        if not self._real_time and isinstance(self._clock, RehearsalClock):
            self._clock.wait(BLOCK / self._model.rate)
        return block

    def _due(self, timeout_s: float) -> bool:
        """Wait until the next block is due; False if that is beyond the timeout."""
        ends = self._began + (self._frames + BLOCK) / self._model.rate
        left = ends - self._clock.now()
        if left < -LATEST_S:
            self._began -= left
            return True
        self._clock.wait(min(left, timeout_s))
        return left <= timeout_s
