"""An instructor's question: it teaches, is kept, and is never judged."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.problem import Problem
from bench.procedure.run import commands as say
from bench.procedure.state.events import Answered
from tests.procedure.flow_bench import CLEAN, MEASURE, Bench, at, events, listen_through, words

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
            "it is easier (the right answer: an askew head loses treble)",
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


SECOND_TRY = QUESTION.replace(
    "hints =", 'why = "The angle first."\nreplies = ["The screw is harder to reach.", ""]\nhints ='
)


def test_a_wrong_answer_has_its_reply_and_a_second_try_and_why_opens_after_it(bench: Bench) -> None:
    run = bench.open(SECOND_TRY + words("end"))
    assert run.runner.snapshot().step.why == ""  # type: ignore[union-attr]
    run.runner.obey(say.Answer("1"))
    shown = run.runner.snapshot()
    assert shown.prompt.kind == "choice"
    assert shown.prompt.text.startswith("No. The screw is harder to reach. Try once more:")
    run.runner.obey(say.Answer("2"))
    shown = run.runner.snapshot()
    assert shown.prompt.text.startswith("Right.")
    assert shown.step is not None
    assert shown.step.why == "The angle first."
    assert len(events(run, "answer")) == 2


PREDICT = """
[[step]]
kind = "question"
id = "guess"
title = "Predict"
asks = "What will level read?"
choices = ["higher", "about the same", "lower"]
predicts = { step = "measured", quantity = "level", than = "before" }
"""


@pytest.mark.parametrize(("guess", "degrees", "word"), [("2", 0.0, "right"), ("2", 60.0, "wrong")])
def test_a_prediction_is_answered_by_the_reading(bench: Bench, guess: str, degrees: float, word: str) -> None:
    """The readings decide, not the file: the same answer is right or wrong depending on what was turned."""
    before = MEASURE.replace('"measured"', '"before"')
    run = bench.open(CLEAN + before + PREDICT + MEASURE + words("end"))
    run.runner.obey(say.GoOn())
    shown = listen_through(run)
    if "not in" in shown.prompt.text:
        run.runner.obey(say.GoOn())
    run.runner.obey(say.Answer(guess))
    assert run.runner.snapshot().prompt.text.startswith("Kept: about the same.")
    if degrees:
        run.runner.obey(say.Turn("replay level left", degrees))
    run.runner.obey(say.GoOn())
    shown = listen_through(run)
    if "not in" in shown.prompt.text:
        run.runner.obey(say.GoOn())
    answers = [e for e in run.store.events() if isinstance(e, Answered) and e.right]
    assert [(e.step, e.answer == e.right) for e in answers] == [("guess", word == "right")]
    assert f"your prediction was {word}" in run.runner.snapshot().notice


def test_a_prediction_needs_a_later_step_and_three_choices(bench: Bench) -> None:
    for wrong, told in (
        (PREDICT.replace('step = "measured"', 'step = "clean"'), '"clean" is not a later step'),
        (PREDICT.replace(', "lower"', ""), "a prediction has 3 choices, not 2"),
    ):
        with pytest.raises(Problem, match=told):
            bench.open(CLEAN + MEASURE.replace('"measured"', '"before"') + wrong + MEASURE)
