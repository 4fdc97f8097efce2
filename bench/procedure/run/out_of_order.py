"""Steps out of order: a test that a diagnosis suggests is done at once, and then the job goes on where it was."""

from __future__ import annotations

from bench.measure.stage import Stage
from bench.procedure.kinds.bench import Bench
from bench.procedure.model.job import JobStep
from bench.procedure.model.steps import Measuring
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Acted, CameBack, WentAside


class OutOfOrder:
    """Keeps the way back in the journal, so that a resumed job finds it too."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        moves = [e for e in bench.journal.events() if isinstance(e, WentAside | CameBack)]
        self._now = moves[-1] if moves and isinstance(moves[-1], WentAside) else None

    def staged(self, step: JobStep) -> JobStep:
        """The step; when out of order, with the stage that the machine has reached."""
        if self._now is None or not isinstance(step, Measuring) or step.stage == self._now.stage:
            return step
        return step.model_copy(update={"stage": self._now.stage})

    def begin(self, step: JobStep, first: str, last: str) -> int:
        """Go to other steps. Returns the index of the first.

        Args:
            step: the step to return to, unless steps are being done out of order already.
            first: the id of the first other step.
            last: the id of the last one.
        """
        at = self._index(first)
        where = self._bench.progress.moved_to(at, over=0)
        back = self._now.back if self._now is not None else step.id
        self._now = WentAside(*where, last=last, back=back, stage=self._stage())
        self._bench.note(step.id, self._now)
        return at

    def back_from(self, step: JobStep) -> int | None:
        """The index of the step to return to after the last of the other steps; None after any other step."""
        if self._now is None or step.id != self._now.last:
            return None
        at = self._index(self._now.back)
        self._now = None
        self._bench.note(step.id, CameBack(*self._bench.progress.moved_to(at, over=1)))
        return at

    def _index(self, step: str) -> int:
        return next(n for n, s in enumerate(self._bench.job.steps) if s.id == step)

    def _stage(self) -> Stage:
        """As left, once any reading is; else as found, before or after cleaning."""
        if any(r.stage == "left" for r in self._bench.journal.records()):
            return "left"
        acts = {e.act for e in of_kind(self._bench.journal.events(), Acted)}
        return "found-clean" if "clean" in acts else "found-dirty"
