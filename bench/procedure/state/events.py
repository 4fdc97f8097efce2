"""What happens at the bench besides readings: a type for each kind of event, its facts as fields. Imports no numpy.

`event_words` puts events into words; `bench.session.record.event_table` stores them.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

from bench.measure.reading import Channel
from bench.measure.stage import Stage

UNDATED = datetime(1970, 1, 1, tzinfo=UTC)
"""Time of an event that is not kept yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Fields of all events; `Bench.note` fills them in."""

    step: str = ""
    """The id of the step it happened at; "" for none."""
    time: datetime = UNDATED


# ---------------------------------------------------------------- from step to step


@dataclass(frozen=True, slots=True)
class NotApplicable(Event):
    """A step that does not apply to this machine and tape."""

    title: str
    why: str


@dataclass(frozen=True, slots=True)
class Started(Event):
    """The run began."""


@dataclass(frozen=True, slots=True)
class Resumed(Event):
    """An interrupted run goes on."""


@dataclass(frozen=True, slots=True)
class Repeated(Event):
    """The step begins again."""


@dataclass(frozen=True, slots=True)
class Skipped(Event):
    """The step is skipped, with a reason."""

    reason: str
    cannot: str = ""
    """Why the step could not be done, where that is the cause."""


@dataclass(frozen=True, slots=True)
class Moved(Event):
    """The next step is not the following one in the job; this holds until one more step is over."""

    to: str
    """The id of the next step; "" for the end."""
    after: int
    """Number of steps that were over by then."""


@dataclass(frozen=True, slots=True)
class WentBack(Moved):
    """The person went back to an earlier step."""


@dataclass(frozen=True, slots=True)
class WentAside(Moved):
    """Steps are done out of order."""

    last: str
    """The id of the last of them."""
    back: str
    """The id of the step to return to afterwards."""
    stage: Stage
    """The stage of their readings."""


@dataclass(frozen=True, slots=True)
class CameBack(Moved):
    """The steps out of order are over."""


@dataclass(frozen=True, slots=True)
class WentAgain(Moved):
    """Not all readings were in, so `again_until` leads back to an earlier step."""

    left: int
    """How often it may still lead back, this time included."""
    out: tuple[str, ...] = ()
    """The quantities that are not in."""
    passes: int = 0
    """Passes of the reference tape that it costs."""


@dataclass(frozen=True, slots=True)
class Decided(Moved):
    """A decision, by an answer or by verdicts; by neither where the deciding steps do not apply."""

    answer: str = ""
    all_in: tuple[str, ...] = ()
    """The deciding steps, when all their readings are in."""
    not_in: tuple[str, ...] = ()
    """The deciding steps with a reading that is not in."""
    passed_over: tuple[str, ...] = ()
    """The steps that are not needed after this decision."""


# ---------------------------------------------------------------- what was done to the machine


@dataclass(frozen=True, slots=True)
class Acted(Event):
    """Work at the machine: one of `bench.audio.port.Act`."""

    act: str
    lot: str = ""
    """Which of several tapes it concerns."""


@dataclass(frozen=True, slots=True)
class Switched(Event):
    """A control of the machine was set."""

    control: str
    position: str


@dataclass(frozen=True, slots=True)
class Turned(Event):
    """A trimmer was turned, once for each figure."""

    trimmer: str
    degrees: tuple[float, ...]
    """Clockwise, in order."""


@dataclass(frozen=True, slots=True)
class TurnedBack(Event):
    """A trimmer was turned back to its position at the start of the job."""

    trimmer: str
    degrees: float
    """Clockwise."""


@dataclass(frozen=True, slots=True)
class LotLoaded(Event):
    """The practice machine was loaded with one of several tapes."""

    lot: str
    tape: str


@dataclass(frozen=True, slots=True)
class Waited(Event):
    """A timer ran."""

    seconds: float
    of_s: float
    """Its full time; the person may go on earlier."""


@dataclass(frozen=True, slots=True)
class Ticked(Event):
    """The work was confirmed."""

    lines: tuple[str, ...] = ()
    """The lines of the checklist that were ticked."""
    left_open: tuple[str, ...] = ()
    """The lines that were left open."""
    because: str = ""
    """Why they were left open."""


@dataclass(frozen=True, slots=True)
class Disturbed(Event):
    """An adjustment disturbed what readings had shown."""

    what: tuple[str, ...]
    """Names of aspects: "replay response"."""


@dataclass(frozen=True, slots=True)
class CheckedAgain(Event):
    """Readings showed again what an adjustment had disturbed."""

    what: tuple[str, ...]


# ---------------------------------------------------------------- findings besides readings


@dataclass(frozen=True, slots=True)
class CurveTaken(Event):
    """The curve of a reading against a trimmer."""

    quantity: str
    trimmer: str
    channel: Channel
    along: Literal["degrees", "round", "position"]
    unit: str
    points: tuple[tuple[float, float], ...]
    """(along, reading), in order of time."""
    frequency_hz: float | None = None


@dataclass(frozen=True, slots=True)
class AtRest:
    """A steady reading after a turn."""

    degrees: float
    """Position of the trimmer, clockwise from its first position."""
    reading: float
    spread: float
    """Repeatability of the reading, same unit."""
    visit: int
    """Number of the step that turned it; between two steps something else was adjusted."""


@dataclass(frozen=True, slots=True)
class Learnt(Event):
    """Response of a reading to a trimmer, for later steps and for a resumed run."""

    trimmer: str
    quantity: str
    frequency_hz: float
    readings: tuple[AtRest, ...]


@dataclass(frozen=True, slots=True)
class HeadDelayMeasured(Event):
    """Three heads: time from sending to replay."""

    seconds: float


@dataclass(frozen=True, slots=True)
class RoundsRecorded(Event):
    """An adjustment by rounds ended."""

    rounds: int


@dataclass(frozen=True, slots=True)
class InputProcessed(Event):
    """The interface processes soft tones, so it cannot be used for measuring."""

    by: Literal["automatic gain", "gate"]
    sent_dbfs: float | None = None
    """The softest tone that came back; None where no soft tone came back."""
    changed_db: float = 0.0
    """Change of that tone."""


@dataclass(frozen=True, slots=True)
class InterfaceSheetWritten(Event):
    """The result of a signed calibration was written as a sheet."""

    path: str


# ---------------------------------------------------------------- what the person said


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits that a typed figure is compared with; it is reported, never judged."""

    target: float
    tolerance: float | None = None
    """Plus or minus; None for a one-sided limit, or for no limit."""
    limit: Literal["", "at least", "at most"] = ""
    source: str = ""

    def hold(self, value: float) -> bool:
        """Whether a value lies within them."""
        if self.limit:
            return value >= self.target if self.limit == "at least" else value <= self.target
        return self.tolerance is None or abs(value - self.target) <= self.tolerance


