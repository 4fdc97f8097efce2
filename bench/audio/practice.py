"""The practice machine as a port: sound goes through it, and hands act on it."""

from __future__ import annotations

from bench.audio.model_port import ModelPort
from bench.audio.port import Loaded, Threaded, TrimmerInfo
from bench.clock import Clock
from bench.practice import kernels
from bench.practice.machine import PracticeMachine


class PracticePort(ModelPort):
    """A port in front of a practice machine; also its hands.

    Args:
        machine: what stands in for the recorder.
        clock: what time it is; a `RehearsalClock` goes on as sound is made.
        paced: sound comes in real time by the clock, or as fast as it is read.
        block: frames of a block.
    """

    def __init__(self, machine: PracticeMachine, clock: Clock, *, paced: bool, block: int = 960) -> None:
        super().__init__("practice machine", machine, clock, paced=paced, block=block)
        self._machine = machine

    @property
    def machine(self) -> PracticeMachine:
        """What stands behind the port; only the debrief of an exercise asks, when all is over."""
        return self._machine

    def open(self) -> None:
        """Start: compile what runs over every sample, then let time go."""
        kernels.warm()
        super().open()

    def clean(self) -> None:
        """Clean heads, capstan, pinch roller and guides."""
        self._machine.clean()

    def demagnetise(self) -> None:
        """Demagnetise heads and guides."""
        self._machine.demagnetise()

    def load(self, tape: Threaded, lot: int = 0) -> None:
        """Thread a tape, or none; of several work tapes, which."""
        self._machine.load(tape, lot)

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
