"""What a debrief says of a machine whose truth is given, and of events as a session keeps them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from bench.procedure.state.event_kinds import Event
from bench.procedure.state.events import Debriefed, Done, Noted, Resumed, Started, Turned
from bench.session.report.debrief_text import debrief_lines
from bench.training.debrief import debrief
from bench.training.truth import FaultTruth, TrimmerTruth, Truth

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
SETS = ("replay azimuth", "replay equalisation left", "replay level left", "bias left", "record equalisation left")

DIRT = FaultTruth("dirty-head", "Dirt", "Treble falls.", ("replay_dirt_left_um",), (), True, True)
GAP = FaultTruth("worn-gap", "Worn gap", "Treble falls.", ("replay_gap_um",), (), False, True)
ANGLE = FaultTruth("azimuth-off", "Azimuth", "Late.", ("replay_azimuth_arcmin",), ("replay azimuth",), True, True)


def truth(*faults: FaultTruth, **off: float) -> Truth:
    named = {name.replace(" ", "_"): name for name in SETS}
    trimmers = tuple(
        TrimmerTruth(named[key], value, "arcmin" if "azimuth" in key else "dB")
        for key, value in {**dict.fromkeys(named, 0.0), **off}.items()
    )
    return Truth(trimmers, faults)


def gone(fault: FaultTruth) -> FaultTruth:
    return FaultTruth(fault.key, fault.name, fault.symptom, fault.changes, fault.trimmers, fault.repairable, False)


def clean(told: Debriefed) -> bool:
    """Whether nothing is left to look at again, and nothing was named that was not there."""
    return not {"again", "wrong"} & {about for about, _ in debrief_lines((told,))}


def turns(*trimmers: str) -> list[Turned]:
    return [Turned(t, (3.0, 2.0), step="s", time=START + timedelta(minutes=n)) for n, t in enumerate(trimmers)]


def test_azimuth_left_off_and_equalisation_raised_is_hidden_not_mended() -> None:
    before = truth(ANGLE, replay_azimuth=14.0)
    after = truth(ANGLE, replay_azimuth=14.0, replay_equalisation_left=4.0)
    told = debrief(before, after, turns("replay equalisation left"), SETS, ())
    assert told.faults[0].state == "hidden"
    assert told.faults[0].by == "replay equalisation left"
    assert not clean(told)
    assert any("it hides replay azimuth" in said for _, said in debrief_lines((told,)))


@pytest.mark.parametrize("off", [-14.0, 14.0])
def test_equalisation_lowered_hides_no_azimuth(off: float) -> None:
    """Azimuth costs treble whichever way it is off: only more treble can hide it."""
    after = truth(ANGLE, replay_azimuth=off, replay_equalisation_left=-4.0)
    told = debrief(truth(ANGLE, replay_azimuth=off), after, turns("replay equalisation left"), SETS, ())
    assert told.faults[0].state == "missed"


def test_a_trimmer_that_was_never_turned_hides_nothing() -> None:
    after = truth(ANGLE, replay_azimuth=14.0, replay_equalisation_left=4.0)
    told = debrief(after, after, [], SETS, ())
    assert told.faults[0].state == "missed"
    assert [t.hides for t in told.trimmers] == [""] * len(SETS)


@pytest.mark.parametrize(
    ("bias", "equalisation", "hides"), [(3.0, 4.0, "bias left"), (3.0, -4.0, ""), (-3.0, -4.0, "bias left")]
)
def test_record_equalisation_answers_bias_the_way_bias_moves_treble(
    bias: float, equalisation: float, hides: str
) -> None:
    """More bias is less treble: common practice, no source."""
    after = truth(bias_left=bias, record_equalisation_left=equalisation)
    told = debrief(truth(bias_left=bias), after, turns("record equalisation left"), SETS, ())
    assert next(t.hides for t in told.trimmers if t.name == "record equalisation left") == hides


def test_what_was_cleaned_away_is_mended_named_or_not() -> None:
    for names, said in (((), "you did not name it"), (("Dirt",), "and named")):
        told = debrief(truth(DIRT), truth(gone(DIRT)), [], SETS, names)
        assert (told.faults[0].state, clean(told)) == ("mended", True)
        assert said in dict(debrief_lines((told,)))["fault"]


def test_what_only_the_workshop_mends_is_found_by_naming_it_and_may_be_made_good() -> None:
    after = truth(GAP, replay_equalisation_left=3.0)
    for names, state, nothing_left in ((("Worn gap",), "found", True), ((), "hidden", False)):
        told = debrief(truth(GAP), after, turns("replay equalisation left"), SETS, names)
        assert (told.faults[0].state, clean(told)) == (state, nothing_left)


def test_a_fault_that_was_not_there_is_told() -> None:
    told = debrief(truth(), truth(), [], SETS, ("Dirt",))
    assert told.wrongly_named == ("Dirt",)
    assert not clean(told)


def test_time_away_is_not_counted() -> None:
    events: list[Event] = [
        Started(step="a", time=START),
        Noted("a", step="a", time=START + timedelta(minutes=4)),
        Resumed(step="a", time=START + timedelta(hours=20)),
        Done(step="a", time=START + timedelta(hours=20, minutes=3)),
    ]
    assert debrief(truth(), truth(), events, SETS, ()).minutes == pytest.approx(7.0)


def test_turns_are_counted_over_all_steps() -> None:
    events = [*turns("bias left"), *turns("bias left", "replay azimuth")]
    told = debrief(truth(), truth(), events, SETS, ())
    assert told.turns == 6
    assert {t.name: t.turns for t in told.trimmers if t.turns} == {"bias left": 4, "replay azimuth": 2}
