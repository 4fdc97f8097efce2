"""Progress through the steps of a job, derived from the journal, so that an interrupted run can continue."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from bench.measure.reading import Result
from bench.procedure.model.job import Job
from bench.procedure.model.steps import (
    Adjust,
    Aspect,
    ByHand,
    Decision,
    Measure,
    Measuring,
    Reference,
    StepBase,
    plays_reference_tape,
)
from bench.procedure.state.dependencies import DISTURBS, IN_REVERSE, aspect_set_by, aspect_shown, aspects_moved
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.events import Decided, Moved, WentAgain
from bench.procedure.state.journal import Journal, ReadingRecord

NO_TRIMMER_MENDS = frozenset({"polarity"})
"""Quantities that no adjustment can correct."""
NEAR = 0.5
"""Part of the tolerance: a reading that is not nearer to its target may be brought nearer by a turn. A choice."""

MIDDLE_HZ = 700.0
"""Trimmers of equalisation that are set by a tone above this act on the treble, the others on the bass. A choice."""
REACH = 8.0
"""A trimmer of equalisation affects responses down to this fraction of the frequency at which treble is set, and up to
this multiple of that at which bass is set: three octaves along its slope. A choice."""


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
            over: number of steps that will be over by then besides those in the journal.
        """
        target = self._job.steps[at].id if at < len(self._job.steps) else ""
        return target, len(self._journal.steps_done()) + over

    def previous(self, at: int) -> int | None:
        """Index of the step to go back to; None without one. A step that needs nobody is no use: it leads back here."""
        done = set(self._journal.steps_done())
        for n in range(min(at, len(self._job.steps)) - 1, -1, -1):
            step = self._job.steps[n]
            if step.id in done and not _needs_nobody(step):
                return n
        return None

    def not_in(self, step: StepBase, attempt: int) -> tuple[str, ...]:
        """The quantities of an attempt at a step that are not in, and that a turn may bring in."""
        own = [r for r in self._journal.records() if r.step == step.id and r.attempt == attempt]
        return tuple(
            dict.fromkeys(
                r.reading.quantity
                for r in own
                if r.verdict is not None
                and r.verdict.word != "in"
                and not _only_uncertain(r)
                and self._in_reach(step, r.reading)
            )
        )

    def _in_reach(self, step: StepBase, reading: Result) -> bool:
        """Whether the trimmers of the job affect a response at this frequency; true of any other quantity."""
        hz = reading.frequency_hz
        if reading.quantity != "response" or hz is None:
            return True
        turned = [s for s in self._job.steps if isinstance(s, Adjust) and s.quantity in ("response", "overbias")]
        turned = [s for s in turned if s.lot == step.lot and bool(s.plays) == isinstance(step, Reference)]
        by = [adjusted for s in turned if (adjusted := self._job.judged_hz(s)) is not None]
        return any(hz >= at / REACH if at > MIDDLE_HZ else hz <= at * REACH for at in by)

    def retry_from(self, step: StepBase, not_in: Iterable[str]) -> int | None:
        """Index of the step that `again_until` leads back to; None when no retries are left, or nothing can help.

        It is the named step where that can correct what is not in, else the first of the last steps that set it.

        Args:
            step: the step with `again_until`.
            not_in: the quantities that are not in.
        """
        again = step.again_until if isinstance(step, Measuring) else None
        if again is None or not self.retries_left(step):
            return None
        at = self._index[step.id]
        named = min(self._job.steps_named(again.back_to, step.direction).first, at)
        wanted = {aspect_shown(step, quantity) for quantity in not_in if quantity not in NO_TRIMMER_MENDS}
        if not wanted:
            return None
        back = min(self._mending(what, step, named, at) for what in wanted)
        return back if any(isinstance(s, Adjust | ByHand) for s in self._job.steps[back:at]) else None

    def turns(self, step: StepBase, quantities: Iterable[str]) -> bool:
        """Whether some step of the job turns a trimmer that affects one of the quantities that a step measures."""
        moved = [aspects_moved(s) for s in self._job.steps if isinstance(s, Adjust)]
        shown = {aspect_shown(step, quantity) for quantity in quantities}
        return any(what is not None and (what in own or what + IN_REVERSE in own) for own in moved for what in shown)

    def _mending(self, what: Aspect | None, step: StepBase, named: int, before: int) -> int:
        """Index of the step to go back to for one aspect."""

        def sets(at: int) -> frozenset[Aspect]:
            adjust = self._job.steps[at]
            if not isinstance(adjust, Adjust) or (adjust.direction, adjust.lot) != (step.direction, step.lot):
                return frozenset()
            return frozenset(a for name in adjust.trimmers.values() if (a := aspect_set_by(name)) is not None)

        if what is None or any(what == a or what in DISTURBS.get(a, ()) for a in sets(named)):
            return named
        found = named
        for at in range(before - 1, -1, -1):
            if what in sets(at):
                found = at
            elif found != named:
                break
        return found

    def decided(self, at: int, to: int, answer: str, all_in: tuple[str, ...], not_in: tuple[str, ...]) -> Decided:
        """The event of a decision, with the steps that it passes over.

        Args:
            at: index of the decision.
            to: index of the step that it leads to.
            answer: the answer to its question; or
            all_in: the steps whose readings are all in, and
            not_in: those whose readings are not.
        """
        passed_over = tuple(s.id for s in self._job.steps[at + 1 : to])
        where = self.moved_to(to, over=1)
        return Decided(*where, answer=answer, all_in=all_in, not_in=not_in, passed_over=passed_over)

    def going_again(self, step: StepBase, back: int, not_in: Sequence[str]) -> WentAgain:
        """The event of going back from a step, with the passes of the reference tape that it costs."""
        passes = sum(plays_reference_tape(s) for s in self._job.steps[back : self._index[step.id] + 1])
        where = self.moved_to(back, over=0)
        return WentAgain(*where, left=self.retries_left(step), out=tuple(not_in), passes=passes)

    def retries_left(self, step: StepBase) -> int:
        """How often `again_until` may still lead back from a step; 0 as found, where nothing is corrected."""
        again = step.again_until if isinstance(step, Measuring) and step.stage == "left" else None
        if again is None:
            return 0
        return again.at_most - sum(e.step == step.id for e in of_kind(self._journal.events(), WentAgain))


def _only_uncertain(record: ReadingRecord) -> bool:
    """Whether a reading is on target as nearly as a turn brings it, and not in because it is too uncertain."""
    verdict, off = record.verdict, record.off
    if verdict is None or verdict.word != "too close to call" or verdict.tolerance is None or off is None:
        return False
    return abs(off) <= NEAR * verdict.tolerance


def _needs_nobody(step: StepBase) -> bool:
    """Whether a step is over as soon as it begins: a decision by verdicts, or what is computed from readings."""
    return (isinstance(step, Decision) and step.of is not None) or (
        isinstance(step, Measure) and step.quantity == "mistracking"
    )


def not_needed(events: Sequence[Event]) -> frozenset[str]:
    """Ids of the steps that decisions passed over, by the last decision of each step."""
    last = {e.step: e.passed_over for e in of_kind(events, Decided)}
    return frozenset(step for passed_over in last.values() for step in passed_over)
