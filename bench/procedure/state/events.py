"""What happened at the bench beside readings: a type for each kind of event, its facts as fields. Light: no arrays.

How an event is said stands in `event_words`, how it is stored in `bench.session.record.event_table`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

from bench.measure.reading import Channel

UNDATED = datetime(1970, 1, 1, tzinfo=UTC)
"""The time of an event that nobody has kept yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Happened:
    """What all events share; `Situation.note` fills it in."""

    step: str = ""
    """The id of the step it happened at; "" for none."""
    time: datetime = UNDATED


# ---------------------------------------------------------------- the way through the steps


@dataclass(frozen=True, slots=True)
class NotApplicable(Happened):
    """A step that does not apply to this machine and tape."""

    title: str
    why: str


@dataclass(frozen=True, slots=True)
class Started(Happened):
    """The run began."""


@dataclass(frozen=True, slots=True)
class Resumed(Happened):
    """A run that had been broken off goes on."""


@dataclass(frozen=True, slots=True)
class Repeated(Happened):
    """The step is done again from its start."""


@dataclass(frozen=True, slots=True)
class Skipped(Happened):
    """The step is passed over, with the person's reason."""

    reason: str
    cannot: str = ""
    """Why it could not be done at all, where that is so."""


@dataclass(frozen=True, slots=True)
class Moved(Happened):
    """The next step is not the one below; that holds until one more step is over."""

    to: str
    """The id of the next step; "" for the end."""
    after: int
    """How many steps were over by then."""


@dataclass(frozen=True, slots=True)
class WentBack(Moved):
    """The person went back to an earlier step."""


@dataclass(frozen=True, slots=True)
class WentAgain(Moved):
    """Readings were not all in, so that `again_until` led back to an earlier step."""

    left: int
    """How often it may still do so, this time included."""


@dataclass(frozen=True, slots=True)
class Decided(Moved):
    """A decision step led on, by an answer or by verdicts; by neither where what it looks at does not apply."""

    answer: str = ""
    all_in: tuple[str, ...] = ()
    """The steps that decided, where all their readings are in."""
    not_in: tuple[str, ...] = ()
    """The steps that decided, where some reading is not in."""
    passed_over: tuple[str, ...] = ()
    """The steps that are not needed after that."""


# ---------------------------------------------------------------- what was done to the machine


@dataclass(frozen=True, slots=True)
class Acted(Happened):
    """Something was done by hand: one of `bench.audio.port.Act`."""

    act: str
    lot: str = ""
    """Which of several tapes it was done with."""


@dataclass(frozen=True, slots=True)
class Switched(Happened):
    """A control of the machine was set."""

    control: str
    position: str


@dataclass(frozen=True, slots=True)
class Turned(Happened):
    """A trimmer was turned, so often as there are figures."""

    trimmer: str
    degrees: tuple[float, ...]
    """Clockwise, in their order."""


@dataclass(frozen=True, slots=True)
class TurnedBack(Happened):
    """A trimmer was turned back to where it stood when the job began."""

    trimmer: str
    degrees: float
    """Clockwise."""


@dataclass(frozen=True, slots=True)
class LotLoaded(Happened):
    """Which tape stands for one of several on the practice machine."""

    lot: str
    tape: str


@dataclass(frozen=True, slots=True)
class Waited(Happened):
    """A timer ran."""

    seconds: float
    of_s: float
    """How long it was to run: the person may go on before."""


@dataclass(frozen=True, slots=True)
class Ticked(Happened):
    """It was done, every line of its checklist."""

    lines: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Disturbed(Happened):
    """An adjustment moved what had been shown to be right."""

    what: tuple[str, ...]
    """In the trade's words: "replay response"."""


@dataclass(frozen=True, slots=True)
class CheckedAgain(Happened):
    """What an adjustment had disturbed was shown again."""

    what: tuple[str, ...]


# ---------------------------------------------------------------- what was learnt beside readings


@dataclass(frozen=True, slots=True)
class CurveTaken(Happened):
    """What a reading did as a trimmer was turned."""

    quantity: str
    trimmer: str
    channel: Channel
    along: Literal["degrees", "round", "position"]
    unit: str
    points: tuple[tuple[float, float], ...]
    """(along, reading), in the order in which they were taken."""
    frequency_hz: float | None = None


@dataclass(frozen=True, slots=True)
class AtRest:
    """A reading at rest after a turn."""

    degrees: float
    """Where the trimmer stands, clockwise from where it was met."""
    reading: float
    spread: float
    """What the reading may be off by itself from one time to the next, same unit."""
    visit: int
    """Counts the steps that turned it: between two of them something else was adjusted."""


