"""What a run leaves behind: the records it makes, and the protocol of whoever keeps them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from bench.measure.reading import Reading, Result
from bench.measure.stage import Stage
from bench.measure.verdict import Verdict, off_target
from bench.procedure.state.event_kinds import Event


@dataclass(frozen=True, slots=True)
class ReadingRecord:
    """A reading taken at a step, judged."""

    id: str
    """Unique in the session: "r0012"."""
    step: str
    stage: Stage
    judged: bool
    """Whether the exit code depends on it: false at a found stage or without a target."""
    source: Literal["reference tape", "record-replay", "machine"]
    """What was replayed: readings of different sources are never compared."""
    reading: Result
    verdict: Verdict | None
    time: datetime
    sent_db: float | None = None
    """Nominal level of the tone, dB re the reference level."""
    accepted_because: str = ""
    """The reason given when it was accepted although not `in`."""
    attempt: int = 1
    """Counts the times the step was begun; the last attempt is the one that is judged."""
    lot: str = ""
    """Which of several tapes it is of."""
    noise_reduction: str = "off"
    """How the machine's noise reduction stood: readings with and without it are never compared."""
    direction: Literal["", "reverse"] = ""
    """Which way the tape of an auto-reverse deck ran; "" is forward. The two are never compared."""

    @property
    def measured(self) -> Reading | None:
        """The reading, where there is one."""
        return self.reading if isinstance(self.reading, Reading) else None

    @property
    def off(self) -> float | None:
        """Reading minus target, in the unit of the reading; None where there is no reading or nothing is asked."""
        return off_target(self.reading, self.verdict)


@dataclass(frozen=True, slots=True)
class Sound:
    """What readings were taken from."""

    samples: NDArray[np.float32]
    """Shape (frames, channels), full scale ±1."""
    sample_rate: int
    readings: tuple[str, ...]
    """Their ids."""


class Journal(Protocol):
    """Keeps what a run leaves behind. When `keep` or `note` returns, it is on disk."""

    @property
    def wants_sound(self) -> bool:
        """Whether the sound behind readings is to be kept too."""

    def keep_sound(self, sound: Sound) -> None:
        """Keep the sound behind readings that were kept, likewise."""

    def save_again(self) -> bool:
        """Try again to write what could not be written; True when all is on disk. Never raises."""

    def keep(self, records: tuple[ReadingRecord, ...]) -> None:
        """Keep readings. Raises `Problem` when they can't be written; they are still held and tried again."""

    def note(self, event: Event) -> None:
        """Keep an event, likewise."""

    def step_done(self, step: str) -> None:
        """The step is over: resuming continues after it."""

    def records(self) -> tuple[ReadingRecord, ...]:
        """All readings so far, oldest first."""

    def events(self) -> tuple[Event, ...]:
        """All events so far, oldest first."""

    def steps_done(self) -> tuple[str, ...]:
        """The steps that are over, in order, those of before a resume included."""
