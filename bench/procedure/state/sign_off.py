"""What a signature covers: the verdict and what must be known besides it, the owner's words, and every quantity."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from bench.measure.catalogue import QUANTITIES
from bench.measure.verdict import rank
from bench.procedure.model.job import Job
from bench.procedure.model.steps import Entry
from bench.procedure.state.attention import attention
from bench.procedure.state.dependencies import sets_bias
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Answered
from bench.procedure.state.journal import Journal, ReadingRecord
from bench.procedure.state.judge_run import conclude_run
from bench.procedure.state.ranking import ranking, ranking_lines
from bench.procedure.state.valid_readings import valid_readings
from bench.words.names import SIGNS
from bench.words.readings import reading_name, reading_text, state_words, target_text, verdict_text


@dataclass(frozen=True, slots=True)
class _Kind:
    kind: str
    sets_bias: bool


def to_sign(job: Job, journal: Journal, *, sees_turns: bool) -> tuple[str, ...]:
    """Lines, the most important first; one for each quantity that was read, those that are out first.

    Args:
        job: what is on the bench.
        journal: the journal of the run.
        sees_turns: whether the program can see trimmers being turned.
    """
    titles = {step.id: step.title for step in job.steps}
    verdict = replace(conclude_run(job, journal), done=True)
    lines = [f"{verdict.headline}.", *verdict.sentences, *attention(journal.events(), titles).values()]
    lines += _owners_words(job, journal)
    kinds = {s.id: _Kind(s.kind, sets_bias(s)) for s in job.steps}
    records = valid_readings(journal.records(), journal.events(), kinds, sees_turns=sees_turns)
    compared = [r for r in records if not r.lot or r.lot in job.lots]
    return (*lines, *ranking_lines(ranking(compared)), *quantity_lines(records))


def quantity_lines(records: Sequence[ReadingRecord]) -> tuple[str, ...]:
    """A line for each quantity: as found → as left, target, verdict; components of flutter have none.

    Args:
        records: the readings that hold.
    """
    by_thing: dict[object, dict[bool, ReadingRecord]] = {}
    for r in records:
        if QUANTITIES[r.reading.quantity].drawn != "lines":
            by_thing.setdefault(_thing(r), {})[r.stage == "left"] = r
    rows = sorted(by_thing.values(), key=_rank)
    return tuple(_line(read.get(False), read.get(True)) for read in rows)


def _owners_words(job: Job, journal: Journal) -> Iterator[str]:
    asking = {s.id for s in job.steps if isinstance(s, Entry) and s.asks == "complaint"}
    for event in of_kind(journal.events(), Answered):
        if event.step in asking and event.answer:
            yield f"The owner said: “{event.answer}”."


def _thing(r: ReadingRecord) -> tuple[object, ...]:
    reading = r.reading
    hz = None if QUANTITIES[reading.quantity].frequency == "found" else reading.frequency_hz
    state = (r.sent_db, r.lot, r.noise_reduction, r.direction)
    return (r.source, reading.quantity, reading.channel, hz, *state, str(reading.method.kind))


def _rank(read: dict[bool, ReadingRecord]) -> int:
    return rank((read.get(True) or read[False]).verdict)


def _line(found: ReadingRecord | None, left: ReadingRecord | None) -> str:
    latest = left or found
    assert latest is not None
    state = state_words(latest.sent_db, latest.lot, latest.noise_reduction, latest.direction)
    named = ", ".join([reading_name(latest.reading), *state, latest.source])
    read = " → ".join(reading_text(r.reading) for r in (found, left) if r is not None)
    as_it_was = "" if left is not None else " as found"
    if latest.verdict is None:
        return f"{named}: {read}{as_it_was}"
    judged = f"target {target_text(latest.verdict)}: {verdict_text(latest.verdict)}"
    return f"{SIGNS[latest.verdict.word]} {named}: {read}{as_it_was}, {judged}"
