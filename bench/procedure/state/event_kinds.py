"""All kinds of events as one type, and their names in the session file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TypeVar

from bench.procedure.state.events import (
    Accepted,
    Acted,
    Answered,
    CameBack,
    CheckedAgain,
    CurveTaken,
    Decided,
    Disturbed,
    Done,
    Happened,
    HeadDelayMeasured,
    Held,
    InputProcessed,
    InterfaceSheetWritten,
    Learnt,
    Looked,
    LotLoaded,
    NotApplicable,
    Noted,
    Overridden,
    Released,
    Repeated,
    Resumed,
    RoundsRecorded,
    SignedOff,
    Skipped,
    SoundBack,
    SoundLost,
    Started,
    StoppedListening,
    Switched,
    Ticked,
    Turned,
    TurnedBack,
    Waited,
    WentAgain,
    WentAside,
    WentBack,
)
from bench.procedure.state.exercise_events import CauseNamed, Debriefed, RanTest

Event = (
    NotApplicable
    | Started
    | Resumed
    | Repeated
    | Skipped
    | WentBack
    | WentAside
    | CameBack
    | WentAgain
    | Decided
    | Acted
    | Switched
    | Turned
    | TurnedBack
    | LotLoaded
    | Waited
    | Ticked
    | Disturbed
    | CheckedAgain
    | CurveTaken
    | Learnt
    | HeadDelayMeasured
    | RoundsRecorded
    | InputProcessed
    | InterfaceSheetWritten
    | Answered
    | RanTest
    | Looked
    | CauseNamed
    | Accepted
    | StoppedListening
    | Overridden
    | Noted
    | SignedOff
    | SoundLost
    | SoundBack
    | Held
    | Released
    | Done
    | Debriefed
)

KINDS: dict[str, type[Event]] = {
    "left-out": NotApplicable,
    "start": Started,
    "resume": Resumed,
    "repeat": Repeated,
    "skip": Skipped,
    "back": WentBack,
    "aside": WentAside,
    "came-back": CameBack,
    "again": WentAgain,
    "decision": Decided,
    "act": Acted,
    "switch": Switched,
    "turns": Turned,
    "turned-back": TurnedBack,
    "lot": LotLoaded,
    "wait": Waited,
    "tick": Ticked,
    "to-check": Disturbed,
    "checked": CheckedAgain,
    "curve": CurveTaken,
    "learnt": Learnt,
    "head-delay": HeadDelayMeasured,
    "rounds": RoundsRecorded,
    "input-processed": InputProcessed,
    "interface-sheet": InterfaceSheetWritten,
    "answer": Answered,
    "test-run": RanTest,
    "look": Looked,
    "cause-named": CauseNamed,
    "accept": Accepted,
    "stopped-listening": StoppedListening,
    "override": Overridden,
    "note": Noted,
    "sign-off": SignedOff,
    "sound-lost": SoundLost,
    "sound-back": SoundBack,
    "hold": Held,
    "release": Released,
    "done": Done,
    "debrief": Debriefed,
}
"""Each kind of event by its name in the session file."""

KIND_OF: dict[type[Event], str] = {kind: name for name, kind in KINDS.items()}

E = TypeVar("E", bound=Happened)


def of_kind(events: Iterable[Event], kind: type[E]) -> Iterator[E]:
    """The events of one kind, in order."""
    return (event for event in events if isinstance(event, kind))
