"""How a run ended: which judged steps are in, and with which exit code."""

from __future__ import annotations

from collections import Counter

from bench.procedure.model.job import Job
from bench.procedure.model.steps import Measuring, StepBase
from bench.procedure.state.dependencies import to_check_again
from bench.procedure.state.journal import Journal, ReadingRecord
from bench.procedure.state.progress import not_needed
from bench.procedure.state.snapshot import Outcome


def is_judged(step: StepBase) -> bool:
    """Whether the exit code depends on a step: it measures against a target, and not at a found stage."""
    return step.stage == "left" and isinstance(step, Measuring)


def last_attempts(records: tuple[ReadingRecord, ...]) -> tuple[ReadingRecord, ...]:
    """Of each step only what its last attempt gave."""
    last: dict[str, int] = {}
    for r in records:
        last[r.step] = max(last.get(r.step, 0), r.attempt)
    return tuple(r for r in records if r.attempt == last[r.step])


def judge_run(job: Job, journal: Journal, *, completed: bool) -> Outcome:
    """Judge a whole run.

    0 only when it was completed, every judged step that no decision passed over is in, and nothing that an adjustment
    disturbed is left to be checked again.
    """
    records = [r for r in last_attempts(journal.records()) if r.judged and r.verdict is not None]
    words = Counter(r.verdict.word for r in records if r.verdict is not None)
    measured = {r.step for r in records}
    judged = [s for s in job.steps if is_judged(s)]
    over = not_needed(journal.events())
    missing = [s for s in judged if s.id not in measured and s.id not in over]
    again = to_check_again(journal.events())
    bad = list(dict.fromkeys(r.step for r in records if r.verdict is not None and r.verdict.word != "in"))
    titles = {s.id: s.title for s in job.steps}
    said = f"All {len(records)} judged readings are in."
    if not completed:
        said = "Broken off; it can be resumed."
    elif bad or missing or again:
        parts = []
        if bad:
            parts.append("Not in: " + ", ".join(titles.get(b, b) for b in bad) + ".")
        if missing:
            parts.append("Not measured: " + ", ".join(s.title for s in missing) + ".")
        if again:
            parts.append("To be checked again: " + ", ".join(again) + ".")
        said = " ".join(parts)
    elif not judged:
        said = "Done; nothing in it is judged."
    ok = completed and not bad and not missing and not again
    return Outcome(completed, 0 if ok else 1, len(records), dict(words), said)
