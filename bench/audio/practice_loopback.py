"""The practice loop as a port: an interface plugged into itself, with a voltmeter and a counter beside it."""

from __future__ import annotations

from bench.audio.model_port import ModelPort
from bench.clock import Clock
from bench.practice.loopback import PracticeLoop

NAME = "practice interface"


class LoopPort(ModelPort):
    """A port in front of a practice loop; also the instruments at its output.

    Args:
        loop: what stands in for the interface.
        clock: what time it is; a `RehearsalClock` goes on as sound is made.
        paced: sound comes in real time by the clock, or as fast as it is read.
        block: frames of a block.
    """

    def __init__(self, loop: PracticeLoop, clock: Clock, *, paced: bool, block: int = 960) -> None:
        super().__init__(NAME, loop, clock, paced=paced, block=block)
        self._loop = loop

    def reads(self, unit: str) -> float | None:
        """The instrument at the output that reads in this unit: a voltmeter (V), a counter (Hz)."""
        return {"V": self._loop.volts, "Hz": self._loop.hertz}.get(unit, lambda: None)()
