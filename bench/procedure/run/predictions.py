"""What a trainee predicted of this machine, compared with the reading once it is taken."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from bench.measure.reading import Reading
from bench.procedure.model.job import Job
from bench.procedure.model.steps import Prediction, Question
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.events import Answered
from bench.procedure.state.journal import ReadingRecord


def answered_predictions(
    job: Job, records: Sequence[ReadingRecord], events: Sequence[Event]
) -> Iterator[tuple[str, Answered]]:
    """The predictions that the latest readings have answered, each with the id of its question."""
    for step in job.steps:
        if not isinstance(step, Question) or step.predicts is None:
            continue
        given = [e for e in of_kind(events, Answered) if e.step == step.id]
        if not given or any(e.right for e in given):
            continue
        before = _reading(job, step.predicts, step.predicts.than, records)
        after = _reading(job, step.predicts, step.predicts.step, records)
        if before is not None and after is not None:
            yield step.id, Answered(given[0].answer, right=step.choices[1 - _direction(before, after)])


def _reading(job: Job, asked: Prediction, name: str, records: Sequence[ReadingRecord]) -> Reading | None:
    """The last reading of a step that a prediction is about, on the channel that is read first."""
    steps = job.steps_named(name).steps
    found = [
        r.measured
        for r in records
        if r.step in steps
        and r.reading.quantity == asked.quantity
        and asked.frequency in (None, r.reading.frequency_hz)
        and r.measured is not None
    ]
    return next((r for r in reversed(found) if r.channel == found[0].channel), None)


def _direction(before: Reading, after: Reading) -> int:
    """1 for higher, 0 for about the same, −1 for lower: a change counts where it exceeds both uncertainties."""
    change = after.value - before.value
    if abs(change) <= math.hypot(before.uncertainty, after.uncertainty):
        return 0
    return 1 if change > 0 else -1
