"""`question`: a question from the instructor, or a prediction that a later reading answers."""

from __future__ import annotations

from bench.problem import Problem
from bench.procedure.kinds.activity import Activity, View
from bench.procedure.kinds.bench import Bench
from bench.procedure.kinds.by_hand.entry import chosen
from bench.procedure.model.steps import Question
from bench.procedure.state.events import Answered
from bench.procedure.state.snapshot import Prompt

TRIES = 2


class QuestionActivity(Activity[Question]):
    """Asks. A wrong answer gets its reply and a second try; then the right answer and its reason are shown."""

    def __init__(self, step: Question, bench: Bench) -> None:
        super().__init__(step, bench)
        self._answers: list[str] = []

    @property
    def _over(self) -> bool:
        tries = TRIES if self.step.replies and not self.step.predicts else 1
        return self.step.right in self._answers or len(self._answers) >= tries

    def answer(self, text: str) -> None:
        """Keep the answer."""
        step = self.step
        if self._over:
            raise Problem("it is answered; press the go-on key")
        self._answers.append(chosen(text, step.choices))
        self.bench.note(step.id, Answered(self._answers[-1], right=step.right))

    def go_on(self) -> None:
        """Go on, after an answer."""
        if not self._over:
            raise Problem("choose one of the answers first, or skip the question with a reason")
        self.finished = True

    def view(self) -> View:
        """The question, then the reply to a wrong answer, then the right answer and its reason."""
        step = self.step
        last = self._answers[-1] if self._answers else ""
        reply = step.replies[step.choices.index(last)] if last and step.replies else ""
        if not self._over:
            text = f"No. {reply} Try once more: {step.asks}" if last else step.asks
            return View(Prompt("choice", text, choices=step.choices), hides_why=True)
        if step.predicts is not None:
            return View(Prompt("go-on", f"Kept: {last}. The reading will show whether it is so."))
        result = "Right." if last == step.right else f"No. {reply}".strip() + f" The right answer: {step.right}."
        return View(Prompt("go-on", f"{result} {step.because}"))
