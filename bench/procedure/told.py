"""A journal that says what it has kept, once it is on disk."""

from __future__ import annotations

from collections.abc import Callable

from bench.procedure.journal import Event, Journal, ReadingRecord


class ToldJournal:
    """Keeps by another journal, and says a line for each reading and event when that has returned."""

    def __init__(self, journal: Journal, say: Callable[[str], None]) -> None:
        self._journal = journal
        self._say = say

    def keep(self, records: tuple[ReadingRecord, ...]) -> None:
        """Keep, then say `accepted <id>` and the reading in words."""
        self._journal.keep(records)
        for record in records:
            self._say(f"accepted {record.id} {in_words(record)}")

    def note(self, event: Event) -> None:
        """Keep, then say it."""
        self._journal.note(event)
        self._say(f"{event.kind} {event.step}: {event.text}")

    def step_done(self, step: str) -> None:
        """The step is over."""
        self._journal.step_done(step)

    def records(self) -> tuple[ReadingRecord, ...]:
        """All readings so far."""
        return self._journal.records()

    def events(self) -> tuple[Event, ...]:
        """All events so far."""
        return self._journal.events()

    def steps_done(self) -> tuple[str, ...]:
        """The steps that are over."""
        return self._journal.steps_done()


def in_words(record: ReadingRecord) -> str:
    """A kept reading in one line."""
    r, v = record.reading, record.verdict
    at = f" {r.frequency_hz:g} Hz" if r.frequency_hz is not None else ""
    if r.value is None:
        told = f"no reading, because {r.reason}"
    else:
        spread = f" ± {r.uncertainty:.2g}" if r.uncertainty is not None else ""
        told = f"{r.value:.2f}{spread} {r.unit}"
    aim = ""
    if v is not None and v.target is not None:
        aim = f" (target {v.target:.2f}" + (f" ± {v.tolerance:g}" if v.tolerance is not None else "") + ")"
    return f"{record.step}: {r.channel} {r.quantity}{at}: {told}{aim}{f', {v.word}' if v else ''}"
