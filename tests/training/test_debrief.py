"""The debrief on a machine of known state, from the events of a session."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from bench.measure.reading import Reading
from bench.measure.verdict import Verdict, VerdictWord
from bench.procedure.load.library import Library
from bench.procedure.state.event_kinds import Event
from bench.procedure.state.events import (
    Done,
    Noted,
    Resumed,
    Started,
    Turned,
)
from bench.procedure.state.exercise_events import CauseNamed, Debriefed
from bench.procedure.state.journal import ReadingRecord
from bench.session.report.debrief_text import debrief_lines
from bench.training.causes import Cause, is_right_name
from bench.training.debrief import TraineeWork, debrief
from bench.training.truth import HiddenCause, TrimmerTruth, Truth
from bench.workspace import Workspace

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
JOB = Library(Workspace(Path(__file__).parents[2])).load_job("line-up-cassette")
SETS = ("replay azimuth", "replay equalisation left", "replay level left", "bias left", "record equalisation left")

DIRT = Cause("Dirt", "Treble falls.", {"replay_dirt_left_um": 1.0}, ("clean",))
GAP = Cause("Worn gap", "Treble falls.", {"replay_gap_um": 2.4})
ANGLE = Cause("Azimuth", "Late.", {"replay_azimuth_arcmin": 14.0})
KNOWN = (
    DIRT,
    GAP,
    ANGLE,
    Cause("Bias high", "Dull.", {"bias_left_db": 3.0}),
    Cause("Bias low", "Bright.", {"bias_left_db": -3.0}),
)
SET_BY = {ANGLE.name: ("replay azimuth",)}


def truth(*causes: Cause, gone: bool = False, **off: float) -> Truth:
    named = {name.replace(" ", "_"): name for name in SETS}
    figures = {"bias left": "bias_left_db", "replay azimuth": "replay_azimuth_arcmin"}
    trimmers = tuple(
        TrimmerTruth(named[key], value, "arcmin" if "azimuth" in key else "dB", figures.get(named[key], ""))
        for key, value in {**dict.fromkeys(named, 0.0), **off}.items()
    )
    return Truth(trimmers, tuple(HiddenCause(c, SET_BY.get(c.name, ()), not gone) for c in causes))


def debriefed(
    before: Truth, after: Truth, events: Sequence[Event] = (), named: Sequence[str] = (), *records: ReadingRecord
) -> Debriefed:
    said = [CauseNamed(name, step="end", time=START + timedelta(hours=1)) for name in named]
    return debrief(JOB, before, after, TraineeWork(records, [*events, *said]), KNOWN)


def clean(told: Debriefed) -> bool:
    """Whether nothing remains to be looked at again, and no absent fault was named."""
    return not {"again", "wrong"} & {about for about, _ in debrief_lines((told,))}


def turns(*trimmers: str) -> list[Turned]:
    return [Turned(t, (3.0, 2.0), step="s", time=START + timedelta(minutes=n)) for n, t in enumerate(trimmers)]


def level_read(value: float, word: VerdictWord) -> ReadingRecord:
    step = next(s.id for s in JOB.steps if "replay level left" in getattr(s, "trimmers", {}).values())
    reading = Reading("level", "left", value, 0.1, frequency_hz=315.0)
    verdict = Verdict(word, -12.0, 0.5)
    return ReadingRecord("r0001", step, "left", True, "reference tape", reading, verdict, START)


def test_azimuth_left_off_and_equalisation_raised_is_hidden_not_mended() -> None:
    before = truth(ANGLE, replay_azimuth=14.0)
    after = truth(ANGLE, replay_azimuth=14.0, replay_equalisation_left=4.0)
    told = debriefed(before, after, turns("replay equalisation left"), ())
    assert told.faults[0].state == "hidden"
    assert told.faults[0].by == "replay equalisation left"
    assert not clean(told)
    assert any("it masks this cause: replay azimuth" in said for _, said in debrief_lines((told,)))


@pytest.mark.parametrize("off", [-14.0, 14.0])
def test_equalisation_lowered_hides_no_azimuth(off: float) -> None:
    """Azimuth costs treble in either direction, so only more treble can hide it."""
    after = truth(ANGLE, replay_azimuth=off, replay_equalisation_left=-4.0)
    told = debriefed(truth(ANGLE, replay_azimuth=off), after, turns("replay equalisation left"), ())
    assert told.faults[0].state == "missed"


def test_a_trimmer_that_was_never_turned_hides_nothing() -> None:
    after = truth(ANGLE, replay_azimuth=14.0, replay_equalisation_left=4.0)
    told = debriefed(after, after, [], ())
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
    told = debriefed(truth(bias_left=bias), after, turns("record equalisation left"), ())
    assert next(t.hides for t in told.trimmers if t.name == "record equalisation left") == hides


def test_what_was_cleaned_away_is_mended_named_or_not() -> None:
    for names, said in (((), "but not named"), (("Dirt",), "named, but not argued")):
        told = debriefed(truth(DIRT), truth(DIRT, gone=True), [], names)
        assert (told.faults[0].state, clean(told)) == ("mended", True)
        assert said in dict(debrief_lines((told,)))["fault"]


def test_what_only_the_workshop_mends_is_found_by_naming_it_and_may_be_made_good() -> None:
    after = truth(GAP, replay_equalisation_left=3.0)
    for names, state, nothing_left in ((("Worn gap",), "found", True), ((), "hidden", False)):
        told = debriefed(truth(GAP), after, turns("replay equalisation left"), names)
        assert (told.faults[0].state, clean(told)) == (state, nothing_left)


def test_a_fault_that_was_not_there_is_told() -> None:
    told = debriefed(truth(), truth(), [], ("Dirt",))
    assert told.wrongly_named == ("Dirt",)
    assert not clean(told)


def test_time_away_is_not_counted() -> None:
    events: list[Event] = [
        Started(step="a", time=START),
        Noted("a", step="a", time=START + timedelta(minutes=4)),
        Resumed(step="a", time=START + timedelta(hours=20)),
        Done(step="a", time=START + timedelta(hours=20, minutes=3)),
    ]
    assert debriefed(truth(), truth(), events, ()).minutes == pytest.approx(7.0)


def test_turns_are_counted_over_all_steps() -> None:
    events = [*turns("bias left"), *turns("bias left", "replay azimuth")]
    told = debriefed(truth(), truth(), events, ())
    assert told.turns == 6
    assert {t.name: t.turns for t in told.trimmers if t.turns} == {"bias left": 4, "replay azimuth": 2}


@pytest.mark.parametrize(
    ("off", "word", "right"),
    [
        (0.55, "in", True),
        (0.45, "out", False),
        (0.45, "too close to call", True),
        (0.55, "too close to call", False),
    ],
)
def test_a_trimmer_is_right_by_the_verdict_that_the_trainee_saw(off: float, word: VerdictWord, right: bool) -> None:
    """0.5 dB is the tolerance of the sheet; without a clear verdict the truth is compared with that same tolerance."""
    told = debriefed(truth(), truth(replay_level_left=off), [], (), level_read(-12.0 + off, word))
    assert next(t.right for t in told.trimmers if t.name == "replay level left") is right


def test_a_trimmer_turned_after_its_last_reading_is_not_judged_by_it() -> None:
    told = debriefed(truth(), truth(replay_level_left=3.0), turns("replay level left"), (), level_read(-12.0, "in"))
    assert not next(t.right for t in told.trimmers if t.name == "replay level left")


def test_a_trimmer_out_at_the_start_is_hidden_as_much_as_a_fault() -> None:
    before = truth(bias_left=2.0)
    for named, wrong in (("Bias high", ()), ("Bias low", ("Bias low",))):
        told = debriefed(before, before, [], (named,))
        assert [(f.name, f.named) for f in told.faults] == [("Bias out of adjustment", not wrong)]
        assert told.wrongly_named == wrong


def test_a_wider_or_narrower_name_is_the_same_cause_and_a_look_alike_is_not() -> None:
    one_side = Cause("Dirt on one side", "Treble falls.", {"replay_dirt_left_um": 1.5}, ("clean",))
    erase = Cause("Dirt on the erase head", "Old sound.", {"erase_db": -38.0}, ("clean",))
    weak = Cause("Weak erasure", "Old sound.", {"erase_db": -32.0})
    known = (DIRT, one_side, erase, weak)
    assert is_right_name("Dirt on one side", DIRT, known)
    assert not is_right_name("Weak erasure", erase, known)
