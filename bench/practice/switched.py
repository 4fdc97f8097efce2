"""A practice machine with several switch settings: for tape types, speeds or equalisations."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TypeAlias

from bench.arrays import Floats
from bench.practice.facts import LoadedTape, MachineFacts, TrimmerPosition
from bench.practice.machine import PracticeMachine
from bench.practice.owners_tape import OwnersTape
from bench.problem import Problem

AnyMachine: TypeAlias = "PracticeMachine | SwitchedMachine"
"""A practice machine with one or several settings."""


class SwitchedMachine:
    """A machine whose switch selects a setting with its own tapes, and with its own or shared trimmers.

    Turning a shared trimmer and cleaning the heads affect all settings.

    Args:
        settings: facts and machine for each setting; the present setting comes first.
    """

    def __init__(self, settings: Sequence[tuple[MachineFacts, PracticeMachine]]) -> None:
        self._settings = {facts.setting: machine for facts, machine in settings}
        self._at = settings[0][1]
        self.rate = self._at.rate
        self._trimmers: dict[str, list[tuple[PracticeMachine, str]]] = {}
        for facts, machine in settings:
            for usual in (position.name for position in machine.trimmers()):
                name = f"{usual} {facts.setting}" if usual in facts.own_trimmers else usual
                self._trimmers.setdefault(name, []).append((machine, usual))

    def clean(self) -> None:
        """Clean heads, capstan, pinch roller and guides."""
        for machine in self._settings.values():
            machine.clean()

    def demagnetise(self) -> None:
        """Demagnetise heads and guides."""
        for machine in self._settings.values():
            machine.demagnetise()

    def load(self, tape: LoadedTape, lot: int = 0) -> None:
        """Load a tape of the present setting, or none."""
        self._at.load(tape, lot)

    def rewind(self, section: str | None = None, *, on: bool = False) -> None:
        """Rewind to the start, or to a section of the reference tape."""
        self._at.rewind(section, on=on)

    def switch(self, control: str, position: str) -> None:
        """Set a control. `setting` selects a setting and unloads the tape; others are as for `PracticeMachine`."""
        if control != "setting":
            self._at.switch(control, position)
            return
        if position not in self._settings:
            raise Problem(f"setting has no position {position}; it has {', '.join(self._settings)}")
        self._at.load("none")
        self._at = self._settings[position]
        self._at.load("none")

    def reading_at(self, point: str) -> float:
        """The reading at a test point."""
        return self._at.reading_at(point)

    def output_to_mark(self) -> None:
        """Turn the output control to its mark."""
        for machine in self._settings.values():
            machine.output_to_mark()

    def turn(self, trimmer: str, degrees: float) -> None:
        """Turn a trimmer, positive clockwise, as far as its end stop."""
        if trimmer not in self._trimmers:
            raise Problem(f"there is no trimmer {trimmer}; there are {', '.join(self._trimmers)}")
        for machine, usual in self._trimmers[trimmer]:
            machine.turn(usual, degrees)

    def trimmers(self) -> tuple[TrimmerPosition, ...]:
        """The visible positions of all trimmers."""
        out = []
        for name, behind in self._trimmers.items():
            machine, usual = behind[0]
            position = next(p for p in machine.trimmers() if p.name == usual)
            out.append(replace(position, name=name))
        return tuple(out)

    def truth(self) -> dict[str, float]:
        """The error of each trimmer: dB, minutes of arc, % for speed."""
        out = {}
        for name, behind in self._trimmers.items():
            machine, usual = next((b for b in behind if b[0] is self._at), behind[0])
            out[name] = machine.truth()[usual]
        return out

    @property
    def remaining_faults(self) -> tuple[str, ...]:
        """The names of its faults that cleaning or demagnetising has not removed."""
        return self._at.remaining_faults

    @property
    def owners_tape(self) -> OwnersTape:
        """The tape from elsewhere, at the present setting."""
        return self._at.owners_tape

    def look(self, part: str) -> str:
        """The look of a part."""
        return self._at.look(part)

    @property
    def dirt(self) -> tuple[str, ...]:
        """The names of the dirt figures that are not 0."""
        return self._at.dirt

    def process(self, incoming: Floats) -> Floats:
        """The output for an input, both shape (n, 2), full scale ±1, any n."""
        return self._at.process(incoming)
