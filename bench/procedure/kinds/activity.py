"""The interface of all kinds of step: begin, hear sound, obey commands, show a view, end."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from bench.audio.port import Block, Visible
from bench.problem import Problem
from bench.procedure.kinds.bench import Bench, JudgedReading, with_polarity
from bench.procedure.model.steps import StepBase
from bench.procedure.state.snapshot import CheckRow, Curve, FlutterPart, Gauge, Prompt, ToneRow

WAIT = Prompt("wait", "")
"""Nothing is asked."""


@dataclass(frozen=True, slots=True)
class View:
    """What an activity shows; the runner puts it into the snapshot."""

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
    to_sign: tuple[str, ...] = ()
    hides_why: bool = False
    """Whether the `why` and `if_not` texts of the step would give an answer away."""
    to_choose_by: tuple[str, ...] = ()
    seen: str = ""


StepT = TypeVar("StepT", bound=StepBase)


class Activity(ABC, Generic[StepT]):
    """Carries out a step."""

    def __init__(self, step: StepT, bench: Bench) -> None:
        self.step = step
        self.bench = bench
        self.finished = False
        self.wants_sound = False
        """Whether it listens."""
        self.back_to = ""
        """Name of an earlier step to go back to when it is finished; "" to go on."""
        self._ask: Prompt | None = None
        """What is asked about the readings that were taken, or what they are to be read by."""

    def begin(self) -> None:
        """Start. An activity that sends tones waits for `go_on` before anything sounds."""

    @abstractmethod
    def view(self) -> View:
        """What to show now."""

    def hear(self, block: Block) -> None:
        """Take in a block of sound."""

    def port_ended(self) -> None:
        """The capture has ended; no more sound will come."""

    def interrupted(self) -> None:
        """Sound was lost for a time and is back."""

    def lost_sound(self) -> bool:
        """Handle a moment of lost sound. Returns whether it spoilt the measurement, which then starts again."""
        self.interrupted()
        return True

    def hold(self) -> None:
        """Stop timers: everything is paused."""

    def release(self) -> None:
        """Resume timers; an activity that listens gets `interrupted` next."""

    def go_on(self) -> None:
        """Obey the go-on key: leave the readings that were taken, unless a reason is asked for."""
        if self._ask is not None:
            if self._ask.kind == "reason":
                raise Problem("measure again, or say why you go on")
            self.finished = True

    def answer(self, text: str) -> None:
        """Take a typed answer. Raises `Problem` when it does not answer the question."""
        raise Problem("nothing is asked here; press the go-on key")

    def tick(self, index: int) -> None:
        """Tick or untick a line of the checklist."""
        raise Problem("there is no checklist here")

    def accept(self, reason: str) -> None:
        """Keep readings that are not in, and go on."""
        raise Problem("there is nothing to accept here")

    def then(self) -> Activity[StepT] | None:
        """The activity that continues the step after this one; None when the step is over."""
        return None

    def end(self) -> None:
        """Stop sound and tape, because the step is over or is left for any other reason."""
        self.bench.silence()
        if self.wants_sound:
            self.bench.transport("stop")


def seen(bench: Bench, parts: Sequence[str]) -> str:
    """What parts of a practice machine look like; "" for a real machine, which a person can see."""
    if not parts or not isinstance(bench.port, Visible):
        return ""
    return " ".join(bench.port.look(part) for part in parts)


def ask_about(activity: Activity[Any], taken: tuple[JudgedReading, ...]) -> Prompt | None:
    """The question after the last reading of a step; None when the step can end without one.

    Where the job turns nothing that could bring the readings in, they are its result, which needs no reason.
    """
    taken = with_polarity(taken)
    bad = [t for t in taken if t.verdict is not None and t.verdict.word != "in"]
    if activity.step.stage != "left" or not bad:
        return None
    quantities, progress = [t.reading.quantity for t in bad], activity.bench.progress
    if progress.retry_from(activity.step, quantities) is not None:
        return None
    judged = sum(t.verdict is not None for t in taken)
    not_in = f"{len(bad)} of {judged} readings {'is' if len(bad) == 1 else 'are'} not in"
    if not progress.turns(activity.step, quantities):
        return Prompt(
            "go-on", f"{not_in}. No adjustment of this job affects {'it' if len(bad) == 1 else 'them'}: go on"
        )
    return Prompt("reason", f"{not_in}. Measure again, or say why you go on.")
