"""An instructor's question: it teaches, is kept, and is never judged."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.procedure.run import commands as say
from tests.procedure.flow_bench import Bench, at, events, words

QUESTION = """
[[step]]
kind = "question"
id = "why"
title = "Why azimuth first?"
asks = "Why is azimuth set before equalisation?"
choices = ["it is easier", "an askew head loses treble"]
right = "an askew head loses treble"
because = "Equalisation would be turned up for treble that a screw can give back."
hints = ["What does a gap do that stands askew?", "Look at 10 kHz.", "Turn the screw and listen."]
"""


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


@pytest.mark.parametrize(
    ("typed", "told", "kept"),
    [
        ("2", "Right. Equalisation would be", "an askew head loses treble (right)"),
        (
            "It is easier",
            "No. The right answer: an askew head loses treble. Equalisation would be",
            "it is easier (the right one is: an askew head loses treble)",
        ),
    ],
)
def test_the_answer_is_kept_and_the_reason_told(bench: Bench, typed: str, told: str, kept: str) -> None:
    run = bench.open(QUESTION + words("end"))
    shown = run.runner.snapshot()
    assert (shown.prompt.kind, shown.prompt.choices) == ("choice", ("it is easier", "an askew head loses treble"))
    assert shown.step is not None
    assert len(shown.step.hints) == 3
    run.runner.obey(say.GoOn())
    assert "choose one of the answers first" in run.runner.snapshot().notice
    run.runner.obey(say.Answer(typed))
    shown = run.runner.snapshot()
    assert shown.prompt.kind == "go-on"
    assert shown.prompt.text.startswith(told)
    assert events(run, "answer") == [("answer", "why", kept)]
    run.runner.obey(say.Answer("1"))
    assert len(events(run, "answer")) == 1
    run.runner.obey(say.GoOn())
    assert at(run) == "end"
    run.runner.obey(say.GoOn())
    assert run.runner.outcome().exit_code == 0


def test_it_can_be_skipped_with_a_reason(bench: Bench) -> None:
    run = bench.open(QUESTION + words("end"))
    run.runner.obey(say.Skip("known by heart"))
    assert at(run) == "end"
    assert events(run, "answer") == []
