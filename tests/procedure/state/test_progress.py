"""Decisions, going back and repeating: the route through a procedure, which is restored after an interruption."""

from __future__ import annotations

from pathlib import Path
from typing import cast

import pytest

from bench.measure.reading import Reading
from bench.measure.verdict import Verdict, VerdictWord
from bench.procedure.load.library import Library
from bench.procedure.model.steps import Adjust, Reference, plays_reference_tape
from bench.procedure.run import commands as say
from bench.procedure.state.dependencies import aspect_set_by
from bench.procedure.state.event_kinds import Event
from bench.procedure.state.journal import Journal, ReadingRecord
from bench.procedure.state.progress import Progress
from bench.workspace import Workspace
from tests.procedure.flow_bench import (
    CLEAN,
    HEAD,
    LEVEL,
    MEASURE,
    Bench,
    at,
    events,
    leave_it_out,
    listen_through,
    set_level,
    words,
)
from tests.session.made_up import START

REPO = Path(__file__).parents[3]


class NothingYet:
    """The journal of a run that has only begun."""

    def events(self) -> tuple[Event, ...]:
        """None."""
        return ()

    def records(self) -> tuple[ReadingRecord, ...]:
        """None."""
        return ()

    def steps_done(self) -> tuple[str, ...]:
        """None."""
        return ()


ENOUGH = """
[[step]]
kind = "decision"
id = "enough"
title = "Enough?"
of = "level"
when_in = "end"
"""

ASKED = """
[[step]]
kind = "decision"
id = "which"
title = "Which?"
asks = "Which way?"
choices = [{ say = "on" }, { say = "to the end", go_to = "end" }]
"""

FOUND = """
[[step]]
kind = "follow"
id = "found"
title = "Found"
procedure = "piece"
stage = "found-clean"
"""

AGAIN = MEASURE + 'again_until = { back_to = "level", at_most = 2 }\n'


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def test_a_decision_passes_over_what_is_not_needed(bench: Bench) -> None:
    run = bench.open(CLEAN + LEVEL + ENOUGH + MEASURE + words("more") + words("end"))
    run.runner.obey(say.GoOn())
    set_level(run)
    assert at(run) == "end"
    assert events(run, "decision") == [
        ("decision", "enough", "in: Replay level: on to End; not needed: Level, measured, More"),
    ]
    run.runner.obey(say.GoOn())
    outcome = run.runner.outcome()
    assert (outcome.completed, outcome.exit_code, outcome.said) == (
        True,
        0,
        "All in. All 2 judged readings at 1 step are in.",
    )


def test_a_decision_on_what_is_not_in_goes_on(bench: Bench) -> None:
    run = bench.open(CLEAN + LEVEL + ENOUGH + words("more") + words("end"))
    run.runner.obey(say.GoOn())
    leave_it_out(run)
    assert at(run) == "more"
    assert events(run, "decision") == [("decision", "enough", "not in: Replay level: on to More")]


def test_a_skipped_step_is_not_in(bench: Bench) -> None:
    run = bench.open(CLEAN + LEVEL + ENOUGH.replace("when_in", "when_not") + words("more") + words("end"))
    run.runner.obey(say.GoOn())
    run.runner.obey(say.Skip("no screwdriver"))
    assert at(run) == "end"


def test_a_person_decides(bench: Bench) -> None:
    run = bench.open(ASKED + words("more") + words("end"))
    shown = run.runner.snapshot()
    assert (shown.prompt.kind, shown.prompt.text, shown.prompt.choices) == (
        "choice",
        "Which way?",
        ("on", "to the end"),
    )
    run.runner.obey(say.GoOn())
    assert run.runner.snapshot().notice == "choose one of the answers first"
    run.runner.obey(say.Answer("home"))
    assert run.runner.snapshot().notice == '"home" is none of: on, to the end'
    run.runner.obey(say.Answer("2"))
    assert at(run) == "end"
    assert events(run, "answer", "decision") == [
        ("answer", "which", "to the end"),
        ("decision", "which", "to the end: on to End; not needed: More"),
    ]


def test_what_was_decided_last_counts(bench: Bench) -> None:
    run = bench.open(CLEAN + ASKED + MEASURE + words("end"))
    run.runner.obey(say.GoOn())
    run.runner.obey(say.Answer("to the end"))
    run.runner.obey(say.Back())
    assert at(run) == "which"
    run.runner.obey(say.Answer("on"))
    run.runner.obey(say.Skip("no tape"))
    run.runner.obey(say.GoOn())
    assert run.runner.outcome().said == "Not all in. Skipped: Level, measured."


