"""What happens in an exercise: causes are named, and the debrief compares what was done with what was hidden."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from bench.procedure.state.events import Event


@dataclass(frozen=True, slots=True)
class CauseNamed(Event):
    """A trainee named a cause, and the reading that shows it; or withdrew it."""

    cause: str
    reading: str = ""
    """Id of the reading; "" for none."""
    test: str = ""
    """The test that, according to the trainee, rules out its rival; "" where none was asked for."""
    test_is_right: bool = False
    withdrawn: bool = False


def causes_named(happened: Iterable[Event]) -> tuple[CauseNamed, ...]:
    """The causes that were named and not withdrawn afterwards, in order."""
    named: list[CauseNamed] = []
    for event in happened:
        if isinstance(event, CauseNamed):
            named = [e for e in named if e.cause != event.cause]
            named += [] if event.withdrawn else [event]
    return tuple(named)


@dataclass(frozen=True, slots=True)
class RanTest(Event):
    """A trainee ran a test in mid-exercise that tells two causes apart."""

    test: str = ""
    """Name of the test."""


@dataclass(frozen=True, slots=True)
class FaultOutcome:
    """The result for a hidden fault of an exercise."""

    name: str
    tells: str
    """How the fault shows."""
    state: Literal["mended", "hidden", "found", "missed"]
    """`found`: named, not mended; `hidden`: masked by a trimmer; `missed`: neither named nor mended."""
    named: bool
    by: str = ""
    """The trimmer that compensates for it."""
    argued: bool = False
    """Whether it was named with a reading that it changes, and with the test that rules out its rival."""
    rival: str = ""
    """What its readings can be taken for."""
    test: str = ""
    """What tells the two apart."""
    tested: bool = False
    """Whether that test was run."""
    predicted: tuple[str, ...] = ()
    """Its effect on readings at its usual size, one line for each curve or figure."""
    read: str = ""
    """The trainee's own curve, in one line."""
    must_find: bool = True
    """Whether the exercise asks for it to be named."""


@dataclass(frozen=True, slots=True)
class TrimmerOutcome:
    """The result for a trimmer of an exercise."""

    name: str
    unit: str
    before: float
    """Its distance from the right position."""
    after: float
    turns: int
    right: bool
    hides: str = ""
    """The fault elsewhere for which it compensates."""
    allowed: bool = False
    """Whether it compensates for a fault that only the workshop can repair, and that the trainee named."""


@dataclass(frozen=True, slots=True)
class Debriefed(Event):
    """An exercise is over: what was done, compared with the truth."""

    faults: tuple[FaultOutcome, ...] = ()
    trimmers: tuple[TrimmerOutcome, ...] = ()
    """Trimmers that the procedure sets, or that were turned."""
    wrongly_named: tuple[str, ...] = ()
    turns: int = 0
    minutes: float = 0.0
