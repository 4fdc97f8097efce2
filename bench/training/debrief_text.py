"""A debrief in sentences, as screen, report and session have it."""

from __future__ import annotations

from collections.abc import Iterator

from bench.training.debrief import Debrief, FaultTold, TrimmerTold
from bench.words.figures import number

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


def in_sentences(told: Debrief) -> tuple[Line, ...]:
    """The debrief, a line at a time.

    The words are: `fault`, `wrong` (named though it was not there), `trimmer`, `again`, `spent`, `end`.
    """
    return tuple(_lines(told))


def _lines(told: Debrief) -> Iterator[Line]:
    if not told.faults:
        yield "fault", "The machine had no fault; only its trimmers were off."
    for fault in told.faults:
        yield "fault", _fault(fault)
    for name in told.wrongly_named:
        yield "wrong", f"Named, but it was not there: {name}."
    for trimmer in told.trimmers:
        yield "trimmer", _trimmer(trimmer)
    yield from (("again", line) for line in dict.fromkeys(_again(told)))
    yield "spent", f"{told.minutes:.0f} minutes, {told.turns} turns of trimmers."
    right = sum(t.right or t.allowed for t in told.trimmers)
    done = sum(f.state in ("mended", "found") for f in told.faults)
    yield "end", f"{done} of {len(told.faults)} faults dealt with, {right} of {len(told.trimmers)} trimmers right."


def _fault(told: FaultTold) -> str:
    name = told.fault.name
    match told.state:
        case "mended":
            return f"{name}: mended{', and named' if told.named else '; you did not name it'}."
        case "hidden":
            seen = "named, but " if told.named else ""
            return f"{name}: {seen}hidden, not mended: {told.by} makes good what it costs."
        case "found":
            return f"{name}: found. It still stands: say so to whoever mends it."
        case "missed":
            return f"{name}: missed."


def _trimmer(told: TrimmerTold) -> str:
    t = told.trimmer
    before, after = (f"{number(off, 2, sign=True)} {t.unit}" for off in (told.before, t.off))
    moved = f"{t.name}: {before} off before, {after} after, {_times(told.turns)}"
    if told.right:
        return f"{moved}: right."
    if told.allowed:
        return f"{moved}: it makes good what {told.hides} costs. Tell the owner: it will not last."
    if told.hides:
        return f"{moved}: it hides {told.hides}."
    if not told.turns:
        return f"{moved}: left as it was."
    worse = abs(t.off) > abs(told.before)
    return f"{moved}: {'further off than you met it' if worse else 'still off'}."


def _times(turns: int) -> str:
    return "not turned" if not turns else "turned once" if turns == 1 else f"turned {turns} times"


def _again(told: Debrief) -> Iterator[str]:
    for fault in told.faults:
        if fault.state in ("missed", "hidden"):
            yield f"{fault.fault.name}: {fault.fault.tells}"
    for trimmer in told.trimmers:
        if trimmer.right or trimmer.allowed:
            continue
        for about in (trimmer.hides, trimmer.trimmer.name):
            yield from (line for word, line in AGAIN if word in about)
