"""What every kind of step shares: it begins, hears sound, obeys keys, shows a view, and ends."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from bench.audio.port import Block
from bench.problem import Problem
from bench.procedure.kinds.bench import Bench, JudgedReading
from bench.procedure.model.steps import StepBase
from bench.procedure.state.snapshot import CheckRow, Curve, FlutterPart, Gauge, Prompt, ToneRow

WAIT = Prompt("wait", "")
"""Nothing is asked now."""


@dataclass(frozen=True, slots=True)
class View:
    """What an activity shows; the runner makes the snapshot of it."""

    prompt: Prompt
    gauges: tuple[Gauge, ...] = ()
    tones: tuple[ToneRow, ...] = ()
    checks: tuple[CheckRow, ...] = ()
    timer_left_s: float | None = None
    curves: tuple[Curve, ...] = ()
    trimmers: tuple[str, ...] = ()
    can_accept: bool = False
    head_delay_s: float | None = None
    flutter: tuple[FlutterPart, ...] = ()
    spectrum: tuple[tuple[float, float], ...] = ()
    ranking: tuple[str, ...] = ()


StepT = TypeVar("StepT", bound=StepBase)


class Activity(ABC, Generic[StepT]):
    """What happens at a step. It hears blocks, obeys the person and says when it is over."""

    def __init__(self, step: StepT, bench: Bench) -> None:
        self.step = step
        self.bench = bench
        self.finished = False
        self.wants_sound = False
        """Whether blocks should be read for it now."""

    def begin(self) -> None:
        """The step starts. Where something is to be sent, nothing sounds before the person says so."""

    @abstractmethod
    def view(self) -> View:
        """What there is to see now."""

    def hear(self, block: Block) -> None:
        """Sound came in."""

    def port_ended(self) -> None:
        """A capture is over: nothing more will be heard."""

    def interrupted(self) -> None:
        """The sound was lost for a while and is back."""

    def hold(self) -> None:
        """Everything pauses: timers stand."""

    def release(self) -> None:
        """It goes on; where something was heard, `interrupted` follows."""

    def go_on(self) -> None:
        """The one key."""

    def answer(self, text: str) -> None:
        """Something was typed. Raises `Problem` when it is no answer to what was asked."""
        raise Problem("nothing is asked here; press the go-on key")

    def tick(self, index: int) -> None:
        """Tick a line of the checklist."""
        raise Problem("there is no checklist here")

    def accept(self, reason: str) -> None:
        """Go on although something is not in."""
        raise Problem("there is nothing to accept here")

    def then(self) -> Activity[StepT] | None:
        """What carries the step on once this is finished; None when the step is over."""
        return None

    def end(self) -> None:
        """The step is left, whatever the reason: sound stops."""
        self.bench.silence()
        if self.wants_sound:
            self.bench.transport("stop")


def ask_about(activity: Activity[Any], taken: tuple[JudgedReading, ...]) -> Prompt | None:
    """What is left to ask when all of a step's readings are taken; None when it may go on by itself."""
    if activity.step.stage != "left" or activity.bench.progress.retries_left(activity.step):
        return None
    bad = [t for t in taken if t.verdict is not None and t.verdict.word != "in"]
    if not bad:
        return None
    judged = sum(t.verdict is not None for t in taken)
    return Prompt("reason", f"{len(bad)} of {judged} readings are not in. Measure again, or say why you go on.")
