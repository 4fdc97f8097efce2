"""Diagnoses of a few machines with other physics; the benchmark has many more."""

from __future__ import annotations

import pytest

from bench.diagnosis.answer import diagnose
from bench.diagnosis.output.contract import case_of
from tests.diagnosis.other_readings import make
from tests.diagnosis.scores import judged


@pytest.mark.parametrize(
    "cause",
    ["dirt-replay-head", "worn-replay-gap", "hum", "pinch-roller", "weak-erasure", "swapped-channels", "decoder"],
)
def test_a_plain_fault_is_the_first_or_second(cause: str) -> None:
    data, _ = make(206, (cause,), plan="whole")
    case = case_of(data, "machine")
    said = diagnose(case.machine, case.findings)
    assert cause in [s.name for s in said.suspects[:2]]


def test_healthy_machines_out_of_line_raise_no_alarm() -> None:
    said = [diagnose(c.machine, c.findings) for c in (case_of(make(n, ())[0], "machine") for n in range(300, 310))]
    assert sum(any(s.probability > 0.5 for s in d.suspects) for d in said) <= 1


def test_a_reading_that_a_cause_does_not_touch_does_not_move_it() -> None:
    data, _ = make(206, ("hum",), plan="whole")
    case = case_of(data, "machine")
    less = [f for f in case.findings if f.quantity != "erasure"]
    with_it, without = (
        next(s.probability for s in diagnose(case.machine, some).suspects if s.name == "hum")
        for some in (case.findings, less)
    )
    assert with_it == pytest.approx(without, abs=0.03)


def test_what_speaks_for_a_cause_is_not_what_speaks_for_the_one_beside_it() -> None:
    data, _ = make(100316, ("magnetised-head", "limiter-left-in"))
    case = case_of(data, "machine")
    magnetised, limiter = diagnose(case.machine, case.findings).suspects[:2]
    assert (magnetised.name, limiter.name) == ("magnetised-head", "limiter-left-in")
    assert not any(f.quantity == "record_replay_level" for f in magnetised.speaks_for)
    assert any(f.quantity == "record_replay_level" for f in limiter.speaks_for)
    assert "magnetised-head" not in limiter.like


@pytest.mark.parametrize("seed", [700, 702])
def test_a_wrong_speed_may_be_the_motor_or_its_trimmer(seed: int) -> None:
    """Both change every tone equally, so the trimmer's error is not stated, or its uncertainty covers both."""
    data, truth = make(seed, ("motor-speed",), plan="whole")
    case = case_of(data, "machine")
    told = diagnose(case.machine, case.findings).settings
    speeds = [s for s in told if (s.name, s.run) == ("speed", "as found")]
    assert all(abs(s.value - truth.settings["speed", "both"]) < 3 * s.uncertainty for s in speeds)


def test_what_was_said_comes_true() -> None:
    cases = judged(range(400, 416))
    sure = [s.name in c.truth.causes for c in cases for s in c.said.suspects if s.probability > 0.9]
    assert len(sure) >= 4
    assert sum(sure) >= len(sure) - 1


def test_a_third_cause_is_named_beside_two() -> None:
    three = ("dirt-replay-head", "worn-replay-gap", "hum")
    data, _ = make(210, three, plan="whole")
    case = case_of(data, "machine")
    said = diagnose(case.machine, case.findings)
    assert {s.name for s in said.suspects if s.probability > 0.5} == {*three}
    hum = next(s for s in said.suspects if s.name == "hum")
    assert {f.quantity for f in hum.speaks_for} == {"hum"}