def test_it_goes_round_again_until_it_is_in(bench: Bench) -> None:
    run = bench.open(CLEAN + LEVEL + AGAIN)
    run.runner.obey(say.GoOn())
    leave_it_out(run)
    shown = listen_through(run)
    assert at(run) == "level"
    cost = "which costs 2 passes of the reference tape; at most 2 times, this one included"
    assert shown.notice == f"Level not in: back to Replay level, {cost}"
    set_level(run)
    listen_through(run)
    assert run.runner.finished
    assert [(r.step, r.attempt) for r in run.store.records()] == [
        ("level", 1),
        ("level", 1),
        ("measured", 1),
        ("measured", 1),
        ("level", 2),
        ("level", 2),
        ("measured", 2),
        ("measured", 2),
    ]
    assert run.runner.outcome().exit_code == 0


@pytest.mark.parametrize(
    ("out", "back_to"),
    [
        (("azimuth_delay",), "azimuth"),
        (("level",), "level"),
        (("response",), "equalisation"),
        (("response", "azimuth_delay"), "azimuth"),
        (("polarity",), None),
    ],
)
def test_it_goes_back_to_a_step_that_can_mend_what_is_out(
    tmp_path: Path, out: tuple[str, ...], back_to: str | None
) -> None:
    job = Library(Workspace(REPO)).load_job("line-up-cassette")
    step = next(s for s in job.steps if isinstance(s, Reference) and s.again_until is not None)
    progress = Progress(job, cast(Journal, NothingYet()))
    back = progress.retry_from(step, out)
    if back is None:
        assert back_to is None
        return
    gone_back_to = job.steps[back]
    assert isinstance(gone_back_to, Adjust)
    assert {aspect_set_by(t) for t in gone_back_to.trimmers.values()} == {
        {"azimuth": "replay azimuth", "level": "replay level", "equalisation": "replay response"}[str(back_to)]
    }
    assert progress.going_again(step, back, out).passes == sum(
        plays_reference_tape(s) for s in job.steps[back : job.steps.index(step) + 1]
    )


@pytest.mark.parametrize(
    ("word", "off", "found"),
    [
        ("too close to call", 1.0, ()),
        ("too close to call", -1.0, ()),
        ("too close to call", 5.0, ("azimuth_delay",)),
        ("out", 20.0, ("azimuth_delay",)),
        ("in", 0.0, ()),
    ],
)
def test_what_is_on_target_and_only_uncertain_is_not_adjusted_again(
    word: VerdictWord, off: float, found: tuple[str, ...]
) -> None:
    """A typical azimuth cassette is accurate to 2 minutes of arc, 11 µs, so no turn brings a reading within ±6 µs."""
    job = Library(Workspace(REPO)).load_job("line-up-cassette")
    step = next(s for s in job.steps if isinstance(s, Reference) and s.again_until is not None)
    reading = Reading("azimuth_delay", "left-right", off, 11.4, frequency_hz=10000.0)
    verdict = Verdict(word=word, target=0.0, tolerance=6.0)
    record = ReadingRecord("r1", step.id, "left", True, "reference tape", reading, verdict, START)

    class OneReading(NothingYet):
        def records(self) -> tuple[ReadingRecord, ...]:
            return (record,)

    assert Progress(job, cast(Journal, OneReading())).not_in(step, 1) == found


@pytest.mark.parametrize(("hz", "found"), [(40.0, ()), (1000.0, ()), (4000.0, ("response",)), (12500.0, ("response",))])
def test_a_response_that_no_trimmer_reaches_is_not_adjusted_again(hz: float, found: tuple[str, ...]) -> None:
    """The job sets replay equalisation by 10 kHz: that does nothing to the bump of a head at 40 Hz."""
    job = Library(Workspace(REPO)).load_job("line-up-cassette")
    step = next(s for s in job.steps if isinstance(s, Reference) and s.again_until is not None)
    reading = Reading("response", "left", 3.0, 0.3, frequency_hz=hz)
    record = ReadingRecord("r1", step.id, "left", True, "reference tape", reading, Verdict("out", 0.0, 2.0), START)

    class OneReading(NothingYet):
        def records(self) -> tuple[ReadingRecord, ...]:
            return (record,)

    assert Progress(job, cast(Journal, OneReading())).not_in(step, 1) == found


def test_after_the_last_round_it_asks_for_a_reason(bench: Bench) -> None:
    run = bench.open(CLEAN + LEVEL + AGAIN)
    run.runner.obey(say.GoOn())
    for _ in range(2):
        leave_it_out(run)
        listen_through(run)
        assert at(run) == "level"
    leave_it_out(run)
    shown = listen_through(run)
    assert (at(run), shown.prompt.kind) == ("measured", "reason")
    run.runner.obey(say.Accept("three times is enough"))
    assert len(events(run, "again")) == 2
    assert run.runner.outcome().exit_code == 1


