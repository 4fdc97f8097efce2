"""Twenty trainees of three kinds, each with a debrief that agrees with the true state of the machine.

The truth is read from the practice machine here, and compared by rules of this test's own.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from bench.audio.practice import PracticePort
from bench.clock import RehearsalClock
from bench.open_run import OpenRun, open_run
from bench.procedure.model.sheets import Exercise
from bench.procedure.run.commands import Command, Skip
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.exercise_events import Debriefed, TrimmerOutcome
from bench.procedure.state.snapshot import Snapshot
from bench.run_request import RunRequest
from bench.training.exercise import CLOSING
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse
from tests.training.exercise_bench import HidesAzimuth, exercise, workspace

LIMITS = {"azimuth": 2.0, "level": 0.5, "equalisation": 1.0}
"""Allowed error of a trimmer, arcmin and dB: common practice, no source."""
TRIMMERS = {
    "azimuth-off": ("replay azimuth",),
    "replay-level-off": ("replay level left",),
    "replay-equalisation-off": ("replay equalisation right",),
}
"""The trimmers that each of these faults misadjusts."""
HIDDEN = (
    ("azimuth-off",),
    ("dirty-head",),
    ("replay-level-off", "dirty-one-side"),
    ("worn-gap",),
    ("azimuth-off", "replay-level-off"),
    ("replay-equalisation-off",),
)
WRONG = ("Bent capstan", "Hum from a broken screen")


@dataclass(slots=True)
class Careful(UnattendedHands):
    """Does every step, and names the true causes."""


@dataclass(slots=True)
class Hasty(UnattendedHands):
    """Neither cleans nor adjusts, and names the first that comes to mind."""

    def decide(self, snapshot: Snapshot, now: float) -> Command | None:
        """Skip whatever takes time."""
        step = snapshot.step
        if step is not None and (step.kind == "adjust" or step.id in ("clean", "found")):
            return Skip("no time")
        return UnattendedHands.decide(self, snapshot, now)


@dataclass(slots=True)
class WrongHeaded(HidesAzimuth):
    """Compensates for azimuth with the equaliser, and names an absent fault."""


def trainee_of(seed: int, hidden: list[str]) -> tuple[UnattendedHands, list[str]]:
    """A trainee, and what that trainee names."""
    named = (hidden, hidden[:1] if seed % 2 else [WRONG[0]], [WRONG[seed % 2], *hidden[1:]])[seed % 3]
    kinds: tuple[type[UnattendedHands], ...] = (Careful, Hasty, WrongHeaded)
    answers = {CLOSING: "; ".join([*named, named[-1]])}  # one name alone is asked for its reading
    return kinds[seed % 3](answers=answers, override="no time"), named


def untruths(run: OpenRun, named: list[str]) -> Iterator[str]:
    """Everything in the debrief that contradicts the machine or what the trainee named."""
    assert isinstance(run.port, PracticePort)
    assert run.exercise is not None
    machine = run.port.machine
    off = machine.truth()
    told = next(of_kind(run.store.events(), Debriefed))
    by_name = {f.name: f for f in told.faults}
    names = {run.exercise.faults[sheet].name: sheet for sheet in run.exercise.faults}
    if set(by_name) != set(names):
        yield f"hidden: {sorted(names)}, told: {sorted(by_name)}"
    for name, sheet in names.items():
        fault = by_name[name]
        trimmers = TRIMMERS.get(sheet, ())
        mended = all(abs(off[t]) <= limit(t) for t in trimmers) if trimmers else name not in machine.remaining_faults
        near = any(0.7 < abs(off[t]) / limit(t) < 1.3 for t in trimmers)
        if (fault.state == "mended") != mended and not near:
            yield f"{name}: {fault.state}, and truly {'mended' if mended else 'there'}"
        if fault.named != (name in named):
            yield f"{name}: named {fault.named}, and the trainee named {named}"
        if fault.state in ("found", "missed") and (fault.state == "found") != (name in named):
            yield f"{name}: {fault.state}, and the trainee named {named}"
        if fault.argued:
            yield f"{name}: argued, and no reading was given for it"
    if set(told.wrongly_named) != set(named) - set(names):
        yield f"named wrongly: {told.wrongly_named}, and the trainee named {named}"
    for t in told.trimmers:
        yield from _untrue_of(t, off[t.name])


def _untrue_of(t: TrimmerOutcome, off: float) -> Iterator[str]:
    if abs(t.after - off) > 0.01:
        yield f"{t.name}: told to be {t.after} out at the end, and truly {off}"
    if t.right and abs(off) > 1.3 * limit(t.name):
        yield f"{t.name}: told to be right, and {off} out"
    if not t.right and not t.hides and abs(off) < 0.5 * limit(t.name):
        yield f"{t.name}: told to be out of adjustment, and {off} out"


def limit(trimmer: str) -> float:
    """Allowed error of a trimmer, in its unit."""
    return next((value for kind, value in LIMITS.items() if kind in trimmer), 1.0)


def gone_through(folder: Path, sheet: Exercise, seed: int) -> tuple[OpenRun, list[str]]:
    """The exercise from start to end by the trainee of a seed."""
    clock = RehearsalClock()
    opened = open_run(workspace(folder), RunRequest("", exercise=sheet), clock, real_time=False)
    assert opened.exercise is not None
    trainee, named = trainee_of(seed, [f.name for f in opened.exercise.faults.values()])
    try:
        rehearse(opened.runner, opened.port, clock, trainee)
    finally:
        opened.end()
    return opened, named


@pytest.mark.parametrize("seed", [pytest.param(n, marks=[] if n == 1 else pytest.mark.long) for n in range(20)])
def test_the_debrief_is_true(tmp_path: Path, seed: int) -> None:
    run, named = gone_through(tmp_path, exercise(*HIDDEN[seed % len(HIDDEN)], seed=seed + 1), seed)
    assert list(untruths(run, named)) == []
