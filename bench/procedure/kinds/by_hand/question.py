"""`question`: a question from the instructor. The answer is kept and never judged."""

from __future__ import annotations

from bench.problem import Problem
from bench.procedure.kinds.activity import Activity, View
from bench.procedure.kinds.bench import Bench
from bench.procedure.kinds.by_hand.entry import chosen
from bench.procedure.model.steps import Question
from bench.procedure.state.events import Answered
from bench.procedure.state.snapshot import Prompt


class QuestionActivity(Activity[Question]):
    """Asks, then gives the right answer and its reason."""

    def __init__(self, step: Question, bench: Bench) -> None:
        super().__init__(step, bench)
        self._answered = ""

    def answer(self, text: str) -> None:
        """Keep the answer."""
        step = self.step
        if self._answered:
            raise Problem("it is answered; press the go-on key")
        self._answered = chosen(text, step.choices)
        self.bench.note(step.id, Answered(self._answered, right=step.right))

    def go_on(self) -> None:
        """Go on, after an answer."""
        if not self._answered:
            raise Problem("choose one of the answers first, or skip the question with a reason")
        self.finished = True

    def view(self) -> View:
        """The question, then the right answer and its reason."""
        step = self.step
        if not self._answered:
            return View(Prompt("choice", step.asks, choices=step.choices))
        result = "Right." if self._answered == step.right else f"No. The right answer: {step.right}."
        return View(Prompt("go-on", f"{result} {step.because}"))
