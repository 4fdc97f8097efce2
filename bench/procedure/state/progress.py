"""The way through a job's steps, read from what the journal holds: a run that broke off goes on where it was."""

from __future__ import annotations

from bench.procedure.model.job import Job
from bench.procedure.model.steps import Decision, Measuring, StepBase
from bench.procedure.state.journal import Event, EventKind, Journal

MOVES: tuple[EventKind, ...] = ("decision", "again", "back")
"""Events after which the next step is not the one below. Their value is how many steps were over, then the next one's
id, if any: "12 replay-level". It counts until one more step is over."""


class Way:
    """Where a run stands, where it came from and where it may go back to."""

    def __init__(self, job: Job, journal: Journal) -> None:
        self._job = job
        self._journal = journal
        self._index = {step.id: n for n, step in enumerate(job.steps)}

    def stands_at(self) -> int:
        """The index of the step at hand: the first, or where a broken-off session stopped."""
        done = self._journal.steps_done()
        moves = [e for e in self._journal.events() if e.kind in MOVES and isinstance(e.value, str)]
        if moves:
            count, _, target = str(moves[-1].value).partition(" ")
            if len(done) <= int(count):
                return self._index.get(target, len(self._job.steps))
        return self._index.get(done[-1], -1) + 1 if done else 0

    def move(self, at: int, *, over: int) -> str:
        """The value of an event that says where the way goes on.

        Args:
            at: the index of the next step; beyond the last for the end.
            over: how many more steps are over by then than the journal knows.
        """
        target = self._job.steps[at].id if at < len(self._job.steps) else ""
        return f"{len(self._journal.steps_done()) + over} {target}".strip()

    def before(self, at: int) -> int | None:
        """The step to go back to from here; None where there is none. A verdict's decision would lead here again."""
        done = set(self._journal.steps_done())
        for n in range(min(at, len(self._job.steps)) - 1, -1, -1):
            step = self._job.steps[n]
            if step.id in done and not (isinstance(step, Decision) and step.of is not None):
                return n
        return None

    def back_to(self, step: StepBase) -> int | None:
        """Where `again_until` leads from a step whose readings are not all in; None once that was done often enough."""
        if self.rounds_left(step) and isinstance(step, Measuring) and step.again_until is not None:
            return min(self._job.place(step.again_until.back_to, step.direction).first, self._index[step.id])
        return None

    def rounds_left(self, step: StepBase) -> int:
        """How often `again_until` may still go back from a step. As found nothing is mended, so it never does."""
        again = step.again_until if isinstance(step, Measuring) and step.stage == "left" else None
        if again is None:
            return 0
        return again.at_most - sum(e.kind == "again" and e.step == step.id for e in self._journal.events())


def not_needed(events: tuple[Event, ...]) -> frozenset[str]:
    """The steps that decisions have passed over, each by its last word."""
    over: dict[str, frozenset[str]] = {}
    for event in events:
        if event.kind == "decision":
            over[event.step] = frozenset()
        elif event.kind == "not-needed" and isinstance(event.value, str):
            over[event.step] = frozenset(event.value.split())
    return frozenset().union(*over.values())
