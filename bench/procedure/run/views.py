"""What is on the bench and which step is at hand, as a screen shows them."""

from __future__ import annotations

from bench.procedure.model.job import Job
from bench.procedure.state.snapshot import JobView, StepView


def job_view(job: Job) -> JobView:
    """What is on the bench, in words."""
    machine = job.machine
    t1, t2 = machine.equalisation_us
    return JobView(
        procedure=job.procedure.title,
        machine=machine.name,
        tape=job.tape.name,
        reference_tape=job.reference_tape.name,
        speed=f"{machine.speed_mm_s:g} mm/s",
        equalisation=f"{t1:g} µs" + (f" + {t2:g} µs" if t2 else ""),
        reference_level=str(machine.reference.fluxivity),
    )


def step_view(job: Job, at: int) -> StepView | None:
    """The step at an index; None beyond the last."""
    if at >= len(job.steps):
        return None
    step = job.steps[at]
    return StepView(
        id=step.id,
        kind=step.kind,
        title=step.title,
        index=at + 1,
        total=len(job.steps),
        stage=step.stage,
        cautions=step.cautions,
        do=step.do,
        good=step.good,
        why=step.why,
        if_not=step.if_not,
        hints=step.hints,
        direction=step.direction or "",
        lot=step.lot,
    )
