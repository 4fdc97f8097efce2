"""How good suggested tests are: each is done on the diagnosed machine, and the ranking is computed again.

A visit begins with record and replay before and after cleaning, or with all readings of a line-up; the readings that it
holds back are those that a test adds.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from bench.diagnosis.answer import Diagnosis, diagnose
from bench.diagnosis.causes.table import CAUSES
from bench.diagnosis.next_test import HANDLING, MEASUREMENTS, NextTest
from bench.diagnosis.output.contract import case_of
from bench.diagnosis.readings.looks import detection_rates
from tests.diagnosis.other_machines import BY_QUICK_CHECK, Truth
from tests.diagnosis.other_readings import make

BEGUN = {"response", "record_replay_level"}
MENDED_BY = {c.name: c.mended_by for c in CAUSES}


@dataclass
class Visit:
    """A machine on the bench."""

    truth: Truth
    facts: dict[str, Any]
    read: list[dict[str, Any]]
    held_back: list[dict[str, Any]]
    rng: np.random.Generator
    answers: dict[str, str] = field(default_factory=dict)

    def diagnosis(self) -> Diagnosis:
        case = case_of({"machine": self.facts, "readings": self.read, "answers": self.answers}, "visit")
        return diagnose(case.machine, case.findings, case.answers, self.possible)

    def possible(self, test: NextTest) -> bool:
        """Whether a test is possible: a look always is, a measurement only where its readings were held back."""
        return bool(test.looks_for) or any(self._of(r, test) for r in self.held_back)

    @staticmethod
    def _of(reading: dict[str, Any], test: NextTest) -> bool:
        return (reading["source"], reading["quantity"]) in test.quantities

    def after(self, test: NextTest) -> Visit:
        """The visit after a test."""
        new = [r for r in self.held_back if self._of(r, test)]
        rest = [r for r in self.held_back if not self._of(r, test)]
        answers = dict(self.answers)
        cause = next((c for c in CAUSES if c.name == test.looks_for), None)
        if cause is not None:
            chance = detection_rates(cause)[0 if cause.name in self.truth.causes else 1]
            answers[cause.name] = "seen" if self.rng.random() < chance else "not seen"
        return Visit(self.truth, self.facts, [*self.read, *new], rest, self.rng, answers)

    def tests(self) -> Iterator[NextTest]:
        """All tests that are possible."""
        for m in MEASUREMENTS:
            test = NextTest(m.step, m.minutes, (), 0.0, tuple((m.source, q) for q in m.quantities))
            if self.possible(test):
                yield test
        for c in CAUSES:
            if c.look and c.name not in self.answers:
                yield NextTest(c.look, c.look_minutes, (), 0.0, looks_for=c.name)


def visit(seed: int, *, whole: bool) -> Visit:
    """The machine of a seed. With `whole`, everything is read at the start; else a quick check shows its fault."""
    quick = sorted(BY_QUICK_CHECK)
    data, truth = make(seed, None if whole else (quick[seed % len(quick)],), plan="whole")
    held = [
        r
        for r in data["readings"]
        if not whole and (r["stage"] == "as-left" or r["source"] != "record-replay" or r["quantity"] not in BEGUN)
    ]
    read = [r for r in data["readings"] if not any(r is h for h in held)]
    late = [r for r in held if r["stage"] == "after-cleaning"]
    return Visit(truth, data["machine"], read, late, np.random.default_rng(seed))


def followed(start: Visit, tests: int) -> list[Diagnosis]:
    """The diagnosis at the start, and after each of the given number of suggested tests."""
    here, out = start, [start.diagnosis()]
    for _ in range(tests):
        test = out[-1].next_test
        if test is None or test.remedy:
            out.append(out[-1])
            continue
        here = here.after(test)
        out.append(here.diagnosis())
    return out


def to_mend(causes: Iterable[str]) -> frozenset[str]:
    return frozenset(MENDED_BY.get(c, c) for c in causes)


def surprise(said: Diagnosis, truth: Truth) -> float:
    """Surprise at what has to be repaired, bits."""
    right = sum(s.probability for s in said.sets if to_mend(s.causes) == to_mend(truth.causes))
    return -math.log2(max(right, 1e-3))


def worth(start: Visit) -> tuple[float, float]:
    """Bits per minute from the suggested test, and from the best test in hindsight."""
    before = start.diagnosis()

    def brought(test: NextTest) -> float:
        return (surprise(before, start.truth) - surprise(start.after(test).diagnosis(), start.truth)) / (
            test.minutes + HANDLING
        )

    suggested = before.next_test
    if suggested is None or suggested.remedy:
        return 0.0, 0.0
    first = brought(suggested)
    return first, max(first, *(brought(t) for t in start.tests()))
