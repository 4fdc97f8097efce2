"""Notes in the journal what each step disturbed, what readings showed to be right again, and predictions answered."""

from __future__ import annotations

from bench.procedure.kinds.bench import Bench
from bench.procedure.model.steps import Adjust, StepBase
from bench.procedure.run.predictions import answered_predictions
from bench.procedure.state.dependencies import (
    disturbed_by,
    in_order,
    moved_by,
    moved_by_trimmer,
    named,
    shown_by,
    shown_so_far,
)
from bench.procedure.state.events import CheckedAgain, Disturbed


class Disturbances:
    """Compares each step with what earlier readings have shown."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._steps: dict[str, StepBase] = {s.id: s for s in bench.job.steps}

    def step_ends(self, step: StepBase, *, skipped: bool, turned: tuple[str, ...]) -> None:
        """Note the consequences of a step that is over, or was left.

        Args:
            step: the step.
            skipped: whether it was skipped with a reason.
            turned: trimmers that the program saw turned; on a real machine it sees none.
        """
        bench = self._bench
        shown = self._shown_now(step)
        disturbed: set[str] = set()
        if isinstance(step, Adjust):
            if shown:
                disturbed |= disturbed_by(step)
            elif turned:
                disturbed |= moved_by(step)
        elif not skipped:
            disturbed |= disturbed_by(step)
        for name in turned:
            if not (isinstance(step, Adjust) and name in step.trimmers.values()):
                disturbed |= moved_by_trimmer(name)
        disturbed &= shown_so_far(bench.journal.records(), self._steps)
        standing = set(bench.to_check_again)
        if disturbed - standing:
            bench.note(step.id, Disturbed(in_order(disturbed - standing)))
        again = shown & (standing | disturbed)
        if again:
            bench.note(step.id, CheckedAgain(in_order(again)))
        self._answer_predictions()

    def _answer_predictions(self) -> None:
        """Note which predictions the readings have answered by now, and show the last one."""
        bench = self._bench
        for question, answered in [*answered_predictions(bench.job, bench.journal.records(), bench.journal.events())]:
            bench.note(question, answered)
            word = "right" if answered.answer == answered.right else "wrong"
            bench.notice = f"your prediction was {word}: you said {answered.answer}, the reading is {answered.right}"

    def _shown_now(self, step: StepBase) -> frozenset[str]:
        """What the readings of the last attempt at a step have shown."""
        kept = self._bench.journal.records()
        own = [r for r in kept if r.step == step.id and r.attempt == self._bench.attempt]
        found = (shown_by(step, r.reading.quantity) for r in own if r.measured is not None)
        return named((w for w in found if w is not None), step.direction)