def test_an_adjustment_that_was_accepted_although_out_does_not_go_back(bench: Bench) -> None:
    again = LEVEL.replace('"level"\ntitle', '"later"\ntitle') + 'again_until = { back_to = "level" }\n'
    run = bench.open(CLEAN + LEVEL + again + words("end"))
    run.runner.obey(say.GoOn())
    leave_it_out(run)
    leave_it_out(run)
    assert at(run) == "end"


def test_as_found_nothing_goes_back(bench: Bench) -> None:
    piece = bench.root / "procedures" / "piece.toml"
    bench.open(words("first"))
    piece.write_text(HEAD + words("level") + AGAIN, encoding="utf-8")
    run = bench.open(CLEAN + FOUND + words("end"))
    run.runner.obey(say.GoOn())
    run.runner.obey(say.GoOn())
    listen_through(run)
    assert at(run) == "end"


def test_back_keeps_what_was_measured_as_an_earlier_attempt(bench: Bench) -> None:
    run = bench.open(CLEAN + MEASURE + words("end"))
    assert not run.runner.snapshot().can_go_back
    run.runner.obey(say.Back())
    assert "no step before this one" in run.runner.snapshot().notice
    run.runner.obey(say.GoOn())
    listen_through(run)
    run.runner.obey(say.Answer("it is late"))
    assert run.runner.snapshot().can_go_back
    run.runner.obey(say.Back())
    assert at(run) == "measured"
    listen_through(run)
    assert [r.attempt for r in run.store.records()] == [1, 1, 2, 2]
    assert events(run, "back") == [("back", "end", "back to Level, measured")]


def test_back_from_a_demand_and_over_a_verdicts_decision(bench: Bench) -> None:
    run = bench.open(LEVEL + ENOUGH.replace("end", "later") + words("later"))
    assert run.runner.snapshot().prompt.interlock
    run.runner.obey(say.Skip("no tape"))
    assert at(run) == "later"
    run.runner.obey(say.Back())  # not to the decision, which would lead back here
    assert at(run) == "level"
    assert run.runner.snapshot().prompt.interlock


@pytest.mark.parametrize("answer", ["on", "to the end"])
def test_a_break_after_a_decision_goes_on_where_it_led(bench: Bench, answer: str) -> None:
    run = bench.open(CLEAN + ASKED + words("more") + words("end"))
    run.runner.obey(say.GoOn())
    run.runner.obey(say.Answer(answer))
    resumed = bench.resume(run)
    assert at(resumed) == ("more" if answer == "on" else "end")
    resumed.runner.obey(say.GoOn())
    if answer == "on":
        assert at(bench.resume(resumed)) == "end"
    else:
        assert resumed.runner.finished


def test_a_break_after_going_back_goes_on_there_and_then_onwards(bench: Bench) -> None:
    run = bench.open(words("one") + words("two") + words("three"))
    run.runner.obey(say.GoOn())
    run.runner.obey(say.GoOn())
    run.runner.obey(say.Back())
    run.runner.obey(say.Back())
    run = bench.resume(run)
    assert at(run) == "one"
    run.runner.obey(say.GoOn())
    run = bench.resume(run)
    assert at(run) == "two"


def test_a_break_after_going_round_again(bench: Bench) -> None:
    run = bench.open(CLEAN + LEVEL + AGAIN)
    run.runner.obey(say.GoOn())
    leave_it_out(run)
    listen_through(run)
    run = bench.resume(run)
    assert at(run) == "level"
    leave_it_out(run)
    listen_through(run)
    run = bench.resume(run)
    leave_it_out(run)
    assert listen_through(run).prompt.kind == "reason"  # the rounds before the breaks were counted


def test_a_long_row_of_decisions_is_no_deep_well(bench: Bench) -> None:
    row = "".join(
        ENOUGH.replace('"enough"', f'"d{n}"').replace('when_in = "end"', f'when_not = "d{n + 2}"') for n in range(400)
    )
    run = bench.open(CLEAN + LEVEL + row.replace('"d400"', '"end"').replace('"d401"', '"end"') + words("end"))
    run.runner.obey(say.GoOn())
    leave_it_out(run)
    assert at(run) == "end"
    assert len(events(run, "decision")) == 200


class OverSoFar(NothingYet):
    """The journal of a run with these steps over."""

    def __init__(self, *steps: str) -> None:
        self._steps = steps

    def steps_done(self) -> tuple[str, ...]:
        """Those."""
        return self._steps


def test_going_back_passes_what_needs_nobody() -> None:
    job = Library(Workspace(REPO)).load_job("foreign-tape")
    ids = [s.id for s in job.steps]
    progress = Progress(job, cast(Journal, OverSoFar("tones", "heard")))
    back = progress.previous(ids.index("transfer"))
    assert back is not None
    assert ids[back] == "tones"  # its reading is computed at once, and would lead back here