@dataclass(frozen=True, slots=True)
class Answered(Event):
    """The question of a step was answered."""

    answer: str | float
    unit: str = ""
    limits: Limits | None = None
    right: str = ""
    """The right answer to a question of the instructor."""
    not_good: bool = False
    """Whether the step counts this answer as unsatisfactory."""


@dataclass(frozen=True, slots=True)
class Accepted(Event):
    """The person went on although something is not in."""

    reason: str


@dataclass(frozen=True, slots=True)
class StoppedListening(Event):
    """The person went on before all tones were heard."""

    reason: str


@dataclass(frozen=True, slots=True)
class Overridden(Event):
    """The reference tape was played on a machine that had not been cleaned and demagnetised."""

    reason: str


@dataclass(frozen=True, slots=True)
class Looked(Event):
    """The person looked for a cause, as a diagnosis suggested."""

    cause: str
    """Name of the cause that was looked for."""
    seen: bool


@dataclass(frozen=True, slots=True)
class Noted(Event):
    """A note for the report."""

    text: str


@dataclass(frozen=True, slots=True)
class SignedOff(Event):
    """Somebody signed."""

    who: str
    accepts: str


# ---------------------------------------------------------------- the sound


@dataclass(frozen=True, slots=True)
class SoundLost(Event):
    """No sound comes from the device."""

    detail: str


@dataclass(frozen=True, slots=True)
class SoundBack(Event):
    """The device was opened again."""


@dataclass(frozen=True, slots=True)
class Held(Event):
    """Sound, tape and timer were paused."""


@dataclass(frozen=True, slots=True)
class Released(Event):
    """The pause ended."""

    held_s: float


# ---------------------------------------------------------------- the end


@dataclass(frozen=True, slots=True)
class Done(Event):
    """The run came to its end; its result follows from the readings."""
