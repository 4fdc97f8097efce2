"""Rehearsal: a procedure run unattended, as fast as the practice machine makes sound."""

from __future__ import annotations

from bench.audio.port import Instruments, Port
from bench.clock import Clock
from bench.problem import Problem
from bench.procedure.model.job import Job
from bench.procedure.model.steps import Entry
from bench.procedure.model.targets import Target
from bench.procedure.run.commands import Leave, Skip
from bench.procedure.run.runner import Runner
from bench.procedure.state.snapshot import Outcome
from bench.training.hands import UnattendedHands

LOOK_EVERY_S = 0.1
"""Interval between looks at the gauge, in rehearsal time."""

INSIDE = 0.05
"""Fraction of a limit by which a machine that is in order is inside it. A choice."""

LONGEST_STEP_S = 1800.0
"""A step that takes longer than this in rehearsal time is stuck."""


def target_answers(job: Job) -> dict[str, str]:
    """Answers to steps that ask for a number: the target of a gauge, the flux on a label.

    A practice machine has no tape tension or pull to measure, so these are taken as correct. A tape from elsewhere is
    taken to have been lined up to the same flux.
    """
    flux = f"{job.reference_tape.fluxivity_nwb_m:g}"
    labels = {s.id: flux for s in job.steps if isinstance(s, Entry) and s.unit == "nWb/m"}
    asked = [s for s in job.steps if isinstance(s, Entry) and s.asks == "number" and s.target is not None]
    return labels | {s.id: _figure_meeting(job.at(s.lot).target(s.target)) for s in asked if s.target is not None}


def _figure_meeting(target: Target) -> str:
    """A figure that meets a target: the target's value, or well inside its limit."""
    if target.at_least is not None:
        return f"{target.at_least + INSIDE * abs(target.at_least):g}"
    return f"{target.value if target.at_most is None else target.at_most - INSIDE * abs(target.at_most):g}"


def rehearse(runner: Runner, port: Port, clock: Clock, hands: UnattendedHands) -> Outcome:
    """Run to the end, or to where the hands stop.

    Args:
        runner: not yet started.
        port: a closed port, which is opened and closed here.
        clock: the clock that the port advances.
        hands: the hands that answer and turn.

    Returns:
        How the run ended.

    Raises:
        Problem: an interlock asked for a reason and none was given.
    """
    port.open()
    if isinstance(port, Instruments):
        hands.instruments = port
    try:
        runner.begin()
        step, since = "", clock.now()
        while not runner.finished:
            snapshot = runner.snapshot()
            if snapshot.step is not None and snapshot.step.id != step:
                step, since = snapshot.step.id, clock.now()
            if snapshot.timer_left_s and hands.waits:
                clock.wait(snapshot.timer_left_s)
                continue
            command = hands.decide(snapshot, clock.now())
            if hands.stopped_because:
                runner.obey(Leave())
                raise Problem(hands.stopped_because)
            if command is None and clock.now() - since > LONGEST_STEP_S:
                command = Skip("unattended: the step did not end")
            if command is not None:
                runner.obey(command)
            if not _listen(runner, port, clock) and command is None:
                runner.obey(Skip("unattended: nothing answers here"))
        return runner.outcome()
    finally:
        port.close()


def _listen(runner: Runner, port: Port, clock: Clock) -> bool:
    """Pass some sound to the runner; False if the step does not listen, so that nothing would ever happen."""
    if not runner.wants_sound:
        return False
    until = clock.now() + LOOK_EVERY_S
    while clock.now() < until and runner.wants_sound:
        block = port.read(0.0)
        if block is None:
            runner.tick()
            return runner.finished or port.status.state != "ended" or not runner.wants_sound
        runner.hear(block)
        if port.status.kind != "practice":
            return True
    return True
