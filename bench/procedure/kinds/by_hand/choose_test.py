"""`choose-test`: which test to run in mid-exercise, or none."""

from __future__ import annotations

from bench.procedure.kinds.activity import Activity, View
from bench.procedure.kinds.bench import Bench
from bench.procedure.kinds.by_hand.entry import chosen
from bench.procedure.model.exercise_steps import ChooseTest
from bench.procedure.state.exercise_events import RanTest
from bench.procedure.state.snapshot import Prompt

NO_TEST = "No test: go back to the step"


class ChooseTestActivity(Activity[ChooseTest]):
    """Asks which test."""

    def __init__(self, step: ChooseTest, bench: Bench) -> None:
        super().__init__(step, bench)
        self.test = ""
        """The chosen test; "" for none."""

    def answer(self, text: str) -> None:
        """Take a test, or none."""
        said = chosen(text, self._choices)
        if said != NO_TEST:
            self.test = said
            self.bench.note(self.step.id, RanTest(said))
        self.finished = True

    @property
    def _choices(self) -> tuple[str, ...]:
        return (NO_TEST, *self.step.tests)

    def view(self) -> View:
        """The tests."""
        return View(Prompt("choice", "Which test? Afterwards the step begins again.", choices=self._choices))
