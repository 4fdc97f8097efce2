"""Puts each kind of event into words, for report, plain text and commands."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from bench.figures import as_given, hertz
from bench.measure.catalogue import QUANTITIES
from bench.procedure.state import events, exercise_events
from bench.procedure.state.events import Event
from bench.words.figures import rotation
from bench.words.readings import aim_text
from bench.words.sentences import counted

Titles = Mapping[str, str]
"""Titles of steps by id; a step without one is called by its id."""

TYPED_DIGITS = 10
"""A typed figure is told as it was typed: a frequency counter shows up to ten digits."""


def event_sentence(event: Event, titles: Titles) -> str:
    """An event in words."""
    words = _WORDS[type(event)]
    return words(event, titles)


def curve_label(curve: events.CurveTaken) -> str:
    """Name of a curve: "left, 10 kHz"."""
    return f"{curve.channel}, {hertz(curve.frequency_hz)}" if curve.frequency_hz else curve.channel


def _skipped(event: events.Skipped, titles: Titles) -> str:
    return f"no reading, because {event.cannot}; {event.reason}" if event.cannot else event.reason


def _gone_again(event: events.WentAgain, titles: Titles) -> str:
    what = ", ".join(QUANTITIES[q].title if q in QUANTITIES else q for q in event.out) or "not all"
    cost = f", which costs {counted(event.passes, 'pass', 'passes')} of the reference tape" if event.passes else ""
    times = f"at most {counted(event.left, 'time')}, this one included"
    return f"{what}{' not' if event.out else ''} in: back to {_named(event.to, titles)}{cost}; {times}"


def _decided(event: events.Decided, titles: Titles) -> str:
    if event.answer:
        because = event.answer
    elif event.not_in:
        because = f"not in: {_listed(event.not_in, titles)}"
    elif event.all_in:
        because = f"in: {_listed(event.all_in, titles)}"
    else:
        because = "nothing to decide by: what it looks at does not apply here"
    words = f"{because}: on to {_named(event.to, titles) if event.to else 'the end'}"
    return f"{words}; not needed: {_listed(event.passed_over, titles)}" if event.passed_over else words


def _turned(event: events.Turned, titles: Titles) -> str:
    count = len(event.degrees)
    often = "once" if count == 1 else counted(count, "time")
    return f"{event.trimmer}: adjusted {often}, net {rotation(sum(event.degrees))}"


def _turned_back(event: events.TurnedBack, titles: Titles) -> str:
    return f"{event.trimmer} turned back by {rotation(event.degrees)}, to its position when the job began"


def _waited(event: events.Waited, titles: Titles) -> str:
    of = as_given(round(event.of_s / 60, 1))
    if event.seconds < event.of_s:
        return f"went on after {as_given(round(event.seconds / 60, 1))} of {of} minutes"
    return f"waited {of} minutes"


def _ticked(event: events.Ticked, titles: Titles) -> str:
    done = "; ".join(event.lines) or ("nothing" if event.left_open else _named(event.step, titles))
    return f"{done}; {left_open(event)}" if event.left_open else done


def left_open(event: events.Ticked) -> str:
    """The lines of a checklist that were left open, and why."""
    return f"left open: {'; '.join(event.left_open)}, because {event.because}"


def _head_delay(event: events.HeadDelayMeasured, titles: Titles) -> str:
    return f"{1000 * event.seconds:.0f} ms from sending to replay, including the delay from head to head"


def _rounds(event: events.RoundsRecorded, titles: Titles) -> str:
    return f"{counted(event.rounds, 'round')} recorded and replayed"


def _input_processed(event: events.InputProcessed, titles: Titles) -> str:
    if event.sent_dbfs is None:
        what = "Soft tones do not come back: a gate or a noise suppression is in the way."
    elif event.by == "automatic gain":
        lifts = f"it lifts {as_given(event.sent_dbfs)} dBFS by {event.changed_db:.1f} dB"
        what = f"An automatic gain is in the way: {lifts}."
    else:
        takes = f"it takes {-event.changed_db:.1f} dB off {as_given(event.sent_dbfs)} dBFS"
        what = f"A gate or a noise suppression is in the way: {takes}."
    remedy = 'Switch off every "enhancement" of this input in the system\'s sound settings, and measure again.'
    return f"{what} {remedy}"


def _answered(event: events.Answered, titles: Titles) -> str:
    if isinstance(event.answer, float):
        figure = f"{as_given(event.answer, TYPED_DIGITS)} {event.unit}".strip()
        return figure + (_held_against(event.limits, event.answer, event.unit) if event.limits else "")
    if event.right:
        right = "right" if event.answer == event.right else f"the right answer: {event.right}"
        return f"{event.answer} ({right})"
    return event.answer or "nothing entered"


def _held_against(limits: events.Limits, value: float, unit: str) -> str:
    aim = aim_text(limits.target, limits.tolerance, limits.limit)
    return f", {'inside' if limits.hold(value) else 'outside'} {aim} {unit} as read ({limits.source})"


def _named(step: str, titles: Titles) -> str:
    return titles.get(step, step)


def _listed(steps: tuple[str, ...], titles: Titles) -> str:
    return ", ".join(_named(step, titles) for step in steps)


def _at_step(event: events.Started | events.Resumed, titles: Titles) -> str:
    return f"at {_named(event.step, titles)}"


_WORDS: dict[type[Event], Callable[[Any, Titles], str]] = {
    events.NotApplicable: lambda e, _: e.title,
    events.Started: _at_step,
    events.Resumed: _at_step,
    events.Repeated: lambda e, titles: _named(e.step, titles),
    events.Skipped: _skipped,
    events.WentBack: lambda e, titles: f"back to {_named(e.to, titles)}",
    events.WentAside: lambda e, titles: f"out of its turn: {_named(e.to, titles)}",
    events.CameBack: lambda e, titles: f"on with {_named(e.to, titles)}",
    events.WentAgain: _gone_again,
    events.Decided: _decided,
    events.Acted: lambda e, _: e.act,
    events.Switched: lambda e, _: f"{e.control}: {e.position}",
    events.Turned: _turned,
    events.TurnedBack: _turned_back,
    events.LotLoaded: lambda e, _: f"{e.lot} is {e.tape}",
    events.Waited: _waited,
    events.Ticked: _ticked,
    events.Disturbed: lambda e, _: ", ".join(e.what),
    events.CheckedAgain: lambda e, _: ", ".join(e.what),
    events.CurveTaken: lambda e, _: f"{curve_label(e)}: {e.along}, {e.unit}",
    events.Learnt: lambda e, _: f"{e.trimmer}: {e.quantity}, {hertz(e.frequency_hz)}",
    events.HeadDelayMeasured: _head_delay,
    events.RoundsRecorded: _rounds,
    events.InputProcessed: _input_processed,
    events.InterfaceSheetWritten: lambda e, _: f"interface sheet written: {e.path}",
    events.Answered: _answered,
    exercise_events.RanTest: lambda e, _: e.test,
    events.Looked: lambda e, _: f"{e.cause}: {'seen' if e.seen else 'not seen'}",
    exercise_events.CauseNamed: lambda e, _: f"{e.cause}: withdrawn" if e.withdrawn else e.cause,
    events.Accepted: lambda e, _: e.reason,
    events.StoppedListening: lambda e, _: f"stopped listening: {e.reason}",
    events.Overridden: lambda e, _: f"reference tape in an uncleaned machine: {e.reason}",
    events.Noted: lambda e, _: e.text,
    events.SignedOff: lambda e, _: f"{e.who} accepts: {e.accepts}",
    events.SoundLost: lambda e, _: f"sound lost: {e.detail}",
    events.SoundBack: lambda e, _: "sound is back",
    events.Held: lambda e, _: "held",
    events.Released: lambda e, _: f"went on after {e.held_s:.0f} s",
    events.Done: lambda *_: "the job is over",
    exercise_events.Debriefed: lambda e, _: f"{e.minutes:.0f} minutes, {counted(e.turns, 'turn')} of trimmers.",
}
