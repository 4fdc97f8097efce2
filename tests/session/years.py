"""Made-up visits of one machine over the years: found, adjusted, left."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from bench.clock import RehearsalClock
from bench.measure.method import Method
from bench.measure.reading import Reading
from bench.measure.stage import Stage
from bench.procedure.model.targets import judge
from bench.procedure.state.events import Done, Turned
from bench.procedure.state.journal import ReadingRecord
from bench.session.record.record import JobFacts
from bench.session.record.store import SessionStore
from tests.session.made_up import JOB, LEVEL

UNCERTAINTY = 0.12


def visit(
    workspace: Path, year: float, found: float | None, left: float | None, *, turned: bool = True, **more: Any
) -> Path:
    """Make a session in the year 2020 + `year` with the left level as found and as left. Returns its folder."""
    when = datetime(2020 + int(year), 1 + round(year % 1 * 12), 1, 10, 0, tzinfo=UTC)
    job: JobFacts = replace(
        JOB, **({"port_kind": ""} | {k: v for k, v in more.items() if k in JobFacts.__dataclass_fields__})
    )
    (workspace / "procedures").mkdir(parents=True, exist_ok=True)
    store = SessionStore.create(workspace / "sessions", job, [], RehearsalClock(when))
    stages: list[tuple[Stage, float | None]] = [("found-clean", found), ("left", left)]
    for n, (stage, value) in enumerate(stages, start=1):
        if value is None:
            continue
        reading = Reading(
            more.get("quantity", "level"),
            "left",
            value,
            more.get("uncertainty", UNCERTAINTY),
            frequency_hz=315.0,
            method=Method(more.get("method", "steady tone, tracked")),
            reference=more.get("reference", "full-scale sine"),
        )
        verdict = judge(reading, LEVEL) if reading.quantity == "level" else None
        record = ReadingRecord(
            f"r{n:04d}", stage, stage, stage == "left", "reference tape", reading, verdict, when, 0.0
        )
        store.keep((record,))
        if stage == "found-clean" and turned:
            store.note(Turned("replay level left", (9.0,), step="found-clean", time=when))
    store.note(more.get("outcome", Done(time=when)))
    assert store.close() == ""
    return store.folder
