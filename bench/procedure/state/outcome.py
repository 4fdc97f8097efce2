"""The outcome of a run: which judged steps are in, and the exit code."""

from __future__ import annotations

from collections import Counter

from bench.procedure.model.job import Job
from bench.procedure.model.steps import Measuring, StepBase
from bench.procedure.state.dependencies import to_check_again
from bench.procedure.state.event_words import outcome_words
from bench.procedure.state.events import Done
from bench.procedure.state.journal import Journal, ReadingRecord
from bench.procedure.state.progress import not_needed
from bench.procedure.state.snapshot import Outcome


def is_judged(step: StepBase) -> bool:
    """Whether the exit code depends on a step: it measures, and not at an as-found stage."""
    return step.stage == "left" and isinstance(step, Measuring)


def last_attempts(records: tuple[ReadingRecord, ...]) -> tuple[ReadingRecord, ...]:
    """The readings of the last attempt at each step."""
    last: dict[str, int] = {}
    for r in records:
        last[r.step] = max(last.get(r.step, 0), r.attempt)
    return tuple(r for r in records if r.attempt == last[r.step])


def ending(job: Job, journal: Journal) -> Done:
    """The end of a run that ends now: what is in, and what is not right."""
    records = _judged(journal)
    measured = {r.step for r in records}
    judged = [s for s in job.steps if is_judged(s)]
    over = not_needed(journal.events())
    titles = {s.id: s.title for s in job.steps}
    bad = dict.fromkeys(r.step for r in records if r.verdict is not None and r.verdict.word != "in")
    return Done(
        judges=bool(judged),
        judged=len(records),
        not_in=tuple(titles.get(step, step) for step in bad),
        not_measured=tuple(s.title for s in judged if s.id not in measured and s.id not in over),
        to_check_again=to_check_again(journal.events()),
    )


def judge_run(job: Job, journal: Journal, *, completed: bool) -> Outcome:
    """Judge a run.

    Exit code 0 needs a completed run, every judged step in that no decision passed over, and nothing left to be checked
    again.
    """
    done = ending(job, journal)
    words = Counter(r.verdict.word for r in _judged(journal) if r.verdict is not None)
    ok = completed and not (done.not_in or done.not_measured or done.to_check_again)
    said = outcome_words(done) if completed else "Broken off; it can be resumed."
    return Outcome(completed, 0 if ok else 1, done.judged, dict(words), said)


def _judged(journal: Journal) -> list[ReadingRecord]:
    return [r for r in last_attempts(journal.records()) if r.judged and r.verdict is not None]
