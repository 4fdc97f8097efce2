"""`name-causes`: the trainee names a cause, the reading that shows it and the test that rules out its rival."""

from __future__ import annotations

from bench.problem import Problem
from bench.procedure.kinds.activity import Activity, View
from bench.procedure.kinds.bench import Bench
from bench.procedure.kinds.by_hand.entry import chosen
from bench.procedure.model.exercise_steps import NameCauses, RivalTest
from bench.procedure.state.exercise_events import CauseNamed, causes_named
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.snapshot import Prompt
from bench.words.readings import reading_name, value_text
from bench.words.sentences import listed

ENOUGH = "No other cause: finish"
OTHER_TESTS = 4
"""How many wrong tests are offered beside the right one."""
NONE_SHOWS = "No reading of this session shows it"
NOT_THIS = "Chosen by mistake: back to the list of causes"
WITHDRAW = "Withdraw: "


class NameCausesActivity(Activity[NameCauses]):
    """Asks for a cause, the reading that shows it and the test that rules out its rival, until no more are named."""

    def __init__(self, step: NameCauses, bench: Bench) -> None:
        super().__init__(step, bench)
        self._cause = ""
        """The cause that was named and still needs its reading or test."""
        self._reading: str | None = None
        """Id of the reading that shows it; None before it is chosen."""

    @property
    def _named(self) -> tuple[str, ...]:
        return tuple(e.cause for e in causes_named(self.bench.journal.events()))

    def answer(self, text: str) -> None:
        """Take a cause, the reading or test that supports the last one named, or the withdrawal of a cause.

        Several causes typed at once, with a semicolon between them, need no reading.
        """
        if self._cause:
            self._argue(text)
            return
        if ";" in text:
            for cause in [chosen(part, self.step.causes) for part in text.split(";")]:
                self.bench.note(self.step.id, CauseNamed(cause))
            self.finished = True
            return
        said = chosen(text, self._choices)
        self.finished = said == ENOUGH
        if said.startswith(WITHDRAW):
            self.bench.note(self.step.id, CauseNamed(said.removeprefix(WITHDRAW), withdrawn=True))
        elif not self.finished:
            self._cause = said

    def _argue(self, text: str) -> None:
        """Take the reading that shows the cause, then the test that rules out its rival."""
        rival = self._rival
        said = chosen(text, self._readings_said if self._reading is None else self._tests)
        if said == NOT_THIS:
            self._cause, self._reading = "", None
            return
        if self._reading is None:
            at = self._readings_said.index(said)
            self._reading = self._readings[at].id if at < len(self._readings) else ""
            if rival is not None:
                return
        test = said if rival is not None else ""
        is_right = rival is not None and test == rival.test
        self.bench.note(self.step.id, CauseNamed(self._cause, self._reading, test, is_right))
        self._cause, self._reading = "", None

    @property
    def _rival(self) -> RivalTest | None:
        return next((r for r in self.step.rivals if r.cause == self._cause), None)

    @property
    def _tests(self) -> tuple[str, ...]:
        """The right test and some wrong ones, in alphabetical order."""
        rival = self._rival
        others = [r.test for r in self.step.rivals if rival is not None and r.test != rival.test]
        some = list(dict.fromkeys(others))[len(self._cause) % 3 :: 3][:OTHER_TESTS]
        return (*sorted({*some, rival.test}), NOT_THIS) if rival is not None else ()

    def go_on(self) -> None:
        """Refuse, because the go-on key is not an answer."""
        raise Problem("choose one of the answers first")

    @property
    def _choices(self) -> tuple[str, ...]:
        named = self._named
        return (ENOUGH, *(WITHDRAW + c for c in named), *(c for c in self.step.causes if c not in named))

    @property
    def _readings(self) -> tuple[ReadingRecord, ...]:
        """The readings that are out or too close to call, the first of each kind."""
        found: dict[tuple[str, str], ReadingRecord] = {}
        for r in self.bench.journal.records():
            if r.verdict is not None and r.verdict.word in ("out", "too close to call"):
                found.setdefault((r.source, reading_name(r.reading)), r)
        return tuple(found.values())

    @property
    def _readings_said(self) -> tuple[str, ...]:
        said = []
        for r in self._readings:
            verdict = r.verdict.word if r.verdict is not None else ""
            said.append(f"{reading_name(r.reading)}: {value_text(r.reading, unit=True)}, {verdict} ({r.source})")
        return (
            *(f"{text} [{n}]" if text in said[: n - 1] else text for n, text in enumerate(said, 1)),
            NONE_SHOWS,
            NOT_THIS,
        )

    def view(self) -> View:
        """The causes, or the readings."""
        if self._cause and self._reading is None:
            return View(Prompt("choice", f"{self._cause}: which reading shows it?", choices=self._readings_said))
        if self._cause and self._rival is not None:
            text = f"{self._cause} reads much like this: {self._rival.rival}. Which test tells them apart?"
            return View(Prompt("choice", text, choices=self._tests))
        named = f" Named so far: {listed(self._named)}. To finish, go up to the top of the list." if self._named else ""
        # the go-on key pressed twice by mistake neither ends the exercise nor withdraws a cause
        choices = self._choices
        asked = f"What was wrong with it at the start?{named}"
        return View(Prompt("choice", asked, choices=choices, first=min(1 + len(self._named), len(choices) - 1)))
