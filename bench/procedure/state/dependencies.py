"""What a step shows to be right, and what an adjustment disturbs: common practice, no source.

The two directions of an auto-reverse deck are separate: a reading in one shows nothing about the other. A step without
a direction runs forward.
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
    "record level control": ("tracking",),
    "record level": ("tracking", "distortion"),
    "record response": ("tracking",),
}
"""What must be checked again after an adjustment. Speed changes every frequency. Azimuth changes treble. Recording is
measured by replay. Bias changes level, treble, distortion and noise. Noise reduction depends on all of them."""

OF_ONE_DIRECTION: frozenset[Aspect] = frozenset({"replay azimuth", "record azimuth"})
"""Aspects with a separate screw for each direction. Amplifiers, bias and motor serve both directions."""

IN_REVERSE = " in reverse"
"""Added to the name of an aspect when the tape ran in reverse."""

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
    "source_level": "record level control",
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
    "heard_error": "tracking",
    "mistracking": "tracking",
    "encoding_error": "tracking",
    "decoding_error": "tracking",
}


def aspects_shown(step: StepBase) -> frozenset[Aspect]:
    """The aspects that a step shows when it gives all its readings; none where nothing is measured."""
    return frozenset(w for q in quantities(step) if (w := aspect_shown(step, q)) is not None)


def aspect_shown(step: StepBase, quantity: str) -> Aspect | None:
    """The aspect that a reading of a quantity at a step shows; None where no adjustment affects it."""
    if not isinstance(step, Measuring):
        return None
    if step.noise_reduction != "off":
        return "tracking"
    if isinstance(step, Reference):
        return _FROM_TAPE.get(quantity)
    if isinstance(step, Adjust | Measure) and (step.plays is not None or step.programme):
        return _FROM_TAPE.get(quantity)
    if quantity == "response" and sets_bias(step):
        return "bias"
    if isinstance(step, Measure) and not (step.sends or step.records):
        return _FROM_TAPE.get(quantity) or _RECORDED.get(quantity)
    return _RECORDED.get(quantity)


def aspects_disturbed(step: StepBase) -> frozenset[str]:
    """What must be checked again after a step, by common practice and by the `disturbs` of the step.

    The `disturbs` of a step with a direction applies to that direction alone.
    """
    own = aspect_names(step.disturbs, step.direction) if step.direction else _both(step.disturbs)
    if not isinstance(step, Adjust):
        return own
    return own.union(*(_reached_from(w, step.direction) for w in aspects_shown(step)))


def aspects_moved(step: StepBase) -> frozenset[str]:
    """What the trimmers of an adjust step set, and what turning them disturbs."""
    return aspects_disturbed(step).union(*(_where_set(w, step.direction) for w in aspects_shown(step)))


def moved_by_trimmer(name: str) -> frozenset[str]:
    """What a trimmer, by its usual name, sets and disturbs at any step; nothing for an unusual name."""
    what, direction = aspect_set_by(name), "reverse" if name.endswith(" reverse") else None
    return _where_set(what, direction) | _reached_from(what, direction) if what is not None else frozenset()


def shown_by_reading(record: ReadingRecord, *, sets_bias: bool) -> str:
    """The name of the aspect that a kept reading shows; "" where no adjustment affects it.

    Args:
        record: the reading.
        sets_bias: whether it was read at a step that sets bias.
    """
    what = _aspect(record, sets_bias=sets_bias)
    return "" if what is None else f"{what}{IN_REVERSE * (record.direction == 'reverse')}"


def moved_by_reading(record: ReadingRecord, *, sets_bias: bool) -> frozenset[str]:
    """Names of what is moved when the trimmer behind a reading is turned."""
    what = _aspect(record, sets_bias=sets_bias)
    direction = record.direction or None
    return _where_set(what, direction) | _reached_from(what, direction) if what is not None else frozenset()


def _aspect(record: ReadingRecord, *, sets_bias: bool) -> Aspect | None:
    quantity = record.reading.quantity
    if record.noise_reduction != "off":
        return "tracking"
    if record.source == "reference tape":
        return _FROM_TAPE.get(quantity)
    if sets_bias and quantity == "response":
        return "bias"
    replayed = record.source in ("machine", "owner's tape")
    return (_FROM_TAPE.get(quantity) if replayed else None) or _RECORDED.get(quantity)


def aspect_names(what: Iterable[Aspect], direction: str | None) -> frozenset[str]:
    """Names of aspects for a direction of the tape."""
    return frozenset(w + IN_REVERSE * (direction == "reverse") for w in what)


def names_for_tape(names: Iterable[str], lot: str) -> frozenset[str]:
    """Names of aspects for one of several tapes; unchanged for the first tape."""
    return frozenset(f"{name}, {lot}" if lot else name for name in names)


def lot_concerned(step: StepBase) -> str:
    """The lot whose own trimmers a step concerns; "" for an owner's tape, both sides of which meet the same head."""
    of_owners = isinstance(step, Adjust | Measure) and (step.programme or step.quantity == "tape_level")
    return "" if of_owners else step.lot


