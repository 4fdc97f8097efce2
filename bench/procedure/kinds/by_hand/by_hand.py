"""`by-hand`: work at the machine, with a checklist and a timer where the step has them."""

from __future__ import annotations

from typing import Literal

from bench.problem import Problem
from bench.procedure.kinds.activity import WAIT, Activity, View, seen
from bench.procedure.kinds.bench import Bench
from bench.procedure.kinds.by_hand.entry import chosen
from bench.procedure.model.steps import ByHand
from bench.procedure.state.events import LotLoaded, Ticked, Waited
from bench.procedure.state.snapshot import CheckRow, Prompt

ONE_BY_ONE, LEAVE_OPEN = "go through them one by one", "leave them open, and say why"
DONE, NOT_DONE = "yes", "no"


class ByHandActivity(Activity[ByHand]):
    """Keeps ticks and a timer. The go-on key confirms the work, and asks about every line that is not ticked."""

    def __init__(self, step: ByHand, bench: Bench) -> None:
        super().__init__(step, bench)
        self._ticked = [False] * len(step.checklist)
        self._asks: Literal["", "how", "line", "why"] = ""
        """What is asked about open lines: how to go on, whether one line is done, why lines stay open."""
        self._unasked: list[int] = []
        """Lines that are still to be asked about."""
        self._until = 0.0
        self._held_with: float | None = None

    def begin(self) -> None:
        """Start the timer."""
        self._until = self.bench.clock.now() + self.step.timer_s

    @property
    def _left(self) -> float:
        if self._held_with is not None:
            return self._held_with
        return max(0.0, self._until - self.bench.clock.now())

    @property
    def _open(self) -> list[int]:
        return [n for n, ticked in enumerate(self._ticked) if not ticked]

    def hold(self) -> None:
        """Pause the timer."""
        self._held_with = self._left

    def release(self) -> None:
        """Resume the timer."""
        if self._held_with is not None:
            self._until = self.bench.clock.now() + self._held_with
            self._held_with = None

    def tick(self, index: int) -> None:
        """Tick or untick a line."""
        if not 0 <= index < len(self._ticked):
            raise Problem(f"the checklist has {len(self._ticked)} lines")
        self._ticked[index] = not self._ticked[index]
        self._asks = ""

    def go_on(self) -> None:
        """Confirm that the work is done, or ask about the lines that are open."""
        if self._asks:
            raise Problem("answer the question about the open lines first")
        if not self._open or self.bench.is_file:  # for a capture nobody knows what was done to the machine
            self._finish()
        elif self.step.is_safety:
            self._ask_lines()
        else:
            self._asks = "how"

    def answer(self, text: str) -> None:
        """Take the answer to a question about open lines."""
        match self._asks:
            case "how":
                if chosen(text, (ONE_BY_ONE, LEAVE_OPEN)) == ONE_BY_ONE:
                    self._ask_lines()
                else:
                    self._asks = "why"
            case "line":
                line = self._unasked[0]
                self._ticked[line] = chosen(text, (DONE, NOT_DONE)) == DONE
                del self._unasked[0]
                if not self._unasked:
                    self._lines_asked()
            case "why":
                self.accept(text)
            case _:
                super().answer(text)

    def accept(self, reason: str) -> None:
        """Leave the open lines open, for a reason."""
        if not self._open:
            raise Problem("every line is ticked; press the go-on key")
        if self.step.is_safety:
            raise Problem(self._not_safe)
        if not reason.strip():
            raise Problem("say why the lines stay open: the report gives the reason")
        self._finish(reason.strip())

    def _ask_lines(self) -> None:
        self._asks, self._unasked = "line", self._open

    def _lines_asked(self) -> None:
        self._asks = ""
        if not self._open:
            self._finish()
        elif self.step.is_safety:
            raise Problem(self._not_safe)
        else:
            self._asks = "why"

    @property
    def _not_safe(self) -> str:
        line = self.step.checklist[self._open[0]]
        return f"“{line}” is open, and this checklist is for your safety: do it, or skip the step, or leave the job"

    def _finish(self, because: str = "") -> None:
        step, bench = self.step, self.bench
        if step.timer_s:
            bench.note(step.id, Waited(round(step.timer_s - self._left, 1), step.timer_s))
        lines = tuple(line for line, ticked in zip(step.checklist, self._ticked, strict=True) if ticked)
        still_open = tuple(step.checklist[n] for n in self._open) if because else ()
        bench.note(step.id, Ticked(lines, still_open, because))
        for act in step.does:
            bench.do(act, step)
            if act == "load-work-tape" and step.lot and bench.hands is not None:
                bench.note(step.id, LotLoaded(step.lot, bench.job.tape_of(step.lot).name))
        self.finished = True

    def view(self) -> View:
        """The checklist, the time left, and the question about open lines."""
        step = self.step
        checks = tuple(CheckRow(t, on) for t, on in zip(step.checklist, self._ticked, strict=True))
        looks = seen(self.bench, step.looks_at)
        return View(self._prompt(), checks=checks, timer_left_s=self._left if step.timer_s else None, seen=looks)

    def _prompt(self) -> Prompt:
        open_lines = [self.step.checklist[n] for n in self._open]
        match self._asks:
            case "how":
                said = f"Not ticked: {'; '.join(open_lines)}."
                return Prompt("choice", said, choices=(ONE_BY_ONE, LEAVE_OPEN))
            case "line":
                line = self.step.checklist[self._unasked[0]]
                return Prompt("choice", f"Is this done: {line}?", choices=(DONE, NOT_DONE))
            case "why":
                return Prompt("reason", f"Not ticked: {'; '.join(open_lines)}. Say why.")
        if self._left > 0:
            return Prompt(WAIT.kind, "The timer runs; going on before its end is noted")
        return Prompt("go-on", "Done: go on")
