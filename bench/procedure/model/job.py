"""A job: a procedure with its machine, tape and reference tape."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from bench.problem import Problem
from bench.procedure.model.exercise_steps import ChooseTest, NameCauses
from bench.procedure.model.judged_tone import judged_hz
from bench.procedure.model.procedure import Procedure
from bench.procedure.model.sheets import Interface, Machine, ReferenceTape, Section, Tape
from bench.procedure.model.steps import Adjust, Measure, SingleStep
from bench.procedure.model.targets import Target

JobStep = SingleStep | ChooseTest | NameCauses
"""A step of a job: `follow` is replaced by the steps that it stands for, and an exercise has steps of its own."""


@dataclass(frozen=True, slots=True)
class UsedFile:
    """A file that is part of a job."""

    path: Path
    content: bytes
    """Its content when the job was put together, whatever happens to the file later."""


@dataclass(frozen=True, slots=True)
class InapplicableStep:
    """A step that does not apply to these sheets."""

    id: str
    title: str
    why: str
    """"for three heads; this machine has two"."""
    lacks_tape: bool = False
    """Whether a reference tape is missing for it, which another workshop may have."""


@dataclass(frozen=True, slots=True)
class NamedSteps:
    """The steps that a name stands for."""

    first: int
    """Index of the step to go to; the next one in the job where the named step does not apply."""
    steps: tuple[str, ...]
    """Ids of all steps of that name: several for a `follow` step, or for a step done in each direction."""


@dataclass(frozen=True, slots=True)
class TapeSetting:
    """A tape that the machine is lined up for, and the machine as it is set for that tape."""

    lot: str
    """Name of the setting, which the steps and readings of a further tape carry; "" for the first tape."""
    machine: Machine
    tape: Tape
    reference_tape: ReferenceTape
    names: dict[str, str]
    """File names of the sheets, as in `Job.names`."""

    @property
    def setting(self) -> str:
        """Name of the setting; "" on a machine without any."""
        return self.machine.setting[0].name if self.machine.setting else ""


@dataclass(frozen=True, slots=True)
class Job:
    """A complete, checked job. Frozen."""

    name: str
    """Name of the procedure file without `.toml`."""
    procedure: Procedure
    steps: tuple[JobStep, ...]
    """In order; steps of followed procedures have the id `<follow id>/<step id>`."""
    machine: Machine
    tape: Tape
    reference_tape: ReferenceTape
    used: tuple[UsedFile, ...]
    """The procedure, then the procedures it follows, then the three sheets."""
    names: dict[str, str]
    """File names of the sheets without `.toml`, under `machine`, `tape` and `reference-tape`."""
    inapplicable: tuple[InapplicableStep, ...] = ()
    """Steps of the procedure that do not apply to these sheets."""
    named_steps: Mapping[str, NamedSteps] = field(default_factory=dict)
    """The steps behind every name by which a step can refer to another."""
    other_tapes: tuple[Tape, ...] = ()
    """Tapes of the practice machine for the lots after the first."""
    interface: Interface | None = None
    """The sheet of the interface, where it was measured."""
    further: tuple[TapeSetting, ...] = ()
    """The further tapes that the machine is lined up for, in order."""
    tests: Mapping[str, tuple[JobStep, ...]] = field(default_factory=dict)
    """In an exercise: the steps of each test that can be run in mid-exercise, by the name of the test."""

    @property
    def lacks(self) -> str:
        """What is left out for want of a reference tape, and why; "" for nothing."""
        left_out = "; ".join(f"{s.title}: {s.why}" for s in self.inapplicable if s.lacks_tape)
        return f"left out here: {left_out}" if left_out else ""

    @property
    def every_step(self) -> tuple[JobStep, ...]:
        """The steps of the job, then those of its tests."""
        return (*self.steps, *(step for steps in self.tests.values() for step in steps))

    def at(self, lot: str) -> Job:
        """The job with the sheets that apply at a step of this lot."""
        found = next((s for s in self.further if s.lot == lot), None)
        if found is None:
            return self
        return replace(
            self, machine=found.machine, tape=found.tape, reference_tape=found.reference_tape, names=found.names
        )

    @property
    def lots(self) -> tuple[str, ...]:
        """The lots of its steps, in order, except further tapes that the machine is lined up for."""
        settings = {s.lot for s in self.further}
        return tuple(dict.fromkeys(s.lot for s in self.steps if s.lot and s.lot not in settings))

    def lot_index(self, lot: str) -> int:
        """Index of a lot; 0 for none."""
        return self.lots.index(lot) if lot in self.lots else 0

    def tape_of(self, lot: str) -> Tape:
        """The tape of a lot on the practice machine; where sheets run out, another reel of the first tape."""
        further = next((s.tape for s in self.further if s.lot == lot), None)
        if further is not None:
            return further
        tapes = (self.tape, *self.other_tapes)
        index = self.lot_index(lot)
        return tapes[index] if index < len(tapes) else tapes[0]

    def steps_named(self, name: str, direction: str | None = None) -> NamedSteps:
        """The steps that a name stands for; for a step done in each direction, the one of that direction."""
        found = self.named_steps.get(f"{name}-{direction}") if direction else None
        return found or self.named_steps[name]

    def target(self, name: str) -> Target:
        """The target that a step names. Figures of a tape are converted to the reference level of the machine.

        Args:
            name: the sheet, then the key in its `[targets]`: "machine.replay_level".

        Raises:
            Problem: the sheet has no such target.
        """
        sheet, _, key = name.partition(".")
        targets = {"machine": self.machine.all_targets, "tape": self.tape.targets}.get(sheet, {})
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

    @property
    def replay_dbfs(self) -> float:
        """What the interface should read at the reference level of the machine.

        From the machine sheet; or, where that names a test point in mV and full scale of the interface is known in
        volts, from these two.
        """
        point, sheet = self.machine.output_test_point, self.interface
        if point is None or sheet is None or sheet.full_scale_input_v is None:
            return self.machine.reference.replay_dbfs
        volts = point.mv / 1000.0 * 10 ** (-point.attenuator_db / 20.0)
        return 20.0 * math.log10(volts / sheet.full_scale_input_v.value)

    def judged_hz(self, step: Adjust | Measure) -> float | None:
        """Frequency of the tone that a step judges, Hz; None where that is not a tone of known frequency."""
        return judged_hz(step, self.machine, self.reference_tape)
