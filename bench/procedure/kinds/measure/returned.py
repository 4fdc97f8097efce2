"""`returns_to`: judge a reading by that of an earlier step, such as azimuth after a screw was turned back."""

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

NOT_ALIKE = 0.5
"""How much of what was recorded differs between two plays of one passage: it is found again only roughly. A choice."""


def judge_return(step: Measure, bench: Bench, readings: Sequence[tuple[Result, float]]) -> list[tuple[Result, Verdict]]:
    """Judge readings by their distance from those of an earlier step.

    Both readings are uncertain; the verdict uses the root sum of squares. Where both are of one passage of a tape, what
    was recorded on it makes them uncertain alike, as far as it is the same passage.

    Args:
        step: it names the earlier step, and the target whose tolerance applies.
        bench: its journal holds the earlier readings.
        readings: each with the offset of its target, which is ignored here.
    """
    job = bench.job
    assert step.target is not None  # checked when the file was loaded
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
            both = replace(reading, uncertainty=math.hypot(_apart(reading), _apart(found)))
        verdict = judge(both, target, offset=found.value - target.value)
        out.append((reading, replace(verdict, source=f"as read at {title}; {target.source}")))
    return out


def _apart(reading: Reading) -> float:
    """The uncertainty (k = 2) of a reading beside another one of the same passage."""
    if not reading.budget:
        return reading.uncertainty
    shares = [NOT_ALIKE if c.source == "what was recorded" else 1.0 for c in reading.budget]
    return 2 * math.hypot(*(share * c.value for share, c in zip(shares, reading.budget, strict=True)))
