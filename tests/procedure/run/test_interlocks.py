"""The interlocks: what they protect machine and tape from, whatever a procedure says.

Common practice, no source: a magnetised or dirty head ruins a reference tape, and recording over it any tape.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from bench.audio.port import Act, Port, PortStatus
from bench.open_run import OpenRun
from bench.procedure.kinds.bench import Bench
from bench.procedure.model.steps import StepBase
from bench.procedure.run.interlocks import Interlocks
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Acted, Overridden, Switched
from bench.session.record.store import SessionStore
from tests.procedure import flow_bench
from tests.procedure.flow_bench import LEVEL, MEASURE, PLAY, RECORD, WITH, WithoutHands, words
from tests.smooth import smooth_procedures

REVERSE = RECORD.replace('"record"\ntitle', '"reverse"\ntitle') + 'direction = "reverse"\n'
TURN_OVER = """
[[step]]
kind = "by-hand"
id = "over"
title = "Over"
do = "Let it run the other way."
direction = "reverse"
"""


class Machine:
    """A machine, the work done on it, and the interlocks before the steps of its job."""

    def __init__(self, run: OpenRun, port: Port, journal: SessionStore) -> None:
        self.bench = Bench(run.job, port, journal, run.clock)
        self.interlocks = Interlocks(self.bench)
        self.journal = journal
        self.steps: dict[str, StepBase] = {step.id: step for step in run.job.steps}

    def do(self, *acts: Act) -> None:
        for act in acts:
            self.bench.do(act, self.steps["first"])

    def demand(self, name: str) -> tuple[str, str]:
        """The question before a step, as its kind and first words; ("", "") if there is none."""
        prompt = self.interlocks.demand(self.steps[name])
        return (prompt.kind, prompt.text.partition(".")[0]) if prompt is not None else ("", "")

    def done(self) -> list[str]:
        return [e.act for e in of_kind(self.journal.events(), Acted)]

    def switched(self) -> list[tuple[str, str, str]]:
        return [(e.step, e.control, e.position) for e in of_kind(self.journal.events(), Switched)]


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> OpenRun:
    """A job with a step of each sort, on a deck that runs both ways."""
    root = tmp_path_factory.mktemp("bench")
    bench = flow_bench.Bench(root)
    smooth_procedures(root / "procedures")
    sheet = root / "procedures" / "sheets" / "machines" / "three-head-cassette.toml"
    sheet.write_text("auto_reverse = true\n" + sheet.read_text(encoding="utf-8"), encoding="utf-8")
    return bench.open(words("first") + PLAY + LEVEL + RECORD + WITH + MEASURE + REVERSE + TURN_OVER)


Make = Callable[..., Machine]


@pytest.fixture
def machine(tmp_path: Path, run: OpenRun) -> Make:
    """Makes a machine that nobody has worked on yet, operated by the program or by a person."""

    def make(port: Port = run.port) -> Machine:
        return Machine(run, port, SessionStore.create(tmp_path, run.store.job, [], run.clock))

    return make


@pytest.mark.parametrize("step", ["play", "level", "measured"])
@pytest.mark.parametrize(
    ("acts", "asked"),
    [
        ((), "reason"),
        (("clean",), "reason"),
        (("demagnetise",), "reason"),
        (("clean", "demagnetise"), ""),
        (("demagnetise", "rewind", "clean"), ""),
    ],
)
def test_the_reference_tape_meets_only_a_clean_and_demagnetised_machine(
    machine: Make, step: str, acts: tuple[Act, ...], asked: str
) -> None:
    here = machine()
    here.do(*acts)
    assert here.demand(step)[0] == asked
    assert ("load-reference-tape" in here.done()) is (asked == "")


@pytest.mark.parametrize(
    ("acts", "missing"),
    [
        ([], "Not cleaned and not demagnetised in this run."),
        (["clean"], "Not demagnetised in this run."),
        (["demagnetise"], "Not cleaned in this run."),
    ],
)
def test_it_is_an_interlock_and_says_what_is_missing(machine: Make, acts: list[Act], missing: str) -> None:
    here = machine()
    here.do(*acts)
    prompt = here.interlocks.demand(here.steps["play"])
    assert prompt is not None
    assert prompt.interlock
    assert prompt.text.startswith(missing)


def test_a_reason_lets_it_in_and_is_kept(machine: Make) -> None:
    here = machine()
    here.interlocks.override(here.steps["play"], "it was cleaned an hour ago")
    assert here.demand("play") == ("", "")
    assert here.demand("level") == ("", "")
    (kept,) = of_kind(here.journal.events(), Overridden)
    assert (kept.step, kept.reason) == ("play", "it was cleaned an hour ago")


def test_a_tape_that_is_in_is_not_loaded_again(machine: Make) -> None:
    here = machine()
    here.do("clean", "demagnetise")
    for step in ("play", "level", "play"):
        assert here.demand(step) == ("", "")
    assert here.done().count("load-reference-tape") == 1
    here = machine()
    for _ in range(2):
        assert here.demand("record") == ("", "")
    assert here.done() == ["load-work-tape"]


@pytest.mark.parametrize(
    ("tape", "said"),
    [
        ("load-reference-tape", "Reference tape out and put away, tape in use loaded"),
        ("load-owners-tape", "Owner's tape out and put away, tape in use loaded"),
    ],
)
def test_nothing_records_over_a_tape_that_is_not_for_it(machine: Make, tape: Act, said: str) -> None:
    here = machine()
    here.do("load-work-tape", tape)
    prompt = here.interlocks.demand(here.steps["record"])
    assert prompt is not None
    assert (prompt.kind, prompt.interlock) == ("confirm", True)
    assert prompt.text == f"{said}. Confirm before anything records."
    here.interlocks.confirm(here.steps["record"])
    assert here.done()[-1] == "load-work-tape"
    assert here.demand("record") == ("", "")
    here.do(tape)
    assert here.demand("record") == ("confirm", said)


def test_a_machine_that_only_plays_what_is_in_is_asked_nothing(machine: Make) -> None:
    here = machine()
    here.do("load-owners-tape")
    assert here.demand("first") == ("", "")
    assert here.demand("over") == ("", "")
    assert here.done() == ["load-owners-tape"]


class Capture(WithoutHands):
    """A capture played instead of a machine."""

    @property
    def status(self) -> PortStatus:
        return replace(super().status, kind="file")


def test_a_capture_of_a_file_is_nobodys_machine(machine: Make, run: OpenRun) -> None:
    here = machine(Capture(run.port))
    assert [here.demand(name) for name in ("play", "record", "with")] == [("", "")] * 3
    assert here.journal.events() == ()


def test_switches_are_set_once_and_as_the_next_step_has_them(machine: Make) -> None:
    here = machine()
    for step in ("with", "with", "record", "reverse", "record"):
        assert here.demand(step) == ("", "")
    assert here.switched() == [
        ("with", "noise-reduction", "on"),
        ("record", "noise-reduction", "off"),
        ("reverse", "direction", "reverse"),
        ("record", "direction", "forward"),
    ]


def test_a_person_is_asked_for_each_switch_and_what_is_confirmed_is_kept(machine: Make, run: OpenRun) -> None:
    here = machine(WithoutHands(run.port))
    assert here.demand("record") == ("", "")  # their positions from the start
    assert here.demand("with") == ("confirm", "Switch noise reduction in, for recording and replay")
    assert here.switched() == []
    here.interlocks.confirm(here.steps["with"])
    assert here.switched() == [("with", "noise-reduction", "on")]
    assert here.demand("with") == ("", "")
    assert here.demand("reverse") == ("confirm", "Switch noise reduction out")
    here.interlocks.confirm(here.steps["reverse"])
    assert here.demand("reverse") == ("confirm", "Let the tape run in reverse")
    here.interlocks.confirm(here.steps["reverse"])
    assert here.demand("reverse") == ("", "")
    assert here.demand("over") == ("", "")
    assert here.switched()[1:] == [("reverse", "noise-reduction", "off"), ("reverse", "direction", "reverse")]


def test_what_is_confirmed_is_what_was_asked_last(machine: Make, run: OpenRun) -> None:
    here = machine(WithoutHands(run.port))
    assert here.demand("with")[1].startswith("Switch noise reduction in")
    here.do("load-reference-tape")
    assert here.demand("with")[1].startswith("Reference tape out")
    here.interlocks.confirm(here.steps["with"])
    assert here.switched() == []
    assert here.done()[-1] == "load-work-tape"
