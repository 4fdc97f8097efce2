"""A debrief in sentences, for screen, report and commands."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bench.figures import number
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.exercise_events import Debriefed, FaultOutcome, TrimmerOutcome
from bench.words.sentences import counted

AGAIN: tuple[tuple[str, str], ...] = (
    ("azimuth", "Azimuth before equalisation: the delay between the channels shows it, and no equaliser changes that."),
    ("equalisation", "Equalisation last: first find what took the treble, such as dirt, azimuth, a worn gap or bias."),
    ("bias", "Bias before record level and record equalisation: it moves both."),
    (
        "level",
        "Level by the reference tape first, then by a recording: a machine agrees with its own recording.",
    ),
    ("speed", "Speed by the reference tape alone: a machine agrees with its own recording."),
)
"""What to look at again, by a word in the name of the trimmer; common practice, no source."""

Line = tuple[str, str]
"""A word for the subject of the line, and the sentence."""


def debrief_lines(events: Iterable[Event]) -> tuple[Line, ...]:
    """The debrief of a session, line by line; empty where it is not an exercise, or not over.

    The words are: `fault`, `argument` (what shows it, what rules out its rival), `wrong` (named, but not there),
    `trimmer`, `again`, `spent`, `end`.
    """
    return tuple(line for debrief in of_kind(events, Debriefed) for line in _lines(debrief))


def time_spent(debrief: Debriefed) -> str:
    """Duration, and number of trimmer adjustments."""
    adjusted = f"trimmers adjusted {times(debrief.turns)}" if debrief.turns else "no trimmer adjusted"
    return f"{debrief.minutes:.0f} minutes; {adjusted}."


def times(count: int) -> str:
    """How often: "once", "3 times"."""
    return "once" if count == 1 else f"{count} times"


def _lines(debrief: Debriefed) -> Iterator[Line]:
    if not debrief.faults:
        yield "fault", "Nothing was hidden in this machine."
    for fault in debrief.faults:
        yield "fault", _fault(fault)
    for fault in debrief.faults:
        yield from (("argument", line) for line in _argument(fault))
    for name in debrief.wrongly_named:
        yield "wrong", f"{name}: named, but not there."
    for trimmer in debrief.trimmers:
        yield "trimmer", _trimmer(trimmer)
    yield from (("again", line) for line in dict.fromkeys(_again(debrief)))
    yield "spent", time_spent(debrief)
    right = sum(t.right or t.allowed for t in debrief.trimmers)
    done = sum(f.state in ("mended", "found") for f in debrief.faults)
    found = sum(f.named for f in debrief.faults if f.must_find)
    wanted = sum(f.must_find for f in debrief.faults)
    trimmers = f", {right} of {counted(len(debrief.trimmers), 'trimmer')} right" if debrief.trimmers else ""
    dealt_with = f"{done} of {len(debrief.faults)} dealt with"
    yield "end", f"{found} of {counted(wanted, 'cause')} named, {dealt_with}{trimmers}."


def _fault(fault: FaultOutcome) -> str:
    named = "named and argued" if fault.argued else "named, but not argued from a reading and a test"
    match fault.state:
        case "mended":
            return f"{fault.name}: mended, {named if fault.named else 'but not named'}."
        case "hidden":
            seen = f"{named}, but " if fault.named else ""
            return f"{fault.name}: {seen}masked, not mended: {fault.by} compensates for it."
        case "found":
            return f"{fault.name}: {named}. It is still there: tell whoever mends it."
        case "missed":
            return f"{fault.name}: neither named nor mended."


def _argument(fault: FaultOutcome) -> Iterator[str]:
    """What shows a cause, and what distinguishes it from its rival."""
    if fault.predicted:
        yield f"{fault.name}, at a usual size: {'; '.join(line.strip() for line in fault.predicted)}."
    if fault.predicted and fault.read:
        yield f"{fault.name}, your first curve, dB from target: {fault.read}."
    if fault.rival:
        test = fault.test if fault.test.endswith("?") else f"{fault.test}."
        ran = " You ran that test." if fault.tested else ""
        yield f"{fault.name} reads much like this: {fault.rival}. To tell them apart: {test}{ran}"


def _trimmer(t: TrimmerOutcome) -> str:
    before, after = number(t.before, 2, sign=True), number(t.after, 2, sign=True)
    adjusted = "not adjusted" if not t.turns else f"adjusted {times(t.turns)}"
    moved = f"{t.name}: {before} {t.unit} at the start, {after} {t.unit} at the end, {adjusted}"
    if t.right:
        return f"{moved}: right."
    if t.allowed:
        return f"{moved}: it compensates for this cause: {t.hides}. Tell the owner that this will not last."
    if t.hides:
        return f"{moved}: it masks this cause: {t.hides}."
    if not t.turns:
        return f"{moved}: still out of adjustment."
    worse = abs(t.after) > abs(t.before)
    return f"{moved}: {'further out than at the start' if worse else 'still out of adjustment'}."


def _again(debrief: Debriefed) -> Iterator[str]:
    for fault in debrief.faults:
        if fault.state in ("missed", "hidden"):
            yield f"{fault.name}: {fault.tells}"
    for trimmer in debrief.trimmers:
        if trimmer.right or trimmer.allowed:
            continue
        for about in (trimmer.hides, trimmer.name):
            yield from (line for word, line in AGAIN if word in about)
