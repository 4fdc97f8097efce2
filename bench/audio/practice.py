"""The practice machine as a port: sound goes through it, and hands act on it."""

from __future__ import annotations

import threading
from typing import Literal

import numpy as np

from bench.audio.port import Block, Loaded, PortStatus, Threaded, TrimmerInfo
from bench.clock import Clock, RehearsalClock
from bench.practice import kernels
from bench.practice.machine import PracticeMachine
from bench.signals.source import Source

LATEST_S = 10.0
"""A reader that comes later than this is not made to catch up: the machine stood still meanwhile."""


class PracticePort:
    """A port in front of a practice machine; also its hands.

    Args:
        machine: what stands in for the recorder.
        clock: what time it is; a `RehearsalClock` goes on as sound is made.
        paced: sound comes in real time by the clock, or as fast as it is read.
        block: frames of a block.
    """

    def __init__(self, machine: PracticeMachine, clock: Clock, *, paced: bool, block: int = 960) -> None:
        self._machine, self._clock, self._paced, self._block = machine, clock, paced, block
        self._lock = threading.Lock()
        self._state: Literal["closed", "running"] = "closed"
        self._frames = 0
        self._began = 0.0
        self._source: Source | None = None
        self._source_began = 0

    @property
    def machine(self) -> PracticeMachine:
        """What stands behind the port; only the debrief of an exercise asks, when all is over."""
        return self._machine

    @property
    def status(self) -> PortStatus:
        """How it is doing."""
        with self._lock:
            state, frames, began = self._state, self._frames, self._began
        backlog = 0.0
        if self._paced and state == "running":
            backlog = max(0.0, self._clock.now() - began - frames / self._machine.rate)
        return PortStatus("practice machine", "practice", self._machine.rate, 2, state, backlog_s=backlog)

    def open(self) -> None:
        """Start: compile what runs over every sample, then let time go."""
        kernels.warm()
        with self._lock:
            if self._state == "closed":
                self._state = "running"
                self._began = self._clock.now() - self._frames / self._machine.rate

    def close(self) -> None:
        """Stop; safe to call twice."""
        with self._lock:
            self._state, self._source = "closed", None

    def reopen(self) -> bool:
        """A practice machine is never lost."""
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
        block = Block(self._machine.process(sent), self._frames)
        with self._lock:
            self._frames += self._block
        if not self._paced and isinstance(self._clock, RehearsalClock):
            self._clock.wait(self._block / self._machine.rate)
        return block

    def _due(self, timeout_s: float) -> bool:
        """Wait until the next block is due; False when that lies beyond the time."""
        ends = self._began + (self._frames + self._block) / self._machine.rate
        left = ends - self._clock.now()
        if left < -LATEST_S:
            with self._lock:
                self._began -= left
            return True
        self._clock.wait(min(left, timeout_s))
        return left <= timeout_s

    def clean(self) -> None:
        """Clean heads, capstan, pinch roller and guides."""
        self._machine.clean()

    def demagnetise(self) -> None:
        """Demagnetise heads and guides."""
        self._machine.demagnetise()

    def load(self, tape: Threaded) -> None:
        """Thread a tape, or none."""
        self._machine.load(tape)

    def rewind(self, section: str | None = None) -> None:
        """To the start, or to a section of the reference tape."""
        self._machine.rewind(section)

    def switch(self, control: str, position: str) -> None:
        """Set a control."""
        self._machine.switch(control, position)

    def turn(self, trimmer: str, degrees: float) -> None:
        """Turn a trimmer, positive clockwise."""
        self._machine.turn(trimmer, degrees)

    def trimmers(self) -> tuple[TrimmerInfo, ...]:
        """The trimmers of the machine."""
        return tuple(TrimmerInfo(t.name, t.degrees, t.low, t.high) for t in self._machine.trimmers())

    @property
    def loaded(self) -> Loaded:
        """What is threaded."""
        return Loaded(self._machine.tape, self._machine.section)
