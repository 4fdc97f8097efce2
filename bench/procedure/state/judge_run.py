"""Judges a whole run by its record."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from bench.measure.verdict import VerdictWord
from bench.procedure.model.job import Job
from bench.procedure.state.answer import answer_to
from bench.procedure.state.conclusion import Conclusion
from bench.procedure.state.dependencies import to_check_again
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.events import Done, Skipped
from bench.procedure.state.journal import Journal, ReadingRecord
from bench.procedure.state.outcome import is_judged, last_attempts
from bench.procedure.state.progress import not_needed
from bench.procedure.state.snapshot import Outcome
from bench.words.readings import reading_name, reading_text


class PlannedStep(Protocol):
    """The properties of a step of the job that a verdict needs."""

    @property
    def id(self) -> str:
        """Its id."""

    @property
    def title(self) -> str:
        """Its title."""

    @property
    def judged(self) -> bool:
        """Whether its readings count at the end."""


def conclude(
    steps: Iterable[PlannedStep],
    readings: Sequence[ReadingRecord],
    events: Sequence[Event],
    steps_done: Sequence[str],
    question: str = "",
) -> Conclusion:
    """Judge a whole run by the last attempt at each judged step.

    Args:
        steps: steps of the job, in order; empty where they are not known.
        readings: all readings, oldest first.
        events: all events, oldest first.
        steps_done: ids of the steps that are over, in order.
        question: what the job is to answer, as `Procedure.answers` names it.
    """
    steps = tuple(steps)
    titles = {s.id: s.title for s in steps}
    latest = last_attempts(tuple(readings))
    judged = [r for r in latest if r.judged and r.verdict is not None and not r.verdict.says_nothing]
    measured = {r.step for r in latest if r.judged and r.verdict is not None}
    skipped = {e.step for e in of_kind(events, Skipped)}
    over = not_needed(events)
    missing = [s for s in steps if s.judged and s.id not in measured and s.id not in over]
    counts = Counter(r.verdict.word for r in judged if r.verdict is not None)
    found_out = () if judged or missing else _worst(latest, "out", titles)
    return Conclusion(
        done=next(of_kind(events, Done), None) is not None,
        last_step=titles.get(steps_done[-1], steps_done[-1]) if steps_done else "",
        answer=answer_to(question, latest),
        in_count=counts["in"],
        out_count=counts["out"],
        too_close_count=counts["too close to call"],
        no_reading_count=counts["no reading"],
        inverted=any(r.reading.quantity == "polarity" for r in judged),
        inverted_on_tape=any(r.reading.quantity == "polarity" and r.source == "owner's tape" for r in latest),
        steps=len({r.step for r in judged}),
        out=_worst(judged, "out", titles),
        too_close=_worst(judged, "too close to call", titles),
        no_reading=tuple(_with_verdict(judged, "no reading", titles)),
        skipped=tuple(s.title for s in missing if s.id in skipped),
        not_measured=tuple(s.title for s in missing if s.id not in skipped),
        to_check_again=to_check_again(events),
        found_out=found_out,
    )


@dataclass(frozen=True, slots=True)
class _Planned:
    id: str
    title: str
    judged: bool


def conclude_run(job: Job, journal: Journal) -> Conclusion:
    """Judge a run so far."""
    steps = [_Planned(s.id, s.title, is_judged(s)) for s in job.steps]
    return conclude(steps, journal.records(), journal.events(), journal.steps_done(), job.procedure.answers or "")


def judge_run(job: Job, journal: Journal) -> Outcome:
    """Judge a run so far, for a screen."""
    found = conclude_run(job, journal)
    return Outcome(found.done, found.exit_code, found.judged, found.counts, found.said)


def _worst(records: Iterable[ReadingRecord], word: VerdictWord, titles: Mapping[str, str]) -> tuple[str, ...]:
    """Each step with a reading of this verdict, with the one that is farthest from its target."""
    found = {title: max(here, key=_how_far) for title, here in _with_verdict(records, word, titles).items()}
    return tuple(f"{title} ({reading_name(r.reading)}: {reading_text(r.reading)})" for title, r in found.items())


def _with_verdict(
    records: Iterable[ReadingRecord], word: VerdictWord, titles: Mapping[str, str]
) -> dict[str, list[ReadingRecord]]:
    """The readings with this verdict, by the title of their step."""
    found: dict[str, list[ReadingRecord]] = {}
    for r in records:
        if r.verdict is not None and r.verdict.word == word:
            found.setdefault(titles.get(r.step, r.step), []).append(r)
    return found


def _how_far(r: ReadingRecord) -> float:
    """Distance from the target in tolerances, or in targets where there is no tolerance."""
    scale = (r.verdict.tolerance or abs(r.verdict.target)) if r.verdict is not None else 0.0
    return abs(r.off or 0.0) / (scale or 1.0)
