"""The simulated loopback as a port, with a voltmeter and a counter at its output."""

from __future__ import annotations

from bench.audio.model_port import ModelPort
from bench.clock import Clock
from bench.practice.loopback import PracticeLoopback

NAME = "practice interface"


class LoopbackPort(ModelPort):
    """A port in front of a simulated loopback, and the instruments at its output.

    Args:
        loopback: the simulated interface.
        clock: a `RehearsalClock` advances as sound is generated.
        real_time: True for sound in real time by the clock, False for sound as fast as it is read.
    """

    def __init__(self, loopback: PracticeLoopback, clock: Clock, *, real_time: bool) -> None:
        super().__init__(NAME, loopback, clock, real_time=real_time)
        self._loopback = loopback

    def reading_in(self, unit: str, at: str = "") -> float | None:
        """Reading of the instrument with this unit: a voltmeter (V) or a counter (Hz)."""
        return {"V": self._loopback.voltmeter_v, "Hz": self._loopback.counter_hz}.get(unit, lambda: None)()
