"""`decision`: choose between later steps, by the verdicts of an earlier step or by an answer."""

from __future__ import annotations

from bench.problem import Problem
from bench.procedure.kinds.activity import WAIT, Activity, View
from bench.procedure.kinds.bench import Bench
from bench.procedure.kinds.by_hand.entry import chosen
from bench.procedure.model.steps import Decision, Measuring
from bench.procedure.state.events import Answered
from bench.procedure.state.outcome import last_attempts
from bench.procedure.state.snapshot import Prompt


class DecisionActivity(Activity[Decision]):
    """Decides by verdicts automatically, or asks."""

    def __init__(self, step: Decision, bench: Bench) -> None:
        super().__init__(step, bench)
        self.goes_to = ""
        """Name of the step to go to; "" for the next one."""
        self.answered = ""
        """The person's answer; "" where verdicts decide."""
        self.all_in: tuple[str, ...] = ()
        """The deciding steps, where verdicts decide and all their readings are in."""
        self.not_in: tuple[str, ...] = ()
        """The deciding steps with a reading that is not in, where verdicts decide."""
        self._figures: tuple[str, ...] = ()

    def begin(self) -> None:
        """Decide, where nobody is asked."""
        if self.step.of is not None:
            self._by_verdicts(self.step.of)
        if self.step.compares:
            self._figures = self.bench.choice_figures()

    def _by_verdicts(self, of: str) -> None:
        job, step = self.bench.job, self.step
        ids = set(job.steps_named(of, step.direction).steps)
        words: dict[str, set[str]] = {s.id: set() for s in job.steps if s.id in ids and isinstance(s, Measuring)}
        for r in last_attempts(self.bench.journal.records()):
            if r.step in words and r.verdict is not None:
                words[r.step].add(r.verdict.word)
        self.not_in = tuple(i for i, w in words.items() if w != {"in"})
        if self.not_in:
            self.goes_to = step.when_not or ""
        elif words:
            self.all_in = tuple(words)
            self.goes_to = step.when_in or ""
        self.finished = True

    def answer(self, text: str) -> None:
        """Take the decision of the person."""
        say = chosen(text, tuple(c.say for c in self.step.choices))
        self.goes_to = next(c.go_to or "" for c in self.step.choices if c.say == say)
        self.answered = say
        self.bench.note(self.step.id, Answered(say))
        self.finished = True

    def go_on(self) -> None:
        """Refuse, because the go-on key is not an answer."""
        raise Problem("choose one of the answers first")

    def view(self) -> View:
        """What each answer leads to, then the question."""
        if self.step.of is not None:
            return View(WAIT)
        prompt = Prompt("choice", self.step.asks, choices=tuple(c.say for c in self.step.choices))
        return View(prompt, to_choose_by=self._figures)
