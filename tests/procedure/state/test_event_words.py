"""Events in words."""

from __future__ import annotations

import pytest
from hypothesis import given

from bench.procedure.state.event_kinds import KINDS, Event
from bench.procedure.state.event_words import event_sentence
from bench.procedure.state.events import (
    Answered,
    CurveTaken,
    Decided,
    Done,
    Limits,
    Released,
    RoundsRecorded,
    Skipped,
    Turned,
    TurnedBack,
    Waited,
    WentAgain,
)
from tests.session.strategies import events

TITLES = {"bias": "Bias", "level": "Record level"}
TORQUE = Limits(5.0, 2.0, source="sheet")


@given(events)
def test_every_event_has_words(event: Event) -> None:
    assert isinstance(event_sentence(event, {}), str)


COST = "which costs 3 passes of the reference tape"


@pytest.mark.parametrize(
    ("event", "words"),
    [
        (Turned("bias left", (6.0, -2.0)), "bias left: adjusted 2 times, net 4° clockwise"),
        (
            TurnedBack("bias left", -4.0),
            "bias left turned back by 4° anticlockwise, to its position when the job began",
        ),
        (Waited(30.0, 120.0), "went on after 0.5 of 2 minutes"),
        (Waited(120.0, 120.0), "waited 2 minutes"),
        (RoundsRecorded(1), "1 round recorded and replayed"),
        (Released(42.4), "went on after 42 s"),
        (Skipped("no tape"), "no tape"),
        (
            Skipped("no tape", "the sheet has no such target"),
            "no reading, because the sheet has no such target; no tape",
        ),
        (WentAgain("bias", 4, left=1), "not all in: back to Bias; at most 1 time, this one included"),
        (
            WentAgain("gone", 4, left=2, out=("azimuth_delay",), passes=3),
            f"Azimuth, delay not in: back to gone, {COST}; at most 2 times, this one included",
        ),
        (Decided("", 4, answer="yes"), "yes: on to the end"),
        (Decided("level", 4, not_in=("bias",)), "not in: Bias: on to Record level"),
        (Decided("", 4, all_in=("bias",), passed_over=("level",)), "in: Bias: on to the end; not needed: Record level"),
        (Decided("bias", 4), "nothing to decide by: what it looks at does not apply here: on to Bias"),
        (Answered(4.5, "mN·m", TORQUE), "4.5 mN·m, inside 5 ± 2 mN·m as read (sheet)"),
        (Answered(7.1, "mN·m", TORQUE), "7.1 mN·m, outside 5 ± 2 mN·m as read (sheet)"),
        (Answered(19.0, "mV", Limits(20.0, limit="at least", source="s")), "19 mV, outside at least 20 mV as read (s)"),
        (Answered(20.0, "mV", Limits(20.0, limit="at most", source="s")), "20 mV, inside at most 20 mV as read (s)"),
        (Answered(""), "nothing entered"),
        (Answered("a", right="a"), "a (right)"),
        (Answered("b", right="a"), "b (the right answer: a)"),
        (CurveTaken("overbias", "bias left", "left", "degrees", "dBFS", (), 10000.0), "left, 10 kHz: degrees, dBFS"),
        (Done(), "the job is over"),
    ],
)
def test_words(event: Event, words: str) -> None:
    assert event_sentence(event, TITLES) == words


def test_kinds_are_named_once() -> None:
    assert len(set(KINDS.values())) == len(KINDS)
