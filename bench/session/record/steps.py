"""The steps of a session's job: what reports and comparisons need to know about a step."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from bench.measure.stage import Stage
from bench.procedure.model.job import Job
from bench.procedure.model.steps import Entry, Measure
from bench.procedure.state.outcome import is_judged

BIAS = frozenset({"tape.bias", "tape.overbias"})
"""Targets to which bias is set."""

JUDGED_KINDS = frozenset({"reference", "adjust", "record-replay", "measure", "interface"})


@dataclass(frozen=True, slots=True)
class StepCaution:
    """A caution that was given at a step."""

    hazard: str
    say: str


@dataclass(frozen=True, slots=True)
class StepFacts:
    """A step of the job; steps of followed procedures and for each direction are listed singly."""

    id: str
    title: str
    kind: str
    stage: Stage = "left"
    target: str = ""
    """Name of its target: "tape.bias"."""
    direction: Literal["", "forward", "reverse"] = ""
    """Direction of the tape, where the procedure gives one."""
    lot: str = ""
    """Which of several tapes it uses."""
    reports: bool = False
    """Whether its reading is reported, not judged."""
    returns: bool = False
    """Whether its reading shows that what was turned is back where it was."""
    complaint: bool = False
    """Whether it asks for the owner's complaint."""
    noise_reduction: bool = False
    """Whether it asks which noise reduction the owner switches in."""
    cautions: tuple[StepCaution, ...] = ()

    @property
    def sets_bias(self) -> bool:
        """Whether bias is set at it."""
        return self.target in BIAS

    @property
    def judged(self) -> bool:
        """Whether its readings count in the verdict."""
        return self.kind in JUDGED_KINDS and self.stage == "left" and not self.reports


def steps_of(job: Job) -> tuple[StepFacts, ...]:
    """The steps of a job, in order, then those of its tests, which are never judged."""
    return tuple(
        StepFacts(
            id=step.id,
            title=step.title,
            kind=step.kind,
            stage=step.stage,
            target=getattr(step, "target", None) or "",
            direction=step.direction or "",
            lot=step.lot,
            reports=step.stage == "left" and step.kind in JUDGED_KINDS and not is_judged(step),
            returns=isinstance(step, Measure) and step.returns_to is not None,
            complaint=isinstance(step, Entry) and _asks_complaint(step),
            noise_reduction=isinstance(step, Entry)
            and (step.asks == "noise-reduction" or named_noise_reduction(step.id)),
            cautions=tuple(StepCaution(c.hazard, c.say) for c in step.cautions),
        )
        for step in job.every_step
    )


def _asks_complaint(step: Entry) -> bool:
    """Whether an entry asks for the complaint: by its key or, in a procedure that has only `words`, by its id."""
    return step.asks == "complaint" or (step.asks == "words" and step.id.rpartition("/")[2] == "complaint")


def named_noise_reduction(step: str) -> bool:
    """Whether the id of an entry is all that says that it asks for noise reduction, as in earlier files."""
    return step.rpartition("/")[2] == "noise-reduction"
