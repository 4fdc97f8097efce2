"""A debrief in sentences, as screen, report and commands have it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.events import Debriefed, FaultOutcome, TrimmerOutcome
from bench.words.figures import number
from bench.words.sentences import counted

AGAIN: tuple[tuple[str, str], ...] = (
    ("azimuth", "Azimuth before equalisation: the delay between the channels shows it, and no equaliser moves that."),
    ("equalisation", "Equalisation last: first ask what took the treble, dirt, azimuth, a worn gap or bias."),
    ("bias", "Bias before record level and record equalisation: it moves both."),
    ("level", "Level by the reference tape first, by a recording after it: a machine agrees with its own."),
    ("speed", "Speed by the reference tape alone: a machine agrees with its own recording."),
)
"""What to look at again, by a word in the trimmer's name; common practice, no source."""

Line = tuple[str, str]
"""A word that says what the line is about, and the sentence."""


def debrief_lines(events: Iterable[Event]) -> tuple[Line, ...]:
    """The debrief of a session, a line at a time; empty where it is no exercise, or not over.

    The words are: `fault`, `wrong` (named though it was not there), `trimmer`, `again`, `spent`, `end`.
    """
    return tuple(line for debrief in of_kind(events, Debriefed) for line in _lines(debrief))


def time_spent(debrief: Debriefed) -> str:
    """How long it took, and how much was turned."""
    return f"{debrief.minutes:.0f} minutes, {counted(debrief.turns, 'turn')} of trimmers."


def _lines(debrief: Debriefed) -> Iterator[Line]:
    if not debrief.faults:
        yield "fault", "The machine had no fault; only its trimmers were off."
    for fault in debrief.faults:
        yield "fault", _fault(fault)
    for name in debrief.wrongly_named:
        yield "wrong", f"Named, but it was not there: {name}."
    for trimmer in debrief.trimmers:
        yield "trimmer", _trimmer(trimmer)
    yield from (("again", line) for line in dict.fromkeys(_again(debrief)))
    yield "spent", time_spent(debrief)
    right = sum(t.right or t.allowed for t in debrief.trimmers)
    done = sum(f.state in ("mended", "found") for f in debrief.faults)
    yield (
        "end",
        f"{done} of {len(debrief.faults)} faults dealt with, {right} of {len(debrief.trimmers)} trimmers right.",
    )


def _fault(fault: FaultOutcome) -> str:
    match fault.state:
        case "mended":
            return f"{fault.name}: mended{', and named' if fault.named else '; you did not name it'}."
        case "hidden":
            seen = "named, but " if fault.named else ""
            return f"{fault.name}: {seen}hidden, not mended: {fault.by} makes good what it costs."
        case "found":
            return f"{fault.name}: found. It still stands: say so to whoever mends it."
        case "missed":
            return f"{fault.name}: missed."


def _trimmer(t: TrimmerOutcome) -> str:
    before, after = number(t.before, 2, sign=True), number(t.after, 2, sign=True)
    moved = f"{t.name}: {before} {t.unit} off before, {after} {t.unit} after, {_times(t.turns)}"
    if t.right:
        return f"{moved}: right."
    if t.allowed:
        return f"{moved}: it makes good what {t.hides} costs. Tell the owner: it will not last."
    if t.hides:
        return f"{moved}: it hides {t.hides}."
    if not t.turns:
        return f"{moved}: left as it was."
    worse = abs(t.after) > abs(t.before)
    return f"{moved}: {'further off than you met it' if worse else 'still off'}."


def _times(turns: int) -> str:
    return "not turned" if not turns else "turned once" if turns == 1 else f"turned {turns} times"


def _again(debrief: Debriefed) -> Iterator[str]:
    for fault in debrief.faults:
        if fault.state in ("missed", "hidden"):
            yield f"{fault.name}: {fault.tells}"
    for trimmer in debrief.trimmers:
        if trimmer.right or trimmer.allowed:
            continue
        for about in (trimmer.hides, trimmer.name):
            yield from (line for word, line in AGAIN if word in about)
