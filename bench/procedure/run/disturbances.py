"""Notes in the journal what each step disturbed, what readings have shown again, and which predictions they answer."""

from __future__ import annotations

from collections.abc import Iterable

from bench.procedure.kinds.bench import Bench
from bench.procedure.model.steps import Adjust, StepBase
from bench.procedure.run.predictions import answered_predictions
from bench.procedure.state.dependencies import (
    disturbed_by,
    in_order,
    lot_of_trimmer,
    moved_by,
    moved_by_trimmer,
    named,
    of_tape,
    set_for,
    shown_by,
    shown_so_far,
    whatever_tape,
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
        so_far = shown_so_far(bench.journal.records(), self._steps)
        disturbed: set[str] = set()
        if isinstance(step, Adjust):
            moved = disturbed_by(step) if shown else moved_by(step) if turned else frozenset()
            disturbed |= _for_tapes(moved, so_far, self._only_tape(step))
        elif not skipped:
            disturbed |= _for_tapes(disturbed_by(step), so_far, None)
        for name in turned:
            if not (isinstance(step, Adjust) and name in step.trimmers.values()):
                own = lot_of_trimmer(name, (s.lot for s in bench.job.further))
                disturbed |= _for_tapes(moved_by_trimmer(name), so_far, own or None)
        standing = set(bench.to_check_again)
        if disturbed - standing:
            bench.note(step.id, Disturbed(in_order(disturbed - standing)))
        again = shown & (standing | disturbed)
        if again:
            bench.note(step.id, CheckedAgain(in_order(again)))
        self._answer_predictions()

    def _only_tape(self, step: Adjust) -> str | None:
        """The lot of the only tape that the trimmers of a step serve; None where they serve all."""
        names = [setting.name for setting in self._bench.job.machine.setting]
        own = any(all(lot_of_trimmer(trimmer, (name,)) for trimmer in step.trimmers.values()) for name in names)
        lot = set_for(step)
        return lot if own or lot else None

    def _answer_predictions(self) -> None:
        """Note which predictions the readings have answered, and show the last one."""
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
        return of_tape(named((w for w in found if w is not None), step.direction), set_for(step))


def _for_tapes(moved: Iterable[str], so_far: Iterable[str], lot: str | None) -> frozenset[str]:
    """The aspects shown so far that were moved, for one of several tapes; for all of them where `lot` is None."""
    if lot is not None:
        return of_tape(moved, lot) & frozenset(so_far)
    names = set(moved)
    return frozenset(name for name in so_far if whatever_tape(name) in names)
