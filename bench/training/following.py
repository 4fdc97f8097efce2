"""Unattended hands that follow a diagnosis: they do the tests that it suggests, and repair what it finds."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from bench.audio.port import Visible
from bench.diagnosis.answer import Diagnosis
from bench.diagnosis.carrying_out import REMEDIES, steps_for
from bench.diagnosis.next_test import NextTest, Possible
from bench.diagnosis.output.page import PROBABLE
from bench.procedure.model.job import JobStep
from bench.procedure.model.steps import ByHand, SignOff
from bench.procedure.run.commands import Command, GoAside, Look
from bench.procedure.state.snapshot import Snapshot
from bench.session.compare.diagnosis import PARTS
from bench.training.hands import UnattendedHands

MOST_SUGGESTIONS = 12
"""Maximum number of suggestions that are followed at one step."""
SHOWN_BY: dict[str, tuple[str, ...]] = {
    "pinch-roller": ("shiny",),
    "output-control": ("above", "below"),
    "tape-selector": (),
    "tape-of-another-type": (),
}
"""By cause: the words that show it in the look of its part of the practice machine. Without any, it is shown by a type
other than that of the tape in use."""


@dataclass(slots=True)
class FollowingHands(UnattendedHands):
    """Asks for a diagnosis before evidence is cleaned away and before the sign-off, and follows it."""

    ask: Callable[[Possible], Diagnosis | None] = lambda _: None
    """Returns the diagnosis of the readings so far, with the best of the possible tests."""
    steps: Sequence[JobStep] = ()
    tape_type: str = ""
    eyes: Visible | None = None
    found: list[str] = field(default_factory=list)
    """The causes that were likelier than not, each time it was asked: a machine may have several."""
    _followed: int = 0
    _at: str = ""
    _mended: set[str] = field(default_factory=set)
    _to_read_again: tuple[str, str] | None = None

    def decide(self, snapshot: Snapshot, now: float) -> Command | None:
        """The suggestion, at steps where a diagnosis is asked for; else the usual command."""
        step = next((s for s in self.steps if snapshot.step is not None and s.id == snapshot.step.id), None)
        if step is not None and self._asks_before(step) and snapshot.prompt.kind in ("go-on", "words"):
            if step.id != self._at:
                self._at, self._followed = step.id, 0
            suggested = self._suggested(step)
            if suggested is not None:
                return suggested
        return UnattendedHands.decide(self, snapshot, now)

    def _asks_before(self, step: JobStep) -> bool:
        """Whether the step is the first to remove evidence, by cleaning or demagnetising, or is the sign-off."""
        part = step.id.rpartition("/")[0]
        together = [s for s in self.steps if s.id.rpartition("/")[0] == part]
        acts = {act for s in together if isinstance(s, ByHand) for act in s.does}
        return isinstance(step, SignOff) or (step is together[0] and bool(acts & {*REMEDIES.values()}))

    def _suggested(self, step: JobStep) -> Command | None:
        if self._to_read_again is not None:
            again, self._to_read_again = self._to_read_again, None
            return GoAside(*again)
        if self._followed >= MOST_SUGGESTIONS:
            return None
        self._followed += 1
        told = self.ask(self._possible)
        self.found += [s.name for s in told.suspects if s.probability >= PROBABLE] if told is not None else []
        test = told.next_test if told is not None else None
        if told is None or test is None:
            return None
        if test.remedy:
            return self._mend(told, test, step)
        if test.looks_for:
            return Look(test.looks_for, self._sees(test.looks_for))
        found = steps_for(test, self.steps)
        return GoAside(*found) if found is not None else None

    def _possible(self, test: NextTest) -> bool:
        if test.looks_for:
            return self.eyes is not None and test.looks_for in SHOWN_BY
        return steps_for(test, self.steps) is not None

    def _sees(self, cause: str) -> bool:
        words = SHOWN_BY[cause]
        seen = self.eyes.look(PARTS[cause]) if self.eyes is not None else ""
        return any(word in seen for word in words) if words else not seen.rstrip(".").endswith(f"type {self.tape_type}")

    def _mend(self, told: Diagnosis, test: NextTest, step: JobStep) -> Command | None:
        """At the end, repair a settled cause and repeat the readings that showed it; until then the job repairs it."""
        first = told.suspects[0]
        act = REMEDIES.get(test.remedy)
        if act is None or act in self._mended or not isinstance(step, SignOff):
            return None
        found = steps_for(test, self.steps)
        if found is None:
            return None
        self._mended.add(act)
        spoke = tuple((f.source, f.quantity) for f in first.speaks_for[:1])
        self._to_read_again = steps_for(NextTest("", 0.0, (), 0.0, spoke), self.steps)
        return GoAside(*found)
