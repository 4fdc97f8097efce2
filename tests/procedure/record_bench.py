"""A practice machine with correct replay and a record side out of adjustment, and a procedure to run on it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from bench.audio.practice import PracticePort
from bench.clock import RehearsalClock
from bench.open_run import OpenRun, open_run
from bench.practice.machine import PracticeMachine
from bench.practice_setup import build_practice_machine
from bench.procedure.model.sheets import Fault
from bench.procedure.run.runner import Runner
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import RoundsRecorded
from bench.procedure.state.snapshot import Outcome
from bench.run_request import RunRequest
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse
from bench.workspace import Workspace
from tests.smooth import smooth_procedures

HEAD = """\
format = 1
title = "A record line-up"
summary = "For tests."
takes_minutes = 5
part = true
"""


def step(kind: str, name: str, **keys: str) -> str:
    """A step of a procedure, with values in TOML."""
    lines = [f'\n[[step]]\nkind = "{kind}"\nid = "{name}"\ntitle = "{name}"\ndo = "As it says."']
    return "\n".join([*lines, *(f"{k} = {v}" for k, v in keys.items())]) + "\n"


def adjust(name: str, quantity: str, sends: str, target: str, trimmers: str, **keys: str) -> str:
    """An adjust step on trimmers of both channels."""
    both = f'{{ left = "{trimmers} left", right = "{trimmers} right" }}'
    return step("adjust", name, quantity=f'"{quantity}"', sends=sends, target=f'"{target}"', trimmers=both, **keys)


TWO = "[{ hz = 400, db = -20 }, { hz = 10000, db = -30 }]"
HIGH = "[{ hz = 400, db = -20 }, { hz = 12500, db = -30 }]"
FULL = "[{ hz = 400, db = 0 }]"


def line_up(via: str = "") -> str:
    """Bias, record level, record equalisation, and bias and level again."""
    how = {"via": f'"{via}"'} if via else {}
    ten = {"frequency": "10000", "reference_frequency": "400"}
    top = {"frequency": "12500", "reference_frequency": "400"}
    return (
        HEAD
        + adjust("bias", "response", TWO, "tape.bias", "bias", **ten, **how)
        + adjust("level", "record_replay_level", FULL, "machine.record_level", "record level", **how)
        + adjust("top", "response", HIGH, "machine.record_response", "record equalisation", **top, **how)
        + adjust("bias-again", "response", TWO, "tape.bias", "bias", **ten, **how)
        + adjust("level-again", "record_replay_level", FULL, "machine.record_level", "record level", **how)
    )


@dataclass(slots=True)
class Ran:
    """A finished run."""

    outcome: Outcome
    opened: OpenRun
    machine: PracticeMachine

    def rounds(self) -> dict[str, int]:
        """Number of rounds at each step."""
        return {e.step: e.rounds for e in of_kind(self.opened.store.events(), RoundsRecorded)}


def off(seed: int) -> dict[str, float | str | bool]:
    """Errors of record trimmers as the practice machine draws them: up to 3 dB of bias and treble, 6 dB of level."""
    rng = np.random.default_rng([seed, 77])
    out: dict[str, float | str | bool] = {}
    for key, spread in (("bias", 3.0), ("record_level", 6.0), ("record_equalisation", 3.0)):
        for side in ("left", "right"):
            out[f"{key}_{side}_db"] = float(rng.uniform(-spread, spread))
    return out


def open_bench(
    folder: Path,
    text: str,
    machine: str,
    *,
    seed: int,
    changes: dict[str, float | str | bool],
    tape: str | None = None,
    reference_tape: str | None = None,
) -> tuple[OpenRun, PracticeMachine]:
    """A run on that machine, not yet started."""
    if not (folder / "procedures").exists():
        smooth_procedures(folder / "procedures")
    (folder / "procedures" / "own.toml").write_text(text, encoding="utf-8")
    clock = RehearsalClock()
    opened = open_run(
        Workspace(folder), RunRequest("own", machine, tape, reference_tape, seed=seed), clock, real_time=False
    )
    job = opened.job
    fault = Fault(format=1, sheet="fault", name="Off", tells="It is off.", practice=changes)
    faults = [fault] if changes else []
    sheets = job.machine, job.tape, job.reference_tape
    built = build_practice_machine(*sheets, seed=seed, faults=faults, misadjustment=0.0, other_tapes=job.other_tapes)
    port = PracticePort(built, clock, real_time=False)
    port.clean()
    port.load("work")
    return OpenRun(job, port, opened.store, Runner(job, port, opened.store, clock), clock), built


def run(
    folder: Path,
    text: str,
    machine: str,
    *,
    seed: int = 1,
    tape: str | None = None,
    reference_tape: str | None = None,
    **changes: float | str,
) -> Ran:
    """Rehearse a procedure on that machine."""
    opened, built = open_bench(
        folder, text, machine, seed=seed, changes=dict(changes), tape=tape, reference_tape=reference_tape
    )
    try:
        outcome = rehearse(opened.runner, opened.port, opened.clock, UnattendedHands())
    finally:
        opened.store.close()
    return Ran(outcome, opened, built)
