"""`entry` and `sign-off`: a figure, a choice or words from the person, and who accepts what."""

from __future__ import annotations

import math

from bench.problem import Problem
from bench.procedure.kinds.activity import Activity, View, seen
from bench.procedure.kinds.bench import Bench
from bench.procedure.model.steps import Entry, SignOff
from bench.procedure.model.targets import Target
from bench.procedure.state.events import Answered, Limits, SignedOff
from bench.procedure.state.sign_off import to_sign
from bench.procedure.state.snapshot import Prompt

LONGEST_ANSWER = 2000
GAUGES: dict[str, dict[str, float]] = {
    "N": {"g": 0.00980665, "oz": 0.278014},
    "g·cm": {"ozin": 72.0078, "mNm": 10.1972},
}
"""By the unit asked for: other units of the gauge, each with its factor. NIST SP 811, appendix B, from memory."""
CURE_OR_NOT = ("yes, again", "no, go on as it is")


class EntryActivity(Activity[Entry | SignOff]):
    """Asks for a number, a choice, words or a name."""

    def __init__(self, step: Entry | SignOff, bench: Bench) -> None:
        super().__init__(step, bench)
        self._to_sign: tuple[str, ...] = ()
        self._offers_cure = False

    def begin(self) -> None:
        """At a sign-off, show what is being signed."""
        if isinstance(self.step, SignOff):
            self._to_sign = to_sign(self.bench.job, self.bench.journal, sees_turns=self.bench.hands is not None)

    def answer(self, text: str) -> None:
        """Take the answer. Raises `Problem` with what to type instead."""
        text = text.strip()
        if len(text) > LONGEST_ANSWER:
            raise Problem(f"that is longer than {LONGEST_ANSWER} characters; shorten it")
        if any(ord(c) < 32 or 127 <= ord(c) < 160 for c in text):
            raise Problem("control characters can't be kept; type the words again")
        step = self.step
        if isinstance(step, Entry) and step.asks == "complaint" and not text:
            raise Problem("type what the owner says; if nothing was said, type that")
        if self._offers_cure and isinstance(step, Entry):
            if chosen(text, CURE_OR_NOT) == CURE_OR_NOT[0]:
                self.back_to = step.cure_from or ""
        elif isinstance(step, SignOff):
            if not text[:1].isalpha() or "?" in text:
                raise Problem(
                    f'"{text}" is not a name; type the name of who signs' if text else "type the name of who signs"
                )
            self.bench.note(step.id, SignedOff(text, step.accepts))
        elif step.asks == "number":
            self._number(step, text)
        else:
            self._words(step, text)
            if self._offers_cure:
                return
        self.finished = True

    def _number(self, step: Entry, text: str) -> None:
        try:
            number = in_unit(text, step.unit)
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            raise Problem(f'"{text}" is not a number; type it in {step.unit or "figures"}, like 12.5')
        # a figure from another meter has no uncertainty here, so it is reported but never judged
        self.bench.note(step.id, Answered(number, step.unit, self.limits()))

    def limits(self) -> Limits | None:
        """What a number should be; None where no sheet gives it."""
        named = self.step.target if isinstance(self.step, Entry) else None
        return _limits(self.bench.job.target(named)) if named is not None else None

    def _words(self, step: Entry, text: str) -> None:
        if step.choices:
            text = chosen(text, step.choices)
        bad = text in step.not_good
        self.bench.note(step.id, Answered(text, not_good=bad))
        self._offers_cure = bad and step.cure_from is not None

    def go_on(self) -> None:
        """Accept an empty text; a number, a choice, a complaint and a name must be typed."""
        if isinstance(self.step, Entry) and self.step.asks in ("words", "complaint"):
            self.answer("")
        else:
            raise Problem("type an answer first, or skip the step with a reason")

    def view(self) -> View:
        """The question."""
        step = self.step
        if isinstance(step, SignOff):
            again = ", ".join(self.bench.to_check_again)
            stands = f" To be checked again, so that it can't be signed off as in: {again}." if again else ""
            return View(Prompt("words", f"Who accepts: {step.accepts}{stands}"), to_sign=self._to_sign)
        if self._offers_cure:
            return View(Prompt("choice", step.cure or "Do it again?", choices=CURE_OR_NOT))
        if step.asks == "number":
            return View(Prompt("number", step.title, unit=step.unit, other_units=tuple(GAUGES.get(step.unit, ()))))
        if step.choices:
            return View(Prompt("choice", step.title, choices=step.choices), seen=seen(self.bench, step.looks_at))
        return View(Prompt("words", step.title), seen=seen(self.bench, step.looks_at))


def in_unit(text: str, unit: str) -> float:
    """A typed figure in the unit that is asked for: "0.98", "0,98 N", "100 g". Raises `ValueError`."""
    typed = text.replace(",", ".").replace("·", "").strip()
    for name, factor in {unit.replace("·", ""): 1.0, **GAUGES.get(unit, {})}.items():
        if name and typed.endswith(name):
            return round(factor * float(typed.removesuffix(name)), 6)
    return float(typed)


def chosen(text: str, choices: tuple[str, ...]) -> str:
    """The typed choice, given by its words or its number. Raises `Problem` for anything else."""
    text = text.strip()
    for n, choice in enumerate(choices, start=1):
        if text.casefold() in (choice.casefold(), str(n)):
            return choice
    raise Problem(f'"{text}" is none of: {", ".join(choices)}')


def _limits(target: Target) -> Limits:
    if target.at_least is not None:
        return Limits(target.at_least, limit="at least", source=target.source)
    if target.at_most is not None:
        return Limits(target.at_most, limit="at most", source=target.source)
    return Limits(target.value, target.tolerance, source=target.source)
