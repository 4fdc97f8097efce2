"""The way through a job's steps, read from what the journal holds: a run that broke off goes on where it was."""

from __future__ import annotations

from collections.abc import Sequence

from bench.procedure.model.job import Job
from bench.procedure.model.steps import Decision, Measuring, StepBase
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.events import Decided, Moved, WentAgain
from bench.procedure.state.journal import Journal


class Progress:
    """Where a run stands, where it came from and where it may go back to."""

    def __init__(self, job: Job, journal: Journal) -> None:
        self._job = job
        self._journal = journal
        self._index = {step.id: n for n, step in enumerate(job.steps)}

    def current(self) -> int:
        """The index of the step at hand: the first, or where a broken-off session stopped."""
        done = self._journal.steps_done()
        moves = list(of_kind(self._journal.events(), Moved))
        if moves and len(done) <= moves[-1].after:
            return self._index.get(moves[-1].to, len(self._job.steps))
        return self._index.get(done[-1], -1) + 1 if done else 0

    def move(self, at: int, *, over: int) -> tuple[str, int]:
        """Where the way goes on, as `Moved` has it: the next step's id, and how many steps are over by then.

        Args:
            at: the index of the next step; beyond the last for the end.
            over: how many more steps are over by then than the journal knows.
        """
        target = self._job.steps[at].id if at < len(self._job.steps) else ""
        return target, len(self._journal.steps_done()) + over

    def before(self, at: int) -> int | None:
        """The step to go back to from here; None where there is none. A verdict's decision would lead here again."""
        done = set(self._journal.steps_done())
        for n in range(min(at, len(self._job.steps)) - 1, -1, -1):
            step = self._job.steps[n]
            if step.id in done and not (isinstance(step, Decision) and step.of is not None):
                return n
        return None

    def retry_from(self, step: StepBase) -> int | None:
        """Where `again_until` leads from a step whose readings are not all in; None once that was done often enough."""
        if self.retries_left(step) and isinstance(step, Measuring) and step.again_until is not None:
            return min(self._job.steps_named(step.again_until.back_to, step.direction).first, self._index[step.id])
        return None

    def retries_left(self, step: StepBase) -> int:
        """How often `again_until` may still go back from a step. As found nothing is mended, so it never does."""
        again = step.again_until if isinstance(step, Measuring) and step.stage == "left" else None
        if again is None:
            return 0
        return again.at_most - sum(e.step == step.id for e in of_kind(self._journal.events(), WentAgain))


def not_needed(events: Sequence[Event]) -> frozenset[str]:
    """The steps that decisions have passed over, each decision as it was made last."""
    last = {e.step: e.passed_over for e in of_kind(events, Decided)}
    return frozenset(step for passed_over in last.values() for step in passed_over)
