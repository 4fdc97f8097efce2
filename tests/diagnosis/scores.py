"""How good diagnoses are: those of many machines, compared with what was hidden in them."""

from __future__ import annotations

import itertools
import time
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from bench.diagnosis.answer import Diagnosis, diagnose
from bench.diagnosis.output.contract import case_of
from tests.diagnosis.other_machines import Truth
from tests.diagnosis.other_readings import make

BINS = (0.0, 0.03, 0.1, 0.3, 0.5, 0.7, 0.9, 0.97, 1.0001)


def ranked(said: Diagnosis) -> list[str]:
    """The causes in order of probability, including "not in the list"."""
    every = [(s.probability, s.name) for s in said.suspects] + [(said.not_in_list, "not-in-list")]
    return [name for _, name in sorted(every, reverse=True)]


@dataclass(frozen=True)
class Judged:
    """The result for one machine."""

    seed: int
    truth: Truth
    said: Diagnosis
    seconds: float

    @property
    def ranked(self) -> list[str]:
        return ranked(self.said)


def judged(seeds: Iterable[int], *, strange: bool = False) -> list[Judged]:
    """Diagnoses of the machines with these seeds."""
    out = []
    for seed in seeds:
        data, truth = make(seed, () if strange else None, strange=strange)
        case = case_of(data, f"machine {seed}")
        begun = time.process_time()
        said = diagnose(case.machine, case.findings, case.answers)
        out.append(Judged(seed, truth, said, time.process_time() - begun))
    return out


def share(hits: Sequence[bool]) -> str:
    return f"{100 * sum(hits) / max(len(hits), 1):5.1f} % of {len(hits)}"


def reliability(cases: Sequence[Judged]) -> tuple[list[str], float]:
    """A line for each bin of stated probabilities, and the expected calibration error."""
    said = [(s.probability, s.name in c.truth.causes) for c in cases for s in c.said.suspects]
    lines, error = [], 0.0
    for low, high in itertools.pairwise(BINS):
        here = [(p, true) for p, true in said if low <= p < high]
        if here:
            mean, true = (float(np.mean(column)) for column in zip(*here, strict=True))
            error += abs(mean - true) * len(here) / len(said)
            lines.append(
                f"  said {low:.2f} to {min(high, 1):.2f}: {len(here):5d}, mean {mean:.3f}, came true {true:.3f}"
            )
    return lines, float(error)


def setting_errors(cases: Sequence[Judged]) -> dict[str, float]:
    """Standard deviation of error over stated standard uncertainty, for each setting."""
    errors: dict[str, list[float]] = {}
    for c in cases:
        for s in c.said.settings:
            true = c.truth.settings.get((s.name, s.channel))
            if true is not None and s.run == "as found":
                errors.setdefault(s.name, []).append((s.value - true) / (s.uncertainty / 2))
    return {name: float(np.sqrt(np.mean(np.square(e)))) for name, e in errors.items()}


def table(cases: Sequence[Judged], strange: Sequence[Judged]) -> list[str]:
    """The whole table, as lines."""
    single = [c for c in cases if len(c.truth.causes) == 1]
    double = [c for c in cases if len(c.truth.causes) == 2]
    healthy = [c for c in cases if not c.truth.causes]
    lines = []
    for plan in ("quick", "whole"):
        some = [c for c in single if c.truth.plan == plan]
        lines.append(f"single cause, {plan}: first {share([c.ranked[0] in c.truth.causes for c in some])}")
        lines.append(f"  among the first three {share([c.truth.causes[0] in c.ranked[:3] for c in some])}")
    for severity in ("barely", "plain", "gross"):
        some = [c for c in single if c.truth.severity == severity]
        lines.append(f"  {severity}: first {share([c.ranked[0] in c.truth.causes for c in some])}")
    lines.append(
        f"two causes: both in the first three {share([set(c.truth.causes) <= set(c.ranked[:3]) for c in double])}"
    )
    alarm = [any(s.probability > 0.5 for s in c.said.suspects) for c in healthy]
    lines.append(f"healthy: a cause above one half {share(alarm)}")
    lines.append(f"strange: not in the list, first or second {share(['not-in-list' in c.ranked[:2] for c in strange])}")
    bins, error = reliability(cases)
    lines += [*bins, f"expected calibration error {error:.4f}"]
    lines += [f"  {name}: error over uncertainty {z:.2f}" for name, z in setting_errors(cases).items()]
    lines.append(
        f"one session {np.mean([c.seconds for c in cases]):.3f} s, longest {max(c.seconds for c in cases):.3f} s"
    )
    wrong = Counter((c.truth.causes[0], c.ranked[0]) for c in single if c.ranked[0] not in c.truth.causes)
    lines += [f"  {n} × {true}: said {said}" for (true, said), n in wrong.most_common()]
    return lines
