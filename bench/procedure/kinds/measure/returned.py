"""What was measured is to come back to what an earlier step read: a screw turned back to where it stood."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from bench.measure.reading import NoReading, Reading, Result
from bench.measure.verdict import Verdict
from bench.procedure.kinds.bench import Bench
from bench.procedure.model.steps import Measure
from bench.procedure.model.targets import judge
from bench.procedure.state.outcome import last_attempts


def judge_return(step: Measure, bench: Bench, readings: Sequence[tuple[Result, float]]) -> list[tuple[Result, Verdict]]:
    """Judge readings by how far they are from those of the step that they are to come back to.

    Both readings are uncertain: the verdict goes by the root sum of squares.

    Args:
        step: it says which step, and whose tolerance holds.
        bench: what was read so far.
        readings: each with what is added to its target, which counts for nothing here.
    """
    job = bench.job
    target, name = job.target(step.target), step.returns_to or ""
    ids = set(job.steps_named(name, step.direction).steps)
    title = next((s.title for s in job.steps if s.id in ids), name)
    before = [r.reading for r in last_attempts(bench.journal.records()) if r.step in ids]
    out: list[tuple[Result, Verdict]] = []
    for reading, _ in readings:
        found = next((r for r in before if (r.quantity, r.channel) == (reading.quantity, reading.channel)), None)
        if not isinstance(found, Reading):
            because = f"nothing was read at “{title}” that it could come back to"
            lost = NoReading(reading.quantity, reading.channel, because, frequency_hz=reading.frequency_hz)
            out.append((lost, judge(lost, target)))
            continue
        both = reading
        if isinstance(reading, Reading):
            both = replace(reading, uncertainty=math.hypot(reading.uncertainty, found.uncertainty))
        verdict = judge(both, target, offset=found.value - target.value)
        out.append((reading, replace(verdict, source=f"as read at {title}; {target.source}")))
    return out
