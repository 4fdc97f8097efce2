"""A port with nothing behind it but arithmetic: what is sent goes through a model, and comes back in time."""

from __future__ import annotations

import threading
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from bench.audio.port import Block, PortStatus
from bench.clock import Clock, RehearsalClock
from bench.signals.source import Source

Floats = NDArray[np.float64]
LATEST_S = 10.0
"""A reader that comes later than this is not made to catch up: the model stood still meanwhile."""


class Model(Protocol):
    """What stands in for a machine or an interface."""

    rate: int

    def process(self, sent: Floats) -> Floats:
        """What comes back for what is sent; both of shape (frames, 2)."""
        ...


class ModelPort:
    """A port in front of a model.

    Args:
        name: what the port is called.
        model: what the sound goes through.
        clock: what time it is; a `RehearsalClock` goes on as sound is made.
        paced: sound comes in real time by the clock, or as fast as it is read.
        block: frames of a block.
    """

    def __init__(self, name: str, model: Model, clock: Clock, *, paced: bool, block: int) -> None:
        self._name, self._model, self._clock, self._paced, self._block = name, model, clock, paced, block
        self._lock = threading.Lock()
        self._state: Literal["closed", "running"] = "closed"
        self._frames = 0
        self._began = 0.0
        self._source: Source | None = None
        self._source_began = 0

    @property
    def status(self) -> PortStatus:
        """How it is doing."""
        with self._lock:
            state, frames, began = self._state, self._frames, self._began
        backlog = 0.0
        if self._paced and state == "running":
            backlog = max(0.0, self._clock.now() - began - frames / self._model.rate)
        return PortStatus(self._name, "practice", self._model.rate, 2, state, backlog_s=backlog)

    def open(self) -> None:
        """Let time go."""
        with self._lock:
            if self._state == "closed":
                self._state = "running"
                self._began = self._clock.now() - self._frames / self._model.rate

    def close(self) -> None:
        """Stop; safe to call twice."""
        with self._lock:
            self._state, self._source = "closed", None

    def reopen(self) -> bool:
        """A model is never lost."""
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
        if self._paced and not self._due(timeout_s):
            return None
        sent = np.zeros((self._block, 2))
        if self._source is not None:
            sent = self._source.render(self._frames - self._source_began, self._block)
        block = Block(self._model.process(sent), self._frames)
        with self._lock:
            self._frames += self._block
        if not self._paced and isinstance(self._clock, RehearsalClock):
            self._clock.wait(self._block / self._model.rate)
        return block

    def _due(self, timeout_s: float) -> bool:
        """Wait until the next block is due; False when that lies beyond the time."""
        ends = self._began + (self._frames + self._block) / self._model.rate
        left = ends - self._clock.now()
        if left < -LATEST_S:
            with self._lock:
                self._began -= left
            return True
        self._clock.wait(min(left, timeout_s))
        return left <= timeout_s
