"""A procedure as lines of text: the meaning of typed lines, and what is printed."""

from __future__ import annotations

import pytest

from bench.narration import Narrator
from bench.plain import LineCommands, command_of
from bench.problem import Problem
from bench.procedure.run import commands as say
from bench.procedure.state.snapshot import Prompt, Snapshot
from tests.tui import samples

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
        ("back", GO_ON, say.Back()),
        ("Hold", GO_ON, say.Hold()),
        ("back of the head is worn", WORDS, say.Answer("back of the head is worn")),
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


class ScriptedThread:
    """A bench thread that shows a given snapshot and keeps the posted commands."""

    def __init__(self, latest: Snapshot) -> None:
        self.latest = latest
        self.posted: list[say.Command] = []

    def post(self, command: say.Command) -> None:
        self.posted.append(command)


def commands(latest: Snapshot, beat_s: float = 0.0) -> tuple[LineCommands, ScriptedThread, list[str]]:
    said: list[str] = []
    desk = ScriptedThread(latest)
    return LineCommands(desk, Narrator(said.append, trainee=True), said.append, beat_s, None), desk, said  # type: ignore[arg-type]


def test_tones_start_after_a_count_down_with_a_caution() -> None:
    typed, desk, said = commands(samples.listening(0, prompt=Prompt("go-on", "start the tones", sounds=True)))
    typed.handle("")
    typed.handle("hum at the left")  # typed ahead: it waits for the count
    assert desk.posted == [say.GoOn()]
    assert said[0].startswith("! caution: loud tones")
    assert said[1:4] == ["  tones start in 3", "  tones start in 2", "  tones start in 1"]


def test_stop_ends_a_count_down_before_anything_sounds() -> None:
    typed, desk, said = commands(samples.listening(0, prompt=Prompt("go-on", "start the tones", sounds=True)), 30.0)
    typed.handle("")
    typed.handle("stop")
    assert desk.posted == [say.StopSound()]
    assert said[-1] == "  not started"


def test_a_step_without_tones_goes_on_at_once() -> None:
    typed, desk, said = commands(samples.cleaning())
    typed.handle("")
    assert desk.posted == [say.GoOn()]
    assert said == []


def test_why_hints_and_all_of_it_again_are_said_when_asked() -> None:
    hints = ("What does level mean?", "Is it steady?", "Turn a degree.")
    typed, desk, said = commands(samples.adjusting(step=samples.step(hints=hints)))
    typed.handle("why")
    assert said[-1].startswith("  why: A noise-reduction decoder")
    for n, words in enumerate(("think: What does", "look: Is it", "do: Turn", "otherwise: Look at the head"), start=1):
        typed.handle("hint")
        assert said[-1].startswith(f"  {words}")
        assert desk.posted[-1] == say.Note(f"hints looked at: {n}")
    typed.handle("now")
    assert any(line.startswith("step 9 of 24: Set the replay level (as left)") for line in said)
