"""What a step shows to be right, and what an adjustment disturbs: common practice, no source.

The two directions of an auto-reverse deck are kept apart: what was shown in one is not shown in the other. A step that
says no direction runs forward.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet

from bench.procedure.model.steps import ASPECTS, Adjust, Aspect, Measure, Measuring, RecordReplay, Reference, StepBase
from bench.procedure.state.event_kinds import Event
from bench.procedure.state.events import CheckedAgain, Disturbed
from bench.procedure.state.journal import ReadingRecord

DISTURBS: Mapping[Aspect, tuple[Aspect, ...]] = {
    "speed": ("replay response", "record response"),
    "replay azimuth": ("replay response", "record azimuth", "record response"),
    "replay level": ("record level", "meters", "tracking"),
    "replay response": ("replay level", "record response", "tracking"),
    "record azimuth": ("record response", "tracking"),
    "bias": ("record level", "record response", "distortion", "noise", "tracking"),
    "record level": ("tracking", "distortion"),
    "record response": ("tracking",),
}
"""What has to be checked again when something was adjusted. Speed moves every frequency; azimuth is treble; a replay
that was moved is another ruler for recording; bias moves level, treble, distortion and noise; a decoder feels all."""

OF_ONE_DIRECTION: frozenset[Aspect] = frozenset({"replay azimuth", "record azimuth"})
"""What has a screw for each direction and disturbs nothing of the other. Amplifiers, bias and motor serve both."""

IN_REVERSE = " in reverse"
"""Follows the name of what was shown, or disturbed, while the tape ran the other way."""

_FROM_TAPE: Mapping[str, Aspect] = {
    "level": "replay level",
    "balance": "replay level",
    "response": "replay response",
    "azimuth_delay": "replay azimuth",
    "azimuth_angle": "replay azimuth",
    "azimuth_phase": "replay azimuth",
    "speed_error": "speed",
    "speed_drift": "speed",
}

_RECORDED: Mapping[str, Aspect] = {
    "level": "record level",
    "balance": "record level",
    "record_replay_level": "record level",
    "response": "record response",
    "azimuth_delay": "record azimuth",
    "azimuth_angle": "record azimuth",
    "azimuth_phase": "record azimuth",
    "overbias": "bias",
    "third_harmonic": "distortion",
    "second_harmonic": "distortion",
    "thd": "distortion",
    "maximum_output_level": "distortion",
    "saturated_output_level": "distortion",
    "noise": "noise",
    "signal_to_noise": "noise",
    "hum": "noise",
    "separation": "separation",
    "erasure": "erasure",
    "mistracking": "tracking",
    "encoding_error": "tracking",
    "decoding_error": "tracking",
}


def shows(step: StepBase) -> frozenset[Aspect]:
    """What a step shows when it gives all the readings that it asks for; nothing where nothing is measured."""
    quantities: tuple[str, ...] = ()
    if isinstance(step, Reference | RecordReplay):
        quantities = tuple(step.targets)
    elif isinstance(step, Adjust | Measure):
        quantities = (step.quantity,)
    return frozenset(w for q in quantities if (w := shown_by(step, q)) is not None)


def shown_by(step: StepBase, quantity: str) -> Aspect | None:
    """What a reading of that quantity at that step shows; None for what no adjustment is judged by."""
    if not isinstance(step, Measuring):
        return None
    if step.noise_reduction != "off":
        return "tracking"
    if isinstance(step, Reference):
        return _FROM_TAPE.get(quantity)
    if isinstance(step, Adjust | Measure) and (step.plays is not None or step.programme):
        return _FROM_TAPE.get(quantity)
    if isinstance(step, Adjust) and quantity == "response" and _turns(step, "bias"):
        return "bias"
    if isinstance(step, Measure) and not (step.sends or step.records):
        return _FROM_TAPE.get(quantity) or _RECORDED.get(quantity)
    return _RECORDED.get(quantity)


def disturbed_by(step: StepBase) -> frozenset[str]:
    """What has to be checked again when a step was done, by the trade and by what the step itself says.

    What a step of one direction says itself reaches no farther than that direction.
    """
    own = named(step.disturbs, step.direction) if step.direction else _both(step.disturbs)
    if not isinstance(step, Adjust):
        return own
    return own.union(*(_reached_from(w, step.direction) for w in shows(step)))


def moved_by(step: StepBase) -> frozenset[str]:
    """What stands elsewhere where the trimmers of an adjust step were turned, and what that disturbs."""
    return disturbed_by(step).union(*(_where_set(w, step.direction) for w in shows(step)))


def moved_by_trimmer(name: str) -> frozenset[str]:
    """Likewise of a trimmer by its usual name, wherever it was turned; nothing for one that a maker named otherwise."""
    what, direction = set_by(name), "reverse" if name.endswith(" reverse") else None
    return _where_set(what, direction) | _reached_from(what, direction) if what is not None else frozenset()


def named(what: Iterable[Aspect], direction: str | None) -> frozenset[str]:
    """What was shown while the tape ran in a direction, by the names under which it is kept."""
    return frozenset(w + IN_REVERSE * (direction == "reverse") for w in what)


def _where_set(what: Aspect, direction: str | None) -> frozenset[str]:
    return named((what,), direction) if what in OF_ONE_DIRECTION else _both((what,))


def _reached_from(what: Aspect, direction: str | None) -> frozenset[str]:
    others = DISTURBS.get(what, ())
    return named(others, direction) if what in OF_ONE_DIRECTION else _both(others)


def _both(what: Iterable[Aspect]) -> frozenset[str]:
    names = tuple(what)
    return named(names, None) | named(names, "reverse")


def _turns(step: Adjust, trimmer: str) -> bool:
    return all(name.startswith(trimmer) for name in step.trimmers.values())


_TRIMMERS: Mapping[str, Aspect] = {
    "speed": "speed",
    "replay azimuth": "replay azimuth",
    "replay level": "replay level",
    "replay equalisation": "replay response",
    "record azimuth": "record azimuth",
    "bias": "bias",
    "record level": "record level",
    "record equalisation": "record response",
}


def set_by(trimmer: str) -> Aspect | None:
    """What a trimmer sets, by its usual name; None for one that a maker named otherwise."""
    return next((what for name, what in _TRIMMERS.items() if trimmer.startswith(name)), None)


def to_check_again(events: Sequence[Event]) -> tuple[str, ...]:
    """What stands to be checked again, in the order of the trade."""
    standing: set[str] = set()
    for event in events:
        if isinstance(event, Disturbed):
            standing |= set(event.what)
        elif isinstance(event, CheckedAgain):
            standing -= set(event.what)
    return in_order(standing)


def shown_so_far(records: Sequence[ReadingRecord], steps: Mapping[str, StepBase]) -> frozenset[str]:
    """What the readings kept so far have shown, right or wrong, by name."""
    found: set[str] = set()
    for r in records:
        step = steps.get(r.step)
        if step is None or r.measured is None:
            continue
        what = shown_by(step, r.reading.quantity)
        if what is not None:
            found |= named((what,), step.direction)
    return frozenset(found)


def in_order(names: AbstractSet[str]) -> tuple[str, ...]:
    """Names of what was shown or disturbed, in the order of the trade."""
    return tuple(n for w in ASPECTS for n in (w, w + IN_REVERSE) if n in names)
