"""All kinds of events, by their names in the session file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TypeVar

from bench.procedure.state import events, exercise_events

Event = events.Event
KINDS: dict[str, type[Event]] = {
    "left-out": events.NotApplicable,
    "start": events.Started,
    "resume": events.Resumed,
    "repeat": events.Repeated,
    "skip": events.Skipped,
    "back": events.WentBack,
    "aside": events.WentAside,
    "came-back": events.CameBack,
    "again": events.WentAgain,
    "decision": events.Decided,
    "act": events.Acted,
    "switch": events.Switched,
    "turns": events.Turned,
    "turned-back": events.TurnedBack,
    "lot": events.LotLoaded,
    "wait": events.Waited,
    "tick": events.Ticked,
    "to-check": events.Disturbed,
    "checked": events.CheckedAgain,
    "curve": events.CurveTaken,
    "learnt": events.Learnt,
    "head-delay": events.HeadDelayMeasured,
    "rounds": events.RoundsRecorded,
    "input-processed": events.InputProcessed,
    "interface-sheet": events.InterfaceSheetWritten,
    "answer": events.Answered,
    "test-run": exercise_events.RanTest,
    "look": events.Looked,
    "cause-named": exercise_events.CauseNamed,
    "accept": events.Accepted,
    "stopped-listening": events.StoppedListening,
    "override": events.Overridden,
    "note": events.Noted,
    "sign-off": events.SignedOff,
    "sound-lost": events.SoundLost,
    "sound-back": events.SoundBack,
    "hold": events.Held,
    "release": events.Released,
    "done": events.Done,
    "debrief": exercise_events.Debriefed,
}
"""Each kind of event by its name in the session file."""

KIND_OF: dict[type[Event], str] = {kind: name for name, kind in KINDS.items()}

E = TypeVar("E", bound=Event)


def of_kind(happened: Iterable[Event], kind: type[E]) -> Iterator[E]:
    """The events of one kind, in order."""
    return (event for event in happened if isinstance(event, kind))
