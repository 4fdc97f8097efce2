"""Departures from the procedure: what was skipped, overridden, repeated, not needed, or accepted though not in."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

from bench.figures import hertz
from bench.measure.catalogue import QUANTITIES
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.event_words import event_sentence
from bench.procedure.state.events import (
    Accepted,
    Decided,
    NotApplicable,
    Overridden,
    Repeated,
    Skipped,
    SoundBack,
    SoundLost,
    StoppedListening,
    WentAgain,
)
from bench.procedure.state.journal import ReadingRecord
from bench.session.record.record import SessionRecord
from bench.words.names import CHANNELS
from bench.words.sentences import listed


def _clock_went_back(session: SessionRecord) -> bool:
    """Whether a later entry has an earlier time."""
    times = ([r.time for r in session.readings], [e.time for e in session.events])
    return any(later < earlier for entries in times for earlier, later in pairwise(entries))


_EXCEPTIONS: dict[type[Event], str] = {
    Skipped: "Skipped",
    Overridden: "Overridden",
    SoundLost: "Sound",
    SoundBack: "Sound",
    Repeated: "Repeated",
    WentAgain: "Gone back",
}
"""Events that are departures from the procedure, each with its heading."""


def departures(session: SessionRecord, latest: Iterable[ReadingRecord]) -> Iterable[tuple[str, str, str]]:
    """(kind, step, what and why), in the order of the events, readings that were accepted last."""
    titles = session.titles
    if _clock_went_back(session):
        yield "Clock", "", "it was set back meanwhile; entries stand in the order in which they happened"
    left_out: dict[str, list[str]] = {}
    for step in of_kind(session.events, NotApplicable):
        left_out.setdefault(step.why or "it does not apply", []).append(step.title)
    for why, names in left_out.items():
        yield "Not applicable", listed(names), why
    for event in session.events:
        title = titles.get(event.step, event.step)
        if isinstance(event, Decided) and event.passed_over:
            passed_over = ", ".join(titles.get(step, step) for step in event.passed_over)
            yield "Not needed", passed_over, f"by the decision at {title}"
        if type(event) in _EXCEPTIONS:
            happened = "done again from its start" if isinstance(event, Repeated) else event_sentence(event, titles)
            yield _EXCEPTIONS[type(event)], title, happened
    accepted: dict[tuple[str, str], dict[str, list[str]]] = {}
    for r in latest:
        if r.accepted_because:
            word = r.verdict.word if r.verdict else "not judged"
            readings = accepted.setdefault((r.step, r.accepted_because), {})
            readings.setdefault(f"{_what(r)} ({word})", []).append(
                hertz(r.reading.frequency_hz) if r.reading.frequency_hz else ""
            )
    for event in session.events:
        if isinstance(event, Accepted | StoppedListening) and (event.step, event.reason) not in accepted:
            yield "Accepted", titles.get(event.step, event.step), event_sentence(event, titles)
    for (step_id, because), readings in accepted.items():
        parts = [" at ".join(filter(None, (name, listed([*filter(None, tones)])))) for name, tones in readings.items()]
        yield "Accepted", titles.get(step_id, step_id), f"{'; '.join(parts)}; because {because}"


def _what(record: ReadingRecord) -> str:
    """What was measured and where: "response, left, record-replay"."""
    return f"{QUANTITIES[record.reading.quantity].title.lower()}, {CHANNELS[record.reading.channel]}, {record.source}"
