"""Figures that a person reads elsewhere and types, and who signs."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.clock import RehearsalClock
from bench.open_run import OpenRun, open_run
from bench.procedure.run import commands as say
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.event_words import event_sentence
from bench.procedure.state.events import Answered, SignedOff
from bench.run_request import RunRequest
from bench.workspace import Workspace
from tests.smooth import smooth_procedures

PROCEDURE = """
format = 1
title = "Asks"
summary = "Asks."
takes_minutes = 1

[[step]]
kind = "entry"
id = "torque"
title = "Take-up torque"
do = "Read the torque cassette."
asks = "number"
unit = "mN·m"
target = "machine.torque"

[[step]]
kind = "entry"
id = "roller"
title = "Pinch roller"
do = "Look."
asks = "choice"
choices = ["good", "glazed"]

[[step]]
kind = "measure"
id = "never"
title = "Never reached"
do = "Nothing."
quantity = "balance"
target = "machine.replay_balance"

[[step]]
kind = "sign-off"
id = "sign"
title = "Sign"
do = "Sign."
accepts = "this deck"
"""


@pytest.fixture
def opened(tmp_path: Path) -> OpenRun:
    smooth_procedures(tmp_path / "procedures")
    (tmp_path / "procedures" / "asks.toml").write_text(PROCEDURE, encoding="utf-8")
    sheet = tmp_path / "procedures" / "sheets" / "machines" / "three-head-cassette.toml"
    torque = '\n[targets.torque]\nvalue = 5.0\nunit = "mN·m"\ntolerance = 2.0\nsource = "common practice, no source"\n'
    text = sheet.read_text(encoding="utf-8").replace("\n[practice]", torque + "\n[practice]")
    sheet.write_text(text, encoding="utf-8")
    run = open_run(Workspace(tmp_path), RunRequest("asks"), RehearsalClock(), real_time=False)
    run.runner.begin()
    return run


def answers(run: OpenRun) -> list[str]:
    return [event_sentence(e, {}) for e in of_kind(run.store.events(), Answered)]


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("4.5", "4.5 mN·m, inside 5 ± 2 mN·m as read (common practice, no source)"),
        ("4,5 mN·m", "4.5 mN·m, inside 5 ± 2 mN·m as read (common practice, no source)"),
        ("9", "9 mN·m, outside 5 ± 2 mN·m as read (common practice, no source)"),
    ],
)
def test_a_number_is_told_against_its_target(opened: OpenRun, typed: str, kept: str) -> None:
    opened.runner.obey(say.Answer(typed))
    assert answers(opened) == [kept]


@pytest.mark.parametrize("typed", ["", "about five", "nan", "inf", "5 kg", "4.5.5"])
def test_what_is_no_number_changes_nothing(opened: OpenRun, typed: str) -> None:
    opened.runner.obey(say.Answer(typed))
    shown = opened.runner.snapshot()
    assert answers(opened) == []
    assert shown.step is not None
    assert shown.step.id == "torque"
    assert "is not a number; type it in mN·m, like 12.5" in shown.notice


def test_an_owner_who_says_nothing_is_put_into_words(tmp_path: Path) -> None:
    smooth_procedures(tmp_path / "procedures")
    text = 'format = 1\ntitle = "T"\nsummary = "S."\ntakes_minutes = 1\n[[step]]\nkind = "entry"\nid = "complaint"\n'
    text += 'title = "What does the owner say?"\ndo = "Ask."\nasks = "complaint"\n'
    (tmp_path / "procedures" / "ask.toml").write_text(text, encoding="utf-8")
    run = open_run(Workspace(tmp_path), RunRequest("ask"), RehearsalClock(), real_time=False)
    run.runner.begin()
    for nothing in (say.GoOn(), say.Answer("  ")):
        run.runner.obey(nothing)
        assert "if nothing was said, type that" in run.runner.snapshot().notice
        assert not run.runner.finished
    run.runner.obey(say.Answer("nothing was said"))
    assert run.runner.finished


def test_a_choice_by_its_word_or_its_number(opened: OpenRun) -> None:
    opened.runner.obey(say.Answer("5"))
    opened.runner.obey(say.Answer("worn"))
    assert opened.runner.snapshot().notice == '"worn" is none of: good, glazed'
    opened.runner.obey(say.Answer("2"))
    assert answers(opened)[-1] == "glazed"


def test_nobody_signs_with_an_empty_name(opened: OpenRun) -> None:
    for command in (say.Answer("5"), say.Answer("good"), say.Skip("not today"), say.Answer("   ")):
        opened.runner.obey(command)
    assert opened.runner.snapshot().notice == "type the name of who signs"
    opened.runner.obey(say.Answer("the bench"))
    assert [(e.who, e.accepts) for e in of_kind(opened.store.events(), SignedOff)] == [("the bench", "this deck")]
    outcome = opened.runner.outcome()
    assert (outcome.completed, outcome.exit_code) == (True, 1)
    assert outcome.said == "Not all in. Skipped: Never reached."


def test_control_characters_are_refused(opened: OpenRun) -> None:
    opened.runner.obey(say.Answer("5"))
    opened.runner.obey(say.Answer("good"))
    opened.runner.obey(say.Skip("why not"))
    opened.runner.obey(say.Answer("red\x1b[31m"))
    assert "control characters" in opened.runner.snapshot().notice
