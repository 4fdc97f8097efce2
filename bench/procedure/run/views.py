"""The job and the current step as a screen shows them."""

from __future__ import annotations

from bench.audio.port import PortStatus
from bench.measure.catalogue import QUANTITIES, UNITS
from bench.problem import Problem
from bench.procedure.model.job import Job, JobStep
from bench.procedure.model.loop_target import loop_target
from bench.procedure.model.step_base import TARGET
from bench.procedure.model.steps import InterfaceStep
from bench.procedure.model.targets import target_words
from bench.procedure.state.snapshot import InputView, JobView, Outcome, Prompt, Snapshot, StepView
from bench.words.figures import tape_speed

HELD = Prompt("go-on", "On hold. Go on to resume")
STOPPED = Prompt("go-on", "All sound is stopped. Go on to start this step again")


def job_view(job: Job) -> JobView:
    """The job in words."""
    machine = job.machine
    t1, t2 = machine.equalisation_us
    return JobView(
        procedure=job.procedure.title,
        machine=machine.name,
        tape=job.tape.name,
        reference_tape=job.reference_tape.name,
        speed=tape_speed(machine.speed_mm_s),
        speed_mm_s=machine.speed_mm_s,
        equalisation=f"{t1:g} µs" + (f" + {t2:g} µs" if t2 else ""),
        reference_level=str(machine.reference.fluxivity),
        heads=machine.heads,
        steps=tuple((step.id, step.title) for step in job.every_step),
    )


def step_view(job: Job, at: int, *, beside: JobStep | None = None, hides_why: bool = False) -> StepView | None:
    """The step at an index; None after the last.

    Args:
        job: the job.
        at: index of the step.
        beside: a step outside the job that comes first; None for none.
        hides_why: whether `why` and `if_not` stay hidden until a question is answered.
    """
    step = beside or (job.steps[at] if at < len(job.steps) else None)
    if step is None:
        return None
    target = _target_words(job, step)

    def said(text: str) -> str:
        return text.replace(TARGET, target) if target else text

    return StepView(
        id=step.id,
        kind=step.kind,
        title=step.title,
        index=at + 1,
        total=len(job.steps),
        stage="left" if beside else step.stage,
        cautions=step.cautions,
        do=said(step.do),
        good=said(step.good),
        why="" if hides_why else said(step.why),
        if_not="" if hides_why else said(step.if_not),
        hints=tuple(said(hint) for hint in step.hints),
        direction=step.direction or "",
        lot=step.lot,
    )


def _target_words(job: Job, step: JobStep) -> str:
    """The target of a step in words; of several, each with its quantity; "" without one."""
    if isinstance(step, InterfaceStep):
        return target_words(loop_target(step))
    one, several = getattr(step, "target", None), getattr(step, "targets", {})
    if not one and len(several) != 1:
        return "; ".join(f"{QUANTITIES[q].title.lower()} {target_words(job.target(t))}" for q, t in several.items())
    target = job.target(one or next(iter(several.values())))
    if getattr(step, "returns_to", None):
        unit = UNITS[target.unit].of_a_difference or target.unit
        target = target.model_copy(update={"value": 0.0, "unit": unit})
    return target_words(target)


def stopped_view(job: Job, at: int, port: PortStatus, fault: BaseException) -> Snapshot:
    """The last snapshot of a run that was stopped: the step, and a sentence. It needs nothing that may have failed.

    Args:
        job: what was on the bench.
        at: index of the current step.
        port: the last status of the port.
        fault: a `Problem`, or a fault of this program.
    """
    step = step_view(job, at)
    where = f" at “{step.title}”" if step is not None else ""
    if isinstance(fault, Problem):
        code, said = 2, f"The job stopped{where}: {fault.sentence}."
    else:
        code, said = 3, f"A fault of this program stopped the job{where}."
    return Snapshot(
        job=job_view(job),
        step=step,
        prompt=Prompt("wait", ""),
        sound=InputView((), clipping=False, silent=False, port=port),
        outcome=Outcome(completed=False, exit_code=code, judged=0, words={}, said=said),
    )
