"""Progress through the steps of a job, derived from the journal, so that an interrupted run can continue."""

from __future__ import annotations

from collections.abc import Sequence

from bench.procedure.model.job import Job
from bench.procedure.model.steps import Decision, Measuring, StepBase
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.events import Decided, Moved, WentAgain
from bench.procedure.state.journal import Journal


class Progress:
    """The current step of a run, and the steps it may go back to."""

    def __init__(self, job: Job, journal: Journal) -> None:
        self._job = job
        self._journal = journal
        self._index = {step.id: n for n, step in enumerate(job.steps)}

    def current(self) -> int:
        """Index of the current step: the first, or where an interrupted session stopped."""
        done = self._journal.steps_done()
        moves = list(of_kind(self._journal.events(), Moved))
        if moves and len(done) <= moves[-1].after:
            return self._index.get(moves[-1].to, len(self._job.steps))
        return self._index.get(done[-1], -1) + 1 if done else 0

    def moved_to(self, at: int, *, over: int) -> tuple[str, int]:
        """The fields of `Moved` for a next step: its id, and how many steps are over by then.

        Args:
            at: index of the next step; the number of steps for the end.
            over: how many more steps are over by then than the journal holds.
        """
        target = self._job.steps[at].id if at < len(self._job.steps) else ""
        return target, len(self._journal.steps_done()) + over

    def previous(self, at: int) -> int | None:
        """Index of the step to go back to; None without one. Decisions by verdicts are no use: they lead here again."""
        done = set(self._journal.steps_done())
        for n in range(min(at, len(self._job.steps)) - 1, -1, -1):
            step = self._job.steps[n]
            if step.id in done and not (isinstance(step, Decision) and step.of is not None):
                return n
        return None

    def retry_from(self, step: StepBase) -> int | None:
        """Index of the step that `again_until` leads back to; None when its retries are used up."""
        if self.retries_left(step) and isinstance(step, Measuring) and step.again_until is not None:
            return min(self._job.steps_named(step.again_until.back_to, step.direction).first, self._index[step.id])
        return None

    def retries_left(self, step: StepBase) -> int:
        """How often `again_until` may still lead back from a step; never as found, where nothing is mended."""
        again = step.again_until if isinstance(step, Measuring) and step.stage == "left" else None
        if again is None:
            return 0
        return again.at_most - sum(e.step == step.id for e in of_kind(self._journal.events(), WentAgain))


def not_needed(events: Sequence[Event]) -> frozenset[str]:
    """Ids of the steps that decisions passed over, by the last decision of each step."""
    last = {e.step: e.passed_over for e in of_kind(events, Decided)}
    return frozenset(step for passed_over in last.values() for step in passed_over)
