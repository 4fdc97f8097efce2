"""Noise reduction and direction, when they change: switched by the program if it has hands, else requested."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.audio.practice import PracticePort
from bench.procedure.run import commands as say
from tests.procedure.flow_bench import (
    CLEAN,
    MEASURE,
    RECORD,
    WITH,
    Bench,
    at,
    by_a_person,
    events,
    listen_through,
    words,
)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def test_hands_switch_it_when_it_changes(bench: Bench) -> None:
    run = bench.open(CLEAN + RECORD + WITH + RECORD.replace('"record"\ntitle', '"without"\ntitle'))
    run.runner.obey(say.GoOn())
    for _ in range(3):
        run.runner.obey(say.GoOn())
        listen_through(run)
        if "not in" in run.runner.snapshot().prompt.text:
            run.runner.obey(say.GoOn())
    assert events(run, "switch") == [
        ("switch", "with", "noise-reduction: on"),
        ("switch", "without", "noise-reduction: off"),
    ]


def test_it_is_switched_again_after_a_break(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    run = bench.open(CLEAN + WITH)
    run.runner.obey(say.GoOn())
    positions: list[tuple[str, str]] = []
    switch = PracticePort.switch

    def noted(port: PracticePort, control: str, position: str) -> None:
        positions.append((control, position))
        switch(port, control, position)

    monkeypatch.setattr(PracticePort, "switch", noted)
    assert at(bench.resume(run)) == "with"
    assert positions[0] == ("noise-reduction", "on")


def test_a_person_is_asked(bench: Bench) -> None:
    run = bench.open(words("first"))
    run.port.close()
    run = bench.open(WITH + RECORD, procedure="u")
    runner = by_a_person(run)
    assert runner.snapshot().prompt.kind == "go-on"
    # The runner of the practice machine has already switched it: the journal has this, and nobody is asked twice.
    assert events(run, "switch") == [("switch", "with", "noise-reduction: on")]
    runner.obey(say.Skip("later"))
    shown = runner.snapshot()
    assert (shown.prompt.kind, shown.prompt.text) == ("confirm", "Switch noise reduction out. Confirm when it is.")
    runner.obey(say.GoOn())
    assert events(run, "switch")[-1] == ("switch", "record", "noise-reduction: off")
    assert runner.snapshot().prompt.kind == "go-on"


def test_a_switch_that_hands_do_not_reach_is_asked_for(bench: Bench) -> None:
    bench.open(words("first"))
    sheet = bench.root / "procedures" / "sheets" / "machines" / "three-head-cassette.toml"
    sheet.write_text("auto_reverse = true\n" + sheet.read_text(encoding="utf-8"), encoding="utf-8")
    run = bench.open(CLEAN + MEASURE + "each_direction = true\n" + words("end"), procedure="u")
    run.runner.obey(say.GoOn())
    assert at(run) == "measured-forward"
    listen_through(run)
    run.runner.obey(say.Answer("never mind"))
    shown = run.runner.snapshot()
    assert shown.step is not None
    assert (shown.step.id, shown.step.direction) == ("measured-reverse", "reverse")
    if shown.prompt.kind == "confirm":
        assert shown.prompt.text == "Let the tape run in reverse. Confirm when it does."
        run.runner.obey(say.GoOn())
    assert events(run, "switch") == [("switch", "measured-reverse", "direction: reverse")]


def test_where_nothing_is_measured_nothing_is_switched(bench: Bench) -> None:
    run = bench.open(CLEAN + words("end"))
    run.runner.obey(say.GoOn())
    assert events(run, "switch") == []
