"""Which readings of a run count at its end."""

from __future__ import annotations

from bench.procedure.model.steps import Measure, Measuring, StepBase
from bench.procedure.state.journal import ReadingRecord


def is_judged(step: StepBase) -> bool:
    """Whether the exit code depends on a step: it measures against a target, and not at an as-found stage."""
    reports = isinstance(step, Measure) and step.target is None
    return step.stage == "left" and isinstance(step, Measuring) and not reports


def last_attempts(records: tuple[ReadingRecord, ...]) -> tuple[ReadingRecord, ...]:
    """The readings of the last attempt at each step; for a step done at two stages, the last attempt at each."""
    last: dict[tuple[str, str], int] = {}
    for r in records:
        last[r.step, r.stage] = max(last.get((r.step, r.stage), 0), r.attempt)
    return tuple(r for r in records if r.attempt == last[r.step, r.stage])
