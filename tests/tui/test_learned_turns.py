"""Turns that are proposed from those made before: few are needed, whatever the sense, slope and play of the trimmer."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bench.measure.reading import Reading
from bench.measure.verdict import Verdict
from bench.practice.facts import TrimmerPosition
from bench.procedure.kinds.adjust.guidance import Advice
from bench.procedure.state.snapshot import Gauge, Snapshot
from bench.tui.learned_turns import LearnedTurns
from tests.tui import samples

NAME = "replay level left"


def shows(value: float, degrees: float, advice: Advice = "turn") -> Snapshot:
    """A gauge that reads a value where its trimmer stands at some degrees; the target is −12 ± 0.5 dBFS."""
    near = abs(value + 12.0) < 0.125
    gauge = replace(
        samples.adjusting().gauges[0],
        trimmer=NAME,
        reading=Reading("level", "left", value, 0.04),
        verdict=Verdict("in" if abs(value + 12.0) < 0.5 else "out", -12.0, 0.5, "a manual"),
        advice="hold" if advice == "turn" and near else advice,
        turn=None,
    )
    return replace(samples.adjusting(), gauges=(gauge,), trimmers=(TrimmerPosition(NAME, degrees, -150.0, 150.0),))


def turn_of(snapshot: Snapshot) -> float | None:
    gauge: Gauge = snapshot.gauges[0]
    return gauge.turn


@pytest.mark.parametrize("slope", [0.05, -0.05, 0.15, -0.02])
@pytest.mark.parametrize("play", [0.0, 5.0])
def test_a_few_turns_lead_to_the_target(slope: float, play: float) -> None:
    learnt, degrees, wiper = LearnedTurns(), 0.0, 0.0
    for _ in range(6):
        value = -14.0 + slope * wiper
        proposed = turn_of(learnt.shown(shows(value, degrees)))
        if proposed is None:
            break
        degrees += proposed
        wiper = min(degrees + play / 2, max(degrees - play / 2, wiper))
        assert turn_of(learnt.shown(shows(value, degrees))) is None  # the old average says nothing of the new position
        assert turn_of(learnt.shown(shows(value, degrees, "look"))) is None
    assert abs(-14.0 + slope * wiper + 12.0) < 0.125


def test_what_was_learnt_holds_at_a_later_step() -> None:
    learnt = LearnedTurns()
    learnt.shown(shows(-14.0, 0.0))
    learnt.shown(shows(-14.0, 15.0, "look"))
    assert turn_of(learnt.shown(shows(-13.25, 15.0))) == pytest.approx(25.0, abs=5.0)
    learnt.shown(shows(-13.25, 40.0, "look"))
    later = shows(-12.5, 40.0)
    assert later.step is not None
    later = replace(later, step=replace(later.step, id="replay-level-again"))
    assert turn_of(learnt.shown(later)) == pytest.approx(10.0, abs=5.0)


def test_a_turn_that_the_step_proposes_itself_stays() -> None:
    seen = shows(-14.0, 0.0)
    seen = replace(seen, gauges=(replace(seen.gauges[0], turn=7.0),))
    assert turn_of(LearnedTurns().shown(seen)) == 7.0


def test_where_the_trimmers_are_not_seen_nothing_is_proposed() -> None:
    seen = replace(shows(-14.0, 0.0), trimmers=())
    assert turn_of(LearnedTurns().shown(seen)) is None
