"""Readings that an adjustment disturbs must be checked again, or the run is not in tolerance."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
import tomli_w

from bench.audio.port import hands_of
from bench.open_run import OpenRun
from bench.procedure.run import commands as say
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Turned
from tests.procedure.flow_bench import (
    CLEAN,
    LEVEL,
    MEASURE,
    SIGN,
    Bench,
    at,
    events,
    leave_it_out,
    listen,
    listen_through,
    set_level,
    words,
)
from tests.smooth import smooth_procedures

RECORDED = """
[[step]]
kind = "record-replay"
id = "recorded"
title = "Recorded"
do = "Record."
sends = [{ hz = 400, db = -20, seconds = 1.0 }]
reference_hz = 400
targets = { record_replay_level = "machine.record_level" }
stage = "found-clean"
"""


BOTH_WAYS = """
[[step]]
kind = "reference"
id = "play"
title = "Play"
do = "Play."
each_direction = true
stage = "found-clean"
targets = { azimuth_delay = "machine.replay_azimuth", response = "machine.replay_response" }

[[step]]
kind = "adjust"
id = "azimuth"
title = "Azimuth in reverse"
do = "Turn."
direction = "reverse"
quantity = "azimuth_delay"
plays = "azimuth-1k"
target = "machine.replay_azimuth_coarse"
trimmers = { both = "replay azimuth reverse" }
"""


SHORT_TAPE = {"level-315", "azimuth-1k", "azimuth-10k", "response-315", "response-10k"}
"""Sections of the shipped reference tape that are enough to read azimuth and response."""


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def _with_a_short_tape(bench: Bench) -> str:
    """The keys of a procedure on the auto-reverse deck with a reference tape that is soon over."""
    procedures = bench.root / "procedures"
    smooth_procedures(procedures)
    sheets = procedures / "sheets" / "reference-tapes"
    whole = tomllib.loads((sheets / "cassette-reference.toml").read_text(encoding="utf-8"))
    whole["section"] = [section for section in whole["section"] if section["id"] in SHORT_TAPE]
    (sheets / "short.toml").write_text(tomli_w.dumps(whole), encoding="utf-8")
    return 'machine = "auto-reverse-cassette"\nreference_tape = "short"\n'


AGAIN = "To be checked again, because something was adjusted since:"


def _record(run: OpenRun) -> None:
    """Load the tape in use, send the tones, and listen to them."""
    while run.runner.snapshot().prompt.kind in {"confirm", "go-on"}:
        run.runner.obey(say.GoOn())
    listen_through(run)


def test_what_was_shown_before_is_to_be_checked_again(bench: Bench) -> None:
    run = bench.open(CLEAN + RECORDED + LEVEL + SIGN)
    run.runner.obey(say.GoOn())
    _record(run)
    assert run.runner.snapshot().to_check_again == ()
    set_level(run)
    assert run.runner.snapshot().to_check_again == ("record level",)
    assert at(run) == "sign"
    assert (
        "To be checked again, so that it can't be signed off as in: record level." in run.runner.snapshot().prompt.text
    )
    run.runner.obey(say.Answer("the bench"))
    outcome = run.runner.outcome()
    assert (outcome.completed, outcome.exit_code, outcome.said) == (True, 1, f"Not all in. {AGAIN} record level.")


def test_it_is_cleared_by_a_later_reading(bench: Bench) -> None:
    again = RECORDED.replace('"recorded"', '"again"').replace('stage = "found-clean"\n', "")
    run = bench.open(CLEAN + RECORDED + LEVEL + again + SIGN)
    run.runner.obey(say.GoOn())
    _record(run)
    set_level(run)
    _record(run)
    run.runner.obey(say.Answer("not set yet"))  # a reading that is out counts as a check too
    assert events(run, "to-check", "checked") == [
        ("to-check", "level", "record level"),
        ("checked", "again", "record level"),
    ]
    assert run.runner.snapshot().to_check_again == ()


def test_a_tone_that_never_came_clears_nothing(bench: Bench) -> None:
    again = RECORDED.replace('"recorded"', '"again"').replace('stage = "found-clean"\n', "")
    run = bench.open(CLEAN + RECORDED + LEVEL + again + SIGN)
    run.runner.obey(say.GoOn())
    _record(run)
    set_level(run)
    run.runner.obey(say.GoOn())
    run.runner.obey(say.GoOn())
    run.port.send(None)  # a cable fell out
    listen_through(run)
    run.runner.obey(say.Answer("cable"))
    assert run.runner.snapshot().to_check_again == ("record level",)


def test_what_was_never_shown_is_not_asked_for(bench: Bench) -> None:
    run = bench.open(CLEAN + LEVEL + SIGN)
    run.runner.obey(say.GoOn())
    set_level(run)
    assert run.runner.snapshot().to_check_again == ()


def test_an_adjustment_that_was_skipped_disturbs_nothing_unless_it_was_turned(bench: Bench) -> None:
    run = bench.open(CLEAN + RECORDED + MEASURE + LEVEL + SIGN)
    run.runner.obey(say.GoOn())
    _record(run)
    listen_through(run)
    run.runner.obey(say.Answer("as it came"))
    run.runner.obey(say.Skip("the owner wants it so"))
    assert run.runner.snapshot().to_check_again == ()
    run.runner.obey(say.Back())
    run.runner.obey(say.Turn("replay level left", 10.0))
    run.runner.obey(say.Skip("a slip of the hand"))
    assert run.runner.snapshot().to_check_again == ("replay level", "record level")


def test_a_trimmer_turned_at_another_step_is_seen(bench: Bench) -> None:
    run = bench.open(CLEAN + MEASURE + words("talk") + SIGN)
    run.runner.obey(say.GoOn())
    listen_through(run)
    run.runner.obey(say.Answer("as it came"))
    run.runner.obey(say.Turn("replay level left", 10.0))
    run.runner.obey(say.GoOn())
    assert run.runner.snapshot().to_check_again == ("replay level",)


def test_a_turn_is_kept_as_far_as_it_went(bench: Bench) -> None:
    run = bench.open(CLEAN + words("talk") + SIGN)
    run.runner.obey(say.GoOn())
    hands = hands_of(run.port)
    assert hands is not None
    before = next(t for t in hands.trimmers() if t.name == "bias left")
    run.runner.obey(say.Turn("bias left", 1000.0))
    run.runner.obey(say.GoOn())
    (turned,) = of_kind(run.store.events(), Turned)
    assert list(turned.degrees) == pytest.approx([before.high - before.degrees])


def test_a_step_says_itself_what_it_disturbs(bench: Bench) -> None:
    belt = words("belt") + 'disturbs = ["speed", "replay level"]\n'
    run = bench.open(CLEAN + MEASURE + belt + SIGN)
    run.runner.obey(say.GoOn())
    listen_through(run)
    run.runner.obey(say.Answer("as it came"))
    run.runner.obey(say.GoOn())
    assert run.runner.snapshot().to_check_again == ("replay level",)


def test_it_stands_after_a_break(bench: Bench) -> None:
    run = bench.open(CLEAN + RECORDED + LEVEL + SIGN)
    run.runner.obey(say.GoOn())
    _record(run)
    leave_it_out(run)
    run = bench.resume(run)
    assert run.runner.snapshot().to_check_again == ("record level",)


def test_the_azimuth_of_one_direction_disturbs_the_readings_of_that_direction(bench: Bench) -> None:
    run = bench.open(_with_a_short_tape(bench) + CLEAN + BOTH_WAYS + words("talk") + SIGN)
    run.runner.obey(say.GoOn())
    listen(run, lambda s: s.step is None or "play" not in s.step.id, 600.0)
    assert at(run) == "azimuth"
    set_level(run)
    assert events(run, "to-check", "checked") == [("to-check", "azimuth", "replay response in reverse")]
    assert at(run) == "talk"
    run.runner.obey(say.Turn("replay azimuth", 5.0))
    run.runner.obey(say.GoOn())
    assert run.runner.snapshot().to_check_again == (
        "replay azimuth",
        "replay response",
        "replay response in reverse",
    )
    run.runner.obey(say.Answer("the bench"))
    said = f"Not all in. {AGAIN} replay azimuth; replay response; replay response in reverse."
    assert run.runner.outcome().said == said


def test_a_reading_in_one_direction_clears_nothing_of_the_other(bench: Bench) -> None:
    both = MEASURE + "each_direction = true\n"
    again = MEASURE.replace('"measured"', '"again"')
    run = bench.open('machine = "auto-reverse-cassette"\n' + CLEAN + both + words("talk") + again + SIGN)
    run.runner.obey(say.GoOn())
    for _ in range(2):
        listen_through(run)
        run.runner.obey(say.Answer("as it came"))
    assert at(run) == "talk"
    run.runner.obey(say.Turn("replay level left", 10.0))
    run.runner.obey(say.GoOn())
    assert run.runner.snapshot().to_check_again == ("replay level", "replay level in reverse")
    listen_through(run)
    run.runner.obey(say.Answer("as it is"))
    assert run.runner.snapshot().to_check_again == ("replay level in reverse",)
