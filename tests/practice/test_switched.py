"""A machine with a setting for each type of tape: shared trimmers act in all settings, the others in their own."""

from __future__ import annotations

import pytest

from bench.audio.practice import PracticePort
from bench.clock import RehearsalClock
from bench.practice_setup import build_practice_port
from bench.problem import Problem
from bench.procedure.load.library import Library
from bench.workspace import Workspace, shipped_procedures

JOB = Library(Workspace(shipped_procedures().parent)).load_job("cassette-several-tapes")


@pytest.fixture
def port() -> PracticePort:
    sheets = JOB.machine, JOB.tape, JOB.reference_tape
    return build_practice_port(*sheets, further=JOB.further, seed=3, clock=RehearsalClock(), real_time=False)


def test_each_setting_has_bias_of_its_own(port: PracticePort) -> None:
    before = port.machine.truth()
    assert len({round(before[f"bias left {name}"], 6) for name in ("ferric", "chrome", "metal")}) == 3
    port.turn("bias left chrome", 20.0)
    after = port.machine.truth()
    # One oscillator feeds both channels, so the other one changes a little too.
    moved = {name for name in after if after[name] != before[name]}
    assert {"bias left chrome"} <= moved <= {"bias left chrome", "bias right chrome"}


def test_a_shared_trimmer_is_at_one_place_at_all_settings(port: PracticePort) -> None:
    port.turn("record level left", 25.0)
    seen = []
    for name in ("ferric", "chrome", "metal"):
        port.switch("setting", name)
        seen.append(port.machine.truth()["record level left"])
    assert len(set(seen)) == 1
    assert [p.name for p in port.trimmers()].count("record level left") == 1


def test_switching_takes_the_tape_out(port: PracticePort) -> None:
    port.load("work")
    port.switch("setting", "metal")
    with pytest.raises(Problem, match="no tape is on the machine"):
        port.switch("transport", "record")
    with pytest.raises(Problem, match="setting has no position cobalt; it has ferric, chrome, metal"):
        port.switch("setting", "cobalt")
