"""Notes in the journal what each step disturbed, what readings have shown again, and which predictions they answer."""

from __future__ import annotations

from collections.abc import Iterable

from bench.procedure.kinds.bench import Bench
from bench.procedure.model.steps import Adjust, StepBase
from bench.procedure.run.predictions import answered_predictions
from bench.procedure.state.dependencies import (
    aspect_names,
    aspect_shown,
    aspects_disturbed,
    aspects_moved,
    aspects_read,
    in_usual_order,
    lot_concerned,
    lot_of_trimmer,
    moved_by_trimmer,
    names_for_tape,
    without_tape,
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
        so_far = aspects_read(bench.journal.records(), self._steps)
        disturbed: set[str] = set()
        if isinstance(step, Adjust):
            moved = aspects_disturbed(step) if shown else aspects_moved(step) if turned else frozenset()
            disturbed |= _for_tapes(moved, so_far, self._only_tape(step))
        elif not skipped:
            disturbed |= _for_tapes(aspects_disturbed(step), so_far, None)
        for name in turned:
            if not (isinstance(step, Adjust) and name in step.trimmers.values()):
                own = lot_of_trimmer(name, (s.lot for s in bench.job.further))
                disturbed |= _for_tapes(moved_by_trimmer(name), so_far, own or None)
        standing = set(bench.to_check_again)
        if disturbed - standing:
            bench.note(step.id, Disturbed(in_usual_order(disturbed - standing)))
        again = shown & (standing | disturbed)
        if again:
            bench.note(step.id, CheckedAgain(in_usual_order(again)))
        self._answer_predictions()

    def _only_tape(self, step: Adjust) -> str | None:
        """The lot of the only tape that the trimmers of a step serve; None where they serve all."""
        names = [setting.name for setting in self._bench.job.machine.setting]
        own = any(all(lot_of_trimmer(trimmer, (name,)) for trimmer in step.trimmers.values()) for name in names)
        lot = lot_concerned(step)
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
        found = (aspect_shown(step, r.reading.quantity) for r in own if r.measured is not None)
        return names_for_tape(aspect_names((w for w in found if w is not None), step.direction), lot_concerned(step))


def _for_tapes(moved: Iterable[str], so_far: Iterable[str], lot: str | None) -> frozenset[str]:
    """The aspects shown so far that were moved, for one of several tapes; for all of them where `lot` is None."""
    if lot is not None:
        return names_for_tape(moved, lot) & frozenset(so_far)
    names = set(moved)
    return frozenset(name for name in so_far if without_tape(name) in names)
