"""A journal that prints each entry once it is on disk."""

from __future__ import annotations

from collections.abc import Callable

from bench.procedure.state.event_kinds import KIND_OF, Event
from bench.procedure.state.event_words import Titles, event_sentence
from bench.procedure.state.journal import Journal, ReadingRecord, Sound
from bench.words.readings import judged_text, reading_name


class NarratedJournal:
    """Passes entries to another journal, and prints a line for each once the other has returned.

    Args:
        journal: the journal that keeps them.
        say: prints a line.
        titles: titles of the steps, by id.
    """

    def __init__(self, journal: Journal, say: Callable[[str], None], titles: Titles) -> None:
        self._journal = journal
        self._say = say
        self._titles = titles
        self._held: list[str] = []
        """Lines of entries that are not on disk yet."""

    def keep(self, records: tuple[ReadingRecord, ...]) -> None:
        """Keep readings, then print `accepted <id>` and each reading in words."""
        self._held += [
            f"accepted {r.id} {r.step}: {reading_name(r.reading)}: {judged_text(r.reading, r.verdict)}" for r in records
        ]
        self._journal.keep(records)
        self._say_held()

    @property
    def wants_sound(self) -> bool:
        """Whether the sound behind readings is kept."""
        return self._journal.wants_sound

    def keep_sound(self, sound: Sound) -> None:
        """Keep the sound behind readings."""
        self._journal.keep_sound(sound)

    def save_again(self) -> bool:
        """Try to write again, and print what was written."""
        if not self._journal.save_again():
            return False
        self._say_held()
        return True

    def note(self, event: Event) -> None:
        """Keep an event, then print it."""
        self._held.append(f"{KIND_OF[type(event)]} {event.step}: {event_sentence(event, self._titles)}")
        self._journal.note(event)
        self._say_held()

    def step_done(self, step: str) -> None:
        """The step is over."""
        self._journal.step_done(step)

    def _say_held(self) -> None:
        for line in self._held:
            self._say(line)
        self._held.clear()

    def records(self) -> tuple[ReadingRecord, ...]:
        """All readings so far."""
        return self._journal.records()

    def events(self) -> tuple[Event, ...]:
        """All events so far."""
        return self._journal.events()

    def steps_done(self) -> tuple[str, ...]:
        """The steps that are over."""
        return self._journal.steps_done()
