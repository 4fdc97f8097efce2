"""A job: one procedure with the machine, the tape and the reference tape it is done with."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from bench.problem import Problem
from bench.procedure.model.sheets import Interface, Machine, ReferenceTape, Section, Tape
from bench.procedure.model.steps import (
    Adjust,
    ByHand,
    Decision,
    Entry,
    InterfaceStep,
    Measure,
    Procedure,
    Question,
    RecordReplay,
    Reference,
    SignOff,
)
from bench.procedure.model.targets import Target

JobStep = ByHand | Reference | Adjust | RecordReplay | Measure | InterfaceStep | Entry | Decision | Question | SignOff
"""Any step but `follow`, whose steps stand in its place."""


@dataclass(frozen=True, slots=True)
class UsedFile:
    """A file that went into a job."""

    path: Path
    content: bytes
    """As it was read when the job was put together, whatever becomes of the file."""


@dataclass(frozen=True, slots=True)
class InapplicableStep:
    """A step that does not apply to these sheets."""

    id: str
    title: str
    why: str
    """"for three heads; this machine has two"."""


@dataclass(frozen=True, slots=True)
class NamedSteps:
    """Where a name leads that a step uses for another."""

    first: int
    """The step to go to, by its index; the first that is left after it where it was left out itself."""
    steps: tuple[str, ...]
    """The ids of all steps of that name: several of a `follow` step, or of one done in each direction."""


@dataclass(frozen=True, slots=True)
class Job:
    """What is on the bench: frozen, checked, with everything it needs."""

    name: str
    """The procedure file's name without `.toml`."""
    procedure: Procedure
    steps: tuple[JobStep, ...]
    """In order, those of followed procedures in place, their ids `<follow id>/<step id>`."""
    machine: Machine
    tape: Tape
    reference_tape: ReferenceTape
    used: tuple[UsedFile, ...]
    """The procedure first, then what it follows, then the three sheets."""
    names: dict[str, str]
    """The sheets' file names without `.toml`, under `machine`, `tape` and `reference-tape`."""
    inapplicable: tuple[InapplicableStep, ...] = ()
    """Steps of the procedure that do not apply to these sheets."""
    named_steps: Mapping[str, NamedSteps] = field(default_factory=dict)
    """Where the names lead by which steps name others."""
    other_tapes: tuple[Tape, ...] = ()
    """What the lots after the first are on the practice machine."""
    interface: Interface | None = None
    """What stands between machine and program, where that was measured."""

    @property
    def lots(self) -> tuple[str, ...]:
        """The several tapes that its steps are of, in the order in which they come."""
        return tuple(dict.fromkeys(s.lot for s in self.steps if s.lot))

    def lot_index(self, lot: str) -> int:
        """Which of the lots; 0 where it is of none."""
        return self.lots.index(lot) if lot in self.lots else 0

    def tape_of(self, lot: str) -> Tape:
        """What a lot is on the practice machine; beyond the sheets there are, another reel of the first."""
        tapes = (self.tape, *self.other_tapes)
        index = self.lot_index(lot)
        return tapes[index] if index < len(tapes) else tapes[0]

    def steps_named(self, name: str, direction: str | None = None) -> NamedSteps:
        """Where a name leads; of a step done in each direction, to the one of that direction."""
        found = self.named_steps.get(f"{name}-{direction}") if direction else None
        return found or self.named_steps[name]

    def target(self, name: str) -> Target:
        """The target that a step names, a tape's figures told re the machine's reference level.

        Args:
            name: the sheet, then the key in its `[targets]`: "machine.replay_level".

        Raises:
            Problem: the sheet has no such target.
        """
        sheet, _, key = name.partition(".")
        targets = {"machine": self.machine.targets, "tape": self.tape.targets}.get(sheet, {})
        if key not in targets:
            raise Problem(
                f'the {sheet} sheet {self.names.get(sheet, "")} has no target "{key}"; add [targets.{key}] to it'
            )
        return targets[key].re(self.machine.reference.fluxivity)

    def section(self, name: str) -> Section:
        """The section of the reference tape that a step plays.

        Raises:
            Problem: the tape has no such section.
        """
        for section in self.reference_tape.section:
            if section.id == name:
                return section
        raise Problem(
            f'the reference-tape sheet {self.names["reference-tape"]} has no section "{name}"; '
            f"it has {', '.join(s.id for s in self.reference_tape.section)}"
        )
