"""Ticks are evidence: whatever is recorded as done was ticked, and an open line has its reason."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.open_run import OpenRun
from bench.procedure.kinds.by_hand.entry import in_unit
from bench.procedure.run import commands as say
from bench.procedure.state.attention import attention
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Answered, SignedOff, Ticked, WentBack
from bench.session.record.reader import read_session
from bench.session.report.document import document_of
from bench.training.hands import UnattendedHands
from tests.procedure.flow_bench import SIGN, Bench, at

LIST = """
[[step]]
kind = "by-hand"
id = "look"
title = "Look"
do = "Look."
checklist = ["belts", "guides without a groove"]
"""
SAFE = (
    LIST.replace('"look"\ntitle = "Look"', '"off"\ntitle = "Off"')
    + """
[[step.cautions]]
hazard = "mains"
say = "Pull the plug."
"""
)
SWAB = """
[[step]]
kind = "by-hand"
id = "wipe"
title = "Wipe"
do = "Wipe."
does = ["clean"]

[[step]]
kind = "entry"
id = "swab"
title = "How did the last swab look?"
do = "Look."
asks = "choice"
choices = ["clean", "still brown"]
not_good = ["still brown"]
cure = "Wipe again?"
cure_from = "wipe"
"""


@pytest.fixture(name="bench")
def _bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def obey(run: OpenRun, *commands: say.Command) -> None:
    for command in commands:
        run.runner.obey(command)


def ticks(run: OpenRun) -> list[tuple[tuple[str, ...], tuple[str, ...], str]]:
    return [(e.lines, e.left_open, e.because) for e in of_kind(run.store.events(), Ticked)]


def first_part(run: OpenRun) -> tuple[str, ...]:
    return document_of(read_session(run.store.folder)).attention


def test_only_what_was_ticked_is_recorded_as_ticked(bench: Bench) -> None:
    run = bench.open(LIST + SIGN)
    obey(run, say.Tick(0), say.GoOn())
    assert run.runner.snapshot().prompt.choices == ("go through them one by one", "leave them open, and say why")
    obey(run, say.Answer("2"), say.Accept("  "))
    assert at(run) == "look"
    obey(run, say.Accept("a groove in the left one"))
    assert at(run) == "sign"
    assert ticks(run) == [(("belts",), ("guides without a groove",), "a groove in the left one")]
    assert first_part(run) == ("Look: left open: guides without a groove, because a groove in the left one.",)


def test_open_lines_are_gone_through_one_by_one(bench: Bench) -> None:
    run = bench.open(LIST + SIGN)
    obey(run, say.GoOn(), say.Answer("1"))
    assert run.runner.snapshot().prompt.text == "Is this done: belts?"
    obey(run, say.GoOn())  # the go-on key is no answer
    assert at(run) == "look"
    obey(run, say.Answer("yes"), say.Answer("yes"))
    assert (at(run), ticks(run)) == ("sign", [(("belts", "guides without a groove"), (), "")])
    assert first_part(run) == ()


@pytest.mark.parametrize("way", [(say.Accept("it will do"),), (say.Answer("no"), say.Answer("no"))])
def test_a_safety_checklist_is_not_passed_with_a_line_open(bench: Bench, way: tuple[say.Command, ...]) -> None:
    run = bench.open(SAFE + SIGN)
    obey(run, say.Tick(0), say.GoOn(), *way, *way, say.GoOn())
    assert at(run) == "off"
    assert ticks(run) == []
    obey(run, say.Answer("yes"))
    assert (at(run), ticks(run)) == ("sign", [(("belts", "guides without a groove"), (), "")])


def test_what_the_practice_machine_looks_like_is_shown_beside_the_question(bench: Bench) -> None:
    parts = 'looks_at = ["swab"]\n'
    run = bench.open(LIST + parts + SWAB.replace('asks = "choice"', 'asks = "choice"\n' + parts) + SIGN)
    shown = run.runner.snapshot()
    assert (shown.seen.endswith("light brown."), shown.prompt.text) == (True, "Done: go on")
    obey(run, say.Tick(0), say.Tick(1), say.GoOn(), say.GoOn())
    asked = run.runner.snapshot()
    assert (asked.seen.startswith("The swab"), asked.prompt.text) == (True, "How did the last swab look?")


def test_a_bad_answer_offers_its_cure_and_the_last_answer_counts(bench: Bench) -> None:
    run = bench.open(SWAB + SIGN)
    obey(run, say.GoOn(), say.Answer("still brown"))
    assert run.runner.snapshot().prompt.text == "Wipe again?"
    obey(run, say.Answer("1"))
    assert at(run) == "wipe"
    assert [e.to for e in of_kind(run.store.events(), WentBack)] == ["wipe"]
    assert first_part(run) == ("How did the last swab look? still brown.",)
    obey(run, say.GoOn(), say.Answer("still brown"), say.Answer("2"))
    assert at(run) == "sign"
    assert first_part(run) == ("How did the last swab look? still brown.",)
    run = bench.open(SWAB + SIGN)
    obey(run, say.GoOn(), say.Answer("still brown"), say.Answer("1"), say.GoOn(), say.Answer("clean"))
    assert [e.not_good for e in of_kind(run.store.events(), Answered)] == [True, False]
    assert (at(run), first_part(run)) == ("sign", ())


def test_a_timer_cut_short_stands_in_the_first_part(bench: Bench) -> None:
    run = bench.open(LIST.replace("checklist", "timer_s = 600\nchecklist") + SIGN)
    obey(run, say.Tick(0), say.Tick(1), say.GoOn())
    assert first_part(run) == ("Look: went on after 0 of 10 minutes.",)


def test_unattended_hands_tick_line_by_line(bench: Bench) -> None:
    run = bench.open(SAFE + SIGN)
    hands = UnattendedHands()
    said = []
    while at(run) == "off":
        command = hands.decide(run.runner.snapshot(), 0.0)
        assert command is not None
        said.append(command)
        run.runner.obey(command)
    assert said == [say.Tick(0), say.Tick(1), say.GoOn()]
    assert attention(run.store.events(), {}) == {}


@pytest.mark.parametrize("name", ["???", "???A. Tester", "A. Tester?", "", "  ", "42", "..."])
def test_what_is_no_name_does_not_sign(bench: Bench, name: str) -> None:
    run = bench.open(SIGN)
    obey(run, say.Answer(name))
    assert at(run) == "sign"
    assert list(of_kind(run.store.events(), SignedOff)) == []
    obey(run, say.Answer("Jo Ó"))
    assert [e.who for e in of_kind(run.store.events(), SignedOff)] == ["Jo Ó"]


@pytest.mark.parametrize(
    ("typed", "unit", "is_"),
    [
        ("0,98", "N", 0.98),
        ("0.98 N", "N", 0.98),
        ("100 g", "N", 0.980665),  # standard gravity, 9.80665 m/s² (3rd CGPM, 1901)
        ("3.5 oz", "N", 0.973),
        ("40", "g·cm", 40.0),
        ("40 g·cm", "g·cm", 40.0),
        ("0.5 oz·in", "g·cm", 36.0),
        ("4 mNm", "g·cm", 40.8),
        ("12 s", "s", 12.0),
    ],
)
def test_a_figure_may_have_the_unit_of_the_gauge(typed: str, unit: str, is_: float) -> None:
    assert in_unit(typed, unit) == pytest.approx(is_, rel=1e-3)


@pytest.mark.parametrize("typed", ["", "g", "10 kHz", "1 2", "ten N"])
def test_what_is_no_figure_is_refused(typed: str) -> None:
    with pytest.raises(ValueError, match="could not convert"):
        in_unit(typed, "N")
