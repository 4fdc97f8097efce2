"""The steps of a session, as its job had them: what reports and comparisons need to know of a step."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from bench.measure.stage import Stage
from bench.procedure.model.job import Job
from bench.procedure.model.steps import Entry, Measure
from bench.procedure.state.outcome import is_judged

BIAS = frozenset({"tape.bias", "tape.overbias"})
"""The targets that bias is set to."""

JUDGED_KINDS = frozenset({"reference", "adjust", "record-replay", "measure", "interface"})


@dataclass(frozen=True, slots=True)
class StepCaution:
    """A hazard that was said at a step."""

    hazard: str
    say: str


@dataclass(frozen=True, slots=True)
class StepFacts:
    """A step of the job, in its place: those of followed procedures and of each direction one by one."""

    id: str
    title: str
    kind: str
    stage: Stage = "left"
    target: str = ""
    """The target that it is set to, by name: "tape.bias"."""
    direction: Literal["", "forward", "reverse"] = ""
    """Where the procedure says which way the tape runs."""
    lot: str = ""
    """Which of several tapes it is of."""
    reports: bool = False
    """Whether its reading is reported, not judged."""
    returns: bool = False
    """Whether its reading shows that what was turned is back where it was."""
    complaint: bool = False
    """Whether it asks what the owner says is wrong."""
    cautions: tuple[StepCaution, ...] = ()

    @property
    def sets_bias(self) -> bool:
        """Whether bias is set at it."""
        return self.target in BIAS

    @property
    def judged(self) -> bool:
        """Whether a reading of it counts at the end."""
        return self.kind in JUDGED_KINDS and self.stage == "left" and not self.reports


def steps_of(job: Job) -> tuple[StepFacts, ...]:
    """The steps of a job, in order; then those of its tests, which are never judged."""
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
            cautions=tuple(StepCaution(c.hazard, c.say) for c in step.cautions),
        )
        for step in job.every_step
    )


def _asks_complaint(step: Entry) -> bool:
    """By its key, or where a procedure says only `words`, by its name."""
    return step.asks == "complaint" or (step.asks == "words" and step.id.rpartition("/")[2] == "complaint")
