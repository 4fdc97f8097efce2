"""Commands that a person, or unattended hands, can give the runner."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bench.procedure.kinds.activity import Activity


@dataclass(frozen=True, slots=True)
class GoOn:
    """The go-on key: start the step, confirm, accept a reading that is in, go to the next step."""


@dataclass(frozen=True, slots=True)
class Answer:
    """Typed text: a number, a choice or words."""

    text: str


@dataclass(frozen=True, slots=True)
class Tick:
    """Tick a line of the checklist, or untick it."""

    index: int


@dataclass(frozen=True, slots=True)
class Accept:
    """Keep the reading although it is not in; the report gives the reason."""

    reason: str


@dataclass(frozen=True, slots=True)
class Skip:
    """Skip the step; the report gives the reason."""

    reason: str


@dataclass(frozen=True, slots=True)
class Repeat:
    """Start this step again."""


@dataclass(frozen=True, slots=True)
class Back:
    """Go back to the previous step; its readings stay as earlier attempts."""


@dataclass(frozen=True, slots=True)
class GoAside:
    """Do other steps of the job at once, then go on here."""

    first: str
    """The id of the first of them."""
    last: str
    """The id of the last."""


@dataclass(frozen=True, slots=True)
class Look:
    """The result of looking for a cause."""

    cause: str
    seen: bool
    question: str = ""
    """What to look at and what that confirms, for the person who answers."""


@dataclass(frozen=True, slots=True)
class Hold:
    """Pause sound, tape and timer; a second `Hold`, or `GoOn`, resumes."""


@dataclass(frozen=True, slots=True)
class Turn:
    """Turn a trimmer of the practice machine."""

    trimmer: str
    degrees: float


@dataclass(frozen=True, slots=True)
class RunTest:
    """In an exercise: choose a test that tells two causes apart, and run it before the step goes on."""


@dataclass(frozen=True, slots=True)
class Note:
    """A note for the report."""

    text: str


@dataclass(frozen=True, slots=True)
class StopSound:
    """Stop all sound at once."""


@dataclass(frozen=True, slots=True)
class Leave:
    """Stop the run here; the session can be resumed."""


Command = (
    GoOn
    | Answer
    | Tick
    | Accept
    | Skip
    | Repeat
    | Back
    | GoAside
    | Look
    | Hold
    | Turn
    | RunTest
    | Note
    | StopSound
    | Leave
)


def pass_on(activity: Activity[Any], command: Command) -> None:
    """Pass a command on to the activity that it is meant for. Raises `Problem` where it cannot be obeyed."""
    match command:
        case GoOn():
            activity.go_on()
        case Answer(text):
            activity.answer(text)
        case Tick(index):
            activity.tick(index)
        case Accept(reason):
            activity.accept(reason)
