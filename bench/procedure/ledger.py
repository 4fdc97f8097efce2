"""What adjustments disturbed, and what was shown again since: kept in the journal, so that the report says it."""

from __future__ import annotations

from bench.procedure.dependents import DISTURBS, disturbed_by, in_words, set_by, shown_by, shown_so_far, shows
from bench.procedure.kinds.base import Situation
from bench.procedure.steps import Adjust, StepBase, What


class Ledger:
    """Keeps account step by step."""

    def __init__(self, situation: Situation) -> None:
        self._situation = situation
        self._steps: dict[str, StepBase] = {s.id: s for s in situation.job.steps}

    def step_ends(self, step: StepBase, *, skipped: bool, turned: tuple[str, ...]) -> None:
        """A step is over, or left for another time.

        Args:
            step: the one that ends.
            skipped: it was left out with a reason.
            turned: the trimmers that the program saw turned at it; on a real machine it sees none.
        """
        situation = self._situation
        shown = self._shown_now(step)
        disturbed: set[What] = set()
        if isinstance(step, Adjust):
            if shown:
                disturbed |= disturbed_by(step)
            elif turned:
                disturbed |= disturbed_by(step) | shows(step)
        elif not skipped:
            disturbed |= disturbed_by(step)
        for name in turned:
            what = set_by(name)
            if what is not None and not (isinstance(step, Adjust) and name in step.trimmers.values()):
                disturbed |= {what, *DISTURBS.get(what, ())}
        disturbed &= shown_so_far(situation.journal.records(), self._steps)
        standing = set(situation.to_check_again)
        if disturbed - standing:
            situation.note("to-check", step.id, in_words(disturbed - standing))
        again = shown & (standing | disturbed)
        if again:
            situation.note("checked", step.id, in_words(again))

    def _shown_now(self, step: StepBase) -> set[What]:
        """What the last attempt at a step has shown, with a reading."""
        kept = self._situation.journal.records()
        own = [r for r in kept if r.step == step.id and r.attempt == self._situation.attempt]
        found = (shown_by(step, r.reading.quantity) for r in own if r.reading.value is not None)
        return {w for w in found if w is not None}
