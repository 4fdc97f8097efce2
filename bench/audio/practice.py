"""The practice machine as a port, which also operates it."""

from __future__ import annotations

from bench.audio.model_port import ModelPort
from bench.clock import Clock
from bench.practice import kernels
from bench.practice.facts import LoadedTape, TrimmerPosition
from bench.practice.switched import AnyMachine


class PracticePort(ModelPort):
    """A port in front of a practice machine, which also implements `Hands`.

    Args:
        machine: the practice machine.
        clock: a `RehearsalClock` advances as sound is generated.
        real_time: True for sound in real time by the clock, False for sound as fast as it is read.
    """

    def __init__(self, machine: AnyMachine, clock: Clock, *, real_time: bool) -> None:
        super().__init__("practice machine", machine, clock, real_time=real_time)
        self._machine = machine

    @property
    def machine(self) -> AnyMachine:
        """The machine behind the port; only the debrief at the end of an exercise may look at it."""
        return self._machine

    def open(self) -> None:
        """Compile the sample loops, then start."""
        kernels.warm()
        super().open()

    def clean(self) -> None:
        """Clean heads, capstan, pinch roller and guides."""
        self._machine.clean()

    def look(self, part: str) -> str:
        """The look of a part: swab, roller, selector, shell or meters."""
        return self._machine.look(part)

    def demagnetise(self) -> None:
        """Demagnetise heads and guides."""
        self._machine.demagnetise()

    def load(self, tape: LoadedTape, lot: int = 0) -> None:
        """Load a tape, or none; `lot` is the number of the recordable tape."""
        self._machine.load(tape, lot)

    def rewind(self, section: str | None = None, *, on: bool = False) -> None:
        """Wind to the start, or to a section of the reference tape."""
        self._machine.rewind(section, on=on)

    def switch(self, control: str, position: str) -> None:
        """Set a control."""
        self._machine.switch(control, position)

    def reading_in(self, unit: str, at: str = "") -> float | None:
        """What a meter of the machine shows, to 0.1 dB, or a voltmeter of four digits; None if there is none."""
        if not at:
            return None
        reading = self._machine.reading_at(at)
        return float(f"{reading:.4g}") if unit == "mV" else round(reading, 1)

    def output_to_mark(self) -> None:
        """Turn the output control to its mark."""
        self._machine.output_to_mark()

    def turn(self, trimmer: str, degrees: float) -> None:
        """Turn a trimmer, positive clockwise."""
        self._machine.turn(trimmer, degrees)

    def trimmers(self) -> tuple[TrimmerPosition, ...]:
        """The trimmers of the machine."""
        return self._machine.trimmers()
