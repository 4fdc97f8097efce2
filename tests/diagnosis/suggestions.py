"""How good suggested tests are: each is done on the diagnosed machine, and the ranking is computed again.

A visit begins with record and replay before and after cleaning, or with all readings of a line-up; the readings that it
holds back are those that a test adds.

The worth of a test is the information that it brings about what is left to mend, in bits a minute: by how much the
doubt falls. It depends on what the machine reads, so the best of all tests is known by hindsight only. One reading
scatters, and the largest of many scattering figures is too large: the best is chosen by some readings of the machine
and judged by others, as the suggested test is; of a look both answers count, by how often each is given.

The same is given for the surprise at the truth. The best is then chosen with the truth known, as if somebody had told
where to look, and no suggestion can come near it where the readings do not yet speak for the truth.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
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
CHOSEN_BY, JUDGED_BY = (1, 2), (3, 4, 5)
"""The readings of each test by which the best is chosen, and by which its worth is found."""
LEAST_LIKELY = 1e-3
"""A truth less likely than this counts as no greater surprise."""
IN_DOUBT = (
    *("dirt-left-after-cleaning", "worn-replay-gap", "worn-contour", "head-height", "equalisation-switch"),
    *("dried-capacitor", "weak-oscillator", "tape-selector", "tape-of-another-type", "limiter-left-in"),
    *("pilot-filter-left-in", "noise-reduction-left-in", "dirt-record-head", "dirt-replay-head"),
)
"""Causes that record and replay shows but does not settle."""
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
        cause = next((c for c in CAUSES if c.name == test.looks_for), None)
        if cause is not None:
            chance = detection_rates(cause)[0 if cause.name in self.truth.causes else 1]
            return self.told(cause.name, "seen" if self.rng.random() < chance else "not seen")
        new = [r for r in self.held_back if self._of(r, test)]
        rest = [r for r in self.held_back if not self._of(r, test)]
        return replace(self, read=[*self.read, *new], held_back=rest)

    def told(self, cause: str, answer: str) -> Visit:
        """The visit after a look for a cause."""
        return replace(self, answers=self.answers | {cause: answer})

    def tests(self) -> Iterator[NextTest]:
        """All tests that are possible."""
        for m in MEASUREMENTS:
            test = NextTest(m.step, m.minutes, (), 0.0, tuple((m.source, q) for q in m.quantities))
            if self.possible(test):
                yield test
        for c in CAUSES:
            if c.look and c.name not in self.answers:
                yield NextTest(c.look, c.look_minutes, (), 0.0, looks_for=c.name)


def visit(seed: int, *, whole: bool = False, cause: str = "", again: int = 0) -> Visit:
    """The machine of a seed. With `whole`, everything is read at the start, and the causes are any.

    Args:
        seed: of the machine.
        whole: else only what a quick check reads.
        cause: what is wrong with it; "" for one that a quick check shows.
        again: which time the machine is read.
    """
    quick = sorted(BY_QUICK_CHECK)
    causes = None if whole else (cause or quick[seed % len(quick)],)
    data, truth = make(seed, causes, plan="whole", again=again)
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


CLEARED = {"clean", "demagnetise"}
"""Repairs done at the start of a visit; the causes that they repair need none afterwards."""


def to_mend(causes: Iterable[str]) -> frozenset[str]:
    return frozenset(MENDED_BY.get(c, c) for c in causes) - CLEARED


def surprise(said: Diagnosis, truth: Truth) -> float:
    """Surprise at what is left to mend, bits."""
    right = sum(s.probability for s in said.sets if to_mend(s.causes) == to_mend(truth.causes))
    return -math.log2(max(right, LEAST_LIKELY))


@dataclass(frozen=True)
class Worth:
    """Bits a minute of the suggested test, and of the best by hindsight."""

    suggested: float
    best: float
    step: str
    best_step: str


def worth(seed: int, cause: str) -> tuple[Worth, Worth] | None:
    """The worth of the first suggestion for a machine with this cause: of doubt, and of surprise at the truth.

    None where nothing is suggested.
    """
    start = visit(seed, cause=cause)
    before = start.diagnosis()
    suggested = before.next_test
    if suggested is None or suggested.remedy:
        return None

    def brought(test: NextTest, readings: Iterable[int]) -> tuple[float, float]:
        if test.looks_for:
            looked = next(c for c in CAUSES if c.name == test.looks_for)
            seen = detection_rates(looked)[0 if looked.name == cause else 1]
            ends = [(seen, start.told(looked.name, "seen")), (1 - seen, start.told(looked.name, "not seen"))]
        else:
            again = [visit(seed, cause=cause, again=n).held_back for n in readings]
            ends = [(1 / len(again), replace(start, held_back=held).after(test)) for held in again]
        after = [(share, end.diagnosis()) for share, end in ends]
        doubt = before.doubt_bits - sum(share * said.doubt_bits for share, said in after)
        known = surprise(before, start.truth) - sum(share * surprise(said, start.truth) for share, said in after)
        return doubt / (test.minutes + HANDLING), known / (test.minutes + HANDLING)

    likely = {s.name for s in before.suspects if s.probability >= LEAST_LIKELY} | {cause, suggested.looks_for}
    tests = [t for t in start.tests() if not t.looks_for or t.looks_for in likely]
    chosen = [brought(test, CHOSEN_BY) for test in tests]
    got = brought(suggested, JUDGED_BY)
    out = []
    for measure in (0, 1):
        best = tests[max(range(len(tests)), key=lambda n: chosen[n][measure])]
        most = got if best.step == suggested.step else brought(best, JUDGED_BY)
        out.append(Worth(got[measure], most[measure], suggested.step, best.step))
    return out[0], out[1]
