"""The records of a run, and the protocol of whatever keeps them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal, Protocol

from bench.measure.reading import Channel, Reading, Result
from bench.measure.stage import Stage
from bench.measure.verdict import Verdict, off_target
from bench.procedure.state.event_kinds import Event

ReadingSource = Literal["reference tape", "record-replay", "owner's tape", "machine"]
"""What was replayed. An owner's tape also shows the machine that recorded it, so it shows nothing about this machine
alone; `machine` means the input itself, with nothing replayed."""


@dataclass(frozen=True, slots=True)
class ReadingRecord:
    """A judged reading of a step."""

    id: str
    """Unique in the session: "r0012"."""
    step: str
    stage: Stage
    judged: bool
    """Whether the exit code depends on it: not at an as-found stage, nor without a target."""
    source: ReadingSource
    """What was replayed; readings of different sources are never compared."""
    reading: Result
    verdict: Verdict | None
    time: datetime
    sent_db: float | None = None
    """Nominal level of the tone, dB re the reference level."""
    accepted_because: str = ""
    """The reason given for accepting it although it is not in."""
    attempt: int = 1
    """Number of the attempt at the step; only the last attempt is judged."""
    lot: str = ""
    """Which of several tapes was read."""
    noise_reduction: str = "off"
    """Position of the noise-reduction switch; readings with and without noise reduction are never compared."""
    direction: Literal["", "reverse"] = ""
    """Direction of the tape of an auto-reverse deck; "" is forward. The two are never compared."""

    @property
    def measured(self) -> Reading | None:
        """The reading, where there is one."""
        return self.reading if isinstance(self.reading, Reading) else None

    @property
    def off(self) -> float | None:
        """Reading minus target, in the unit of the reading; None without a reading or a target."""
        return off_target(self.reading, self.verdict)


def newest(
    records: Sequence[ReadingRecord], quantity: str, channel: Channel
) -> Iterator[tuple[ReadingRecord, Reading]]:
    """The records of a quantity and channel that have a reading, each with that reading, newest first."""
    for record in reversed(records):
        reading = record.measured
        if reading is not None and (reading.quantity, reading.channel) == (quantity, channel):
            yield record, reading


@dataclass(frozen=True, slots=True)
class Sound:
    """The sound behind readings."""

    flac: bytes
    """The sound as a FLAC file."""
    readings: tuple[str, ...]
    """Ids of the readings."""


class Journal(Protocol):
    """Keeps the records of a run. They are on disk when `keep` or `note` returns."""

    @property
    def wants_sound(self) -> bool:
        """Whether the sound behind readings is kept too."""

    def keep_sound(self, sound: Sound) -> None:
        """Keep the sound behind readings; written as by `keep`."""

    def save_again(self) -> bool:
        """Try again to write what could not be written; True when all is on disk. Never raises."""

    def keep(self, records: tuple[ReadingRecord, ...]) -> None:
        """Keep readings. Raises `Problem` when they cannot be written; they are held until the next entry."""

    def note(self, event: Event) -> None:
        """Keep an event; written as by `keep`."""

    def step_done(self, step: str) -> None:
        """Note that a step is over; a resumed run continues after it."""

    def records(self) -> tuple[ReadingRecord, ...]:
        """All readings so far, oldest first."""

    def events(self) -> tuple[Event, ...]:
        """All events so far, oldest first."""

    def steps_done(self) -> tuple[str, ...]:
        """Ids of the steps that are over, in order, including those from before a resume."""
