"""What the person, or unattended hands, can tell the runner."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class GoOn:
    """The one key: start the step, confirm, accept what is in, go to the next."""


@dataclass(frozen=True, slots=True)
class Answer:
    """A number, a choice or words, as typed."""

    text: str


@dataclass(frozen=True, slots=True)
class Tick:
    """Tick a line of the checklist, or untick it."""

    index: int


@dataclass(frozen=True, slots=True)
class Accept:
    """Keep the reading although it is not in; the reason lands in the report."""

    reason: str


@dataclass(frozen=True, slots=True)
class Skip:
    """Leave the step out; the reason lands in the report."""

    reason: str


@dataclass(frozen=True, slots=True)
class Repeat:
    """Do this step again from its start."""


@dataclass(frozen=True, slots=True)
class Back:
    """To the step before this one; its readings stay as earlier attempts."""


@dataclass(frozen=True, slots=True)
class Hold:
    """Pause sound and timer; once more, or the one key, goes on."""


@dataclass(frozen=True, slots=True)
class Turn:
    """Turn a trimmer of the practice machine."""

    trimmer: str
    degrees: float


@dataclass(frozen=True, slots=True)
class Note:
    """Words for the report."""

    text: str


@dataclass(frozen=True, slots=True)
class StopSound:
    """Stop all sound at once."""


@dataclass(frozen=True, slots=True)
class Leave:
    """Break off here; the session can be resumed."""


Command = GoOn | Answer | Tick | Accept | Skip | Repeat | Back | Hold | Turn | Note | StopSound | Leave