@dataclass(frozen=True, slots=True)
class Learnt(Happened):
    """How a reading answered to a trimmer, for later steps and for a run that is resumed."""

    trimmer: str
    quantity: str
    frequency_hz: float
    readings: tuple[AtRest, ...]


@dataclass(frozen=True, slots=True)
class HeadDelayMeasured(Happened):
    """Three heads: from sending to replay."""

    seconds: float


@dataclass(frozen=True, slots=True)
class RoundsRecorded(Happened):
    """An adjustment by rounds came to its end."""

    rounds: int


@dataclass(frozen=True, slots=True)
class InputProcessed(Happened):
    """The interface changes soft tones: something is in the way that makes it no instrument."""

    by: Literal["automatic gain", "gate"]
    sent_dbfs: float | None = None
    """The softest tone that came back; None where soft tones did not come back at all."""
    changed_db: float = 0.0
    """By how much that tone was lifted."""


@dataclass(frozen=True, slots=True)
class InterfaceSheetWritten(Happened):
    """What a signed calibration found was written as a sheet."""

    path: str


# ---------------------------------------------------------------- what the person said


@dataclass(frozen=True, slots=True)
class Limits:
    """What a figure that a person read is held against; it is reported, never judged."""

    target: float
    tolerance: float | None = None
    """Either way; None where `limit` says on which side, or where anything will do."""
    limit: Literal["", "at least", "at most"] = ""
    source: str = ""

    def hold(self, value: float) -> bool:
        """Whether a value lies within them."""
        if self.limit:
            return value >= self.target if self.limit == "at least" else value <= self.target
        return self.tolerance is None or abs(value - self.target) <= self.tolerance


@dataclass(frozen=True, slots=True)
class Answered(Happened):
    """What was asked at a step was answered."""

    answer: str | float
    unit: str = ""
    limits: Limits | None = None
    right: str = ""
    """The right answer to an instructor's question."""


@dataclass(frozen=True, slots=True)
class Accepted(Happened):
    """The person went on although something is not in."""

    reason: str


@dataclass(frozen=True, slots=True)
class StoppedListening(Happened):
    """The person went on before all tones had come."""

    reason: str


@dataclass(frozen=True, slots=True)
class Overridden(Happened):
    """The reference tape went into a machine that had not been cleaned and demagnetised."""

    reason: str


@dataclass(frozen=True, slots=True)
class Noted(Happened):
    """Words for the report."""

    text: str


@dataclass(frozen=True, slots=True)
class SignedOff(Happened):
    """Somebody signed."""

    who: str
    accepts: str


# ---------------------------------------------------------------- the sound


@dataclass(frozen=True, slots=True)
class SoundLost(Happened):
    """No sound comes from the device."""

    detail: str


@dataclass(frozen=True, slots=True)
class SoundBack(Happened):
    """The device was opened again."""


@dataclass(frozen=True, slots=True)
class Held(Happened):
    """Everything pauses."""


@dataclass(frozen=True, slots=True)
class Released(Happened):
    """It goes on after a pause."""

    held_s: float


# ---------------------------------------------------------------- the end


@dataclass(frozen=True, slots=True)
class Done(Happened):
    """The run came to its end. Steps are named by their titles, so that a list of sessions can say it by itself."""

    judges: bool = True
    """Whether there is a step whose verdict counts."""
    judged: int = 0
    """How many readings were judged."""
    not_in: tuple[str, ...] = ()
    not_measured: tuple[str, ...] = ()
    to_check_again: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FaultOutcome:
    """What became of a fault that an exercise had hidden."""

    name: str
    tells: str
    """How it shows."""
    state: Literal["mended", "hidden", "found", "missed"]
    """`found`: named, though it stands; `missed`: neither named nor mended."""
    named: bool
    by: str = ""
    """The trimmer that hides it."""


@dataclass(frozen=True, slots=True)
class TrimmerOutcome:
    """What became of a trimmer in an exercise."""

    name: str
    unit: str
    before: float
    """How far from right it stood."""
    after: float
    turns: int
    right: bool
    hides: str = ""
    """What it makes good that is wrong elsewhere."""
    allowed: bool = False
    """It makes good what only the workshop can mend, and the trainee named that."""


@dataclass(frozen=True, slots=True)
class Debriefed(Happened):
    """An exercise is over: what was done against what was so."""

    faults: tuple[FaultOutcome, ...] = ()
    trimmers: tuple[TrimmerOutcome, ...] = ()
    """Those that the procedure sets, or that were turned."""
    wrongly_named: tuple[str, ...] = ()
    turns: int = 0
    minutes: float = 0.0