def lot_of_trimmer(trimmer: str, lots: Iterable[str]) -> str:
    """The lot that a trimmer serves alone: "chrome" for "bias left chrome"; "" for one that several tapes share."""
    return next((lot for lot in lots if trimmer.endswith(f" {lot}")), "")


def without_tape(name: str) -> str:
    """The name of an aspect without its tape."""
    return name.partition(", ")[0]


def _where_set(what: Aspect, direction: str | None) -> frozenset[str]:
    return aspect_names((what,), direction) if what in OF_ONE_DIRECTION else _both((what,))


def _reached_from(what: Aspect, direction: str | None) -> frozenset[str]:
    others = DISTURBS.get(what, ())
    return aspect_names(others, direction) if what in OF_ONE_DIRECTION else _both(others)


def _both(what: Iterable[Aspect]) -> frozenset[str]:
    names = tuple(what)
    return aspect_names(names, None) | aspect_names(names, "reverse")


def sets_bias(step: StepBase) -> bool:
    """Whether bias is set at a step."""
    return isinstance(step, Adjust) and all(name.startswith("bias") for name in step.trimmers.values())


_TRIMMERS: Mapping[str, Aspect] = {
    "speed": "speed",
    "replay azimuth": "replay azimuth",
    "replay level": "replay level",
    "replay equalisation": "replay response",
    "record azimuth": "record azimuth",
    "bias": "bias",
    "record level control": "record level control",
    "record level": "record level",
    "record equalisation": "record response",
}


def aspect_set_by(trimmer: str) -> Aspect | None:
    """The aspect that a trimmer sets, by its usual name; None for an unusual name."""
    return next((what for name, what in _TRIMMERS.items() if trimmer.startswith(name)), None)


def is_knob(trimmer: str) -> bool:
    """Whether a trimmer, by its usual name, is a control of the user."""
    return " control" in trimmer


def to_check_again(events: Sequence[Event]) -> tuple[str, ...]:
    """What is still to be checked again, in the usual order."""
    standing: set[str] = set()
    for event in events:
        if isinstance(event, Disturbed):
            standing |= set(event.what)
        elif isinstance(event, CheckedAgain):
            standing -= set(event.what)
    return in_usual_order(standing)


def aspects_read(records: Sequence[ReadingRecord], steps: Mapping[str, StepBase]) -> frozenset[str]:
    """Names of the aspects that readings have shown so far, right or wrong."""
    found: set[str] = set()
    for r in records:
        step = steps.get(r.step)
        if step is None or r.measured is None:
            continue
        what = aspect_shown(step, r.reading.quantity)
        of_another = r.source == "owner's tape" and what == "tracking"  # a property of that tape, not of this machine
        if what is not None and not of_another:
            found |= names_for_tape(aspect_names((what,), step.direction), lot_concerned(step))
    return frozenset(found)


def in_usual_order(names: AbstractSet[str]) -> tuple[str, ...]:
    """Names of aspects in the usual order; names that this version does not know come last."""
    order = {n: at for at, n in enumerate(n for w in ASPECTS for n in (w, w + IN_REVERSE))}
    return tuple(sorted(names, key=lambda name: (order.get(without_tape(name), len(order)), name)))


def quantities(step: StepBase) -> tuple[str, ...]:
    """The quantities that a step measures."""
    if isinstance(step, Reference | RecordReplay):
        return tuple(step.targets)
    quantity = getattr(step, "quantity", "")
    return (quantity,) if quantity else ()
