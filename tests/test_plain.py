"""A procedure as lines of text: what a typed line means, and what is said of a snapshot."""

from __future__ import annotations

import pytest

from bench.measure.names import Reading, no_reading
from bench.plain import command_of, reading_words
from bench.problem import Problem
from bench.procedure import commands as say
from bench.procedure.snapshot import Prompt
from bench.procedure.targets import Verdict

GO_ON = Prompt("go-on", "Done: go on")
WORDS = Prompt("words", "What does the owner say?")


@pytest.mark.parametrize(
    ("line", "prompt", "command"),
    [
        ("", GO_ON, say.GoOn()),
        ("  \n", GO_ON, say.GoOn()),
        ("skip no such trimmer", GO_ON, say.Skip("no such trimmer")),
        ("accept the owner wants it", GO_ON, say.Accept("the owner wants it")),
        ("note belt is new", GO_ON, say.Note("belt is new")),
        ("tick 2", GO_ON, say.Tick(1)),
        ("turn replay level left -12.5", GO_ON, say.Turn("replay level left", -12.5)),
        ("repeat", GO_ON, say.Repeat()),
        ("STOP", GO_ON, say.StopSound()),
        ("leave", WORDS, say.Leave()),
        ("it sounds dull", WORDS, say.Answer("it sounds dull")),
        ("3.5", Prompt("number", "Torque", unit="mN·m"), say.Answer("3.5")),
    ],
)
def test_what_a_line_means(line: str, prompt: Prompt, command: say.Command) -> None:
    assert command_of(line, prompt) == command


@pytest.mark.parametrize("line", ["hello", "turn bias left far", "help"])
def test_what_means_nothing_is_told(line: str) -> None:
    with pytest.raises(Problem):
        command_of(line, GO_ON)


def test_a_reading_says_unit_uncertainty_target_and_verdict() -> None:
    reading = Reading("level", "left", -12.34, 0.21)
    verdict = Verdict(word="in", target=-12.0, tolerance=0.5)
    assert reading_words(reading, verdict) == "left -12.34 ± 0.21 dBFS, target -12.00 ± 0.5: in"
    assert reading_words(no_reading("level", "left", "it is silent"), None) == "no reading, because it is silent"
