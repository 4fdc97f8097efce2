"""`by-hand`: work at the machine, with a checklist and a timer where the step has them."""

from __future__ import annotations

from bench.problem import Problem
from bench.procedure.kinds.activity import WAIT, Activity, View
from bench.procedure.kinds.bench import Bench
from bench.procedure.model.steps import ByHand
from bench.procedure.state.events import LotLoaded, Ticked, Waited
from bench.procedure.state.snapshot import CheckRow, Prompt


class ByHandActivity(Activity[ByHand]):
    """Keeps ticks and a timer; the go-on key confirms that the work is done."""

    def __init__(self, step: ByHand, bench: Bench) -> None:
        super().__init__(step, bench)
        self._ticked = [False] * len(step.checklist)
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

    def go_on(self) -> None:
        """Confirm that the work is done; this ticks the whole checklist."""
        step, bench = self.step, self.bench
        if self._left > 0:
            bench.note(step.id, Waited(round(step.timer_s - self._left, 1), step.timer_s))
        elif step.timer_s:
            bench.note(step.id, Waited(step.timer_s, step.timer_s))
        self._ticked = [True] * len(self._ticked)
        bench.note(step.id, Ticked(step.checklist))
        for act in step.does:
            bench.do(act, step)
            if act == "load-work-tape" and step.lot and bench.hands is not None:
                bench.note(step.id, LotLoaded(step.lot, bench.job.tape_of(step.lot).name))
        self.finished = True

    def view(self) -> View:
        """The checklist and the time left."""
        step = self.step
        checks = tuple(CheckRow(t, on) for t, on in zip(step.checklist, self._ticked, strict=True))
        prompt = Prompt("go-on", "Done: go on")
        if self._left > 0:
            prompt = Prompt(WAIT.kind, "The timer runs; going on before its end is noted")
        return View(prompt, checks=checks, timer_left_s=self._left if step.timer_s else None)
