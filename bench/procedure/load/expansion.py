"""Expands the steps of a procedure: followed procedures, both directions, and which steps apply."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from bench.procedure.model.job import InapplicableStep, JobStep, NamedSteps, TapeSetting
from bench.procedure.model.sheets import Machine, Tape
from bench.procedure.model.steps import (
    Adjust,
    AnyStep,
    AppliesTo,
    ByHand,
    Decision,
    Direction,
    Entry,
    Follow,
    Measure,
    Measuring,
    Question,
    takes_reference_tape,
)
from bench.words.figures import tape_speed

DIRECTIONS: tuple[Direction, ...] = ("forward", "reverse")

P = TypeVar("P", bound=AnyStep)


@dataclass(frozen=True, slots=True)
class PlacedStep:
    """A step at its place in the job, and the step of the procedure that it comes from."""

    step: JobStep | Follow
    """A `follow` step only where it does not apply; it then stands for all its steps."""
    index: int
    """Index of the step of the procedure itself, from 0."""
    names: tuple[str, ...]
    """Names that other steps may use for it: its id, its id without direction, the id of its `follow` step."""
    why_not: str = ""
    """Why it does not apply; "" when it does."""
    lacks_tape: bool = False
    """Whether that is because no reference tape here serves it."""


def why_not_applicable(applies_to: AppliesTo | None, machine: Machine | None, tape: Tape | None) -> str:
    """Why a step does not apply; "" when it does. A missing sheet decides nothing."""
    wanted = applies_to
    if wanted is None:
        return ""
    if wanted.tape_type and tape is not None and tape.iec_type not in wanted.tape_type:
        formats = dict.fromkeys("open reel" if t == "open reel" else "cassette" for t in wanted.tape_type)
        if tape.tape_format not in formats:
            return f"{_or(formats)} only; this is {'a cassette' if tape.tape_format == 'cassette' else 'open reel'}"
        return f"{_or(_type_words(t) for t in wanted.tape_type)} only; this tape is {_type_words(tape.iec_type)}"
    if tape is not None:
        lacking = [t for t in wanted.tape_has if t not in tape.targets]
        having = [t for t in wanted.tape_lacks if t in tape.targets]
        if lacking or having:
            return f"for tapes {'with' if lacking else 'without'} {(lacking or having)[0]} in their sheet"
    if machine is None:
        return ""
    if wanted.heads and machine.heads not in wanted.heads:
        return f"for {_or(wanted.heads)} heads; this machine has {machine.heads}"
    if wanted.speed_mm_s and machine.speed_mm_s not in wanted.speed_mm_s:
        own = tape_speed(machine.speed_mm_s)
        return f"for {_or(tape_speed(v) for v in wanted.speed_mm_s)}; this machine runs at {own}"
    bass = max(machine.equalisation_us) if all(machine.equalisation_us) else 0.0
    if wanted.bass_equalisation_us and bass not in wanted.bass_equalisation_us:
        kinds = _or(_bass(v) for v in wanted.bass_equalisation_us)
        return f"for equalisation {kinds}; this machine has it {_bass(bass)}"
    missing = [t for t in wanted.trimmers if t not in machine.trimmers]
    if missing:
        return f"the machine has no trimmer {missing[0]}"
    facts = (
        (wanted.auto_reverse, machine.auto_reverse, "auto-reverse"),
        (wanted.noise_reduction, bool(machine.noise_reduction), "noise reduction"),
        (wanted.separate_bias, {"bias left", "bias right"} <= set(machine.trimmers), "a bias trimmer for each channel"),
        (wanted.test_point, machine.output_test_point is not None, "a test point for replay level in its sheet"),
        (wanted.meters, machine.meters is not None, "meters in its sheet"),
        (
            wanted.current_test_points,
            machine.erase_test_point is not None and machine.bias_test_point is not None,
            "test points of erase and bias current in its sheet",
        ),
        (wanted.encoder_test_point, machine.encoder_test_point is not None, "a test point of the encoder in its sheet"),
        (wanted.decoder_test_point, machine.decoder_test_point is not None, "a test point of the decoder in its sheet"),
    )
    for asked, has, name in facts:
        if asked is not None and asked != has:
            return f"for machines {'with' if asked else 'without'} {name}"
    return ""


def _bass(us: float) -> str:
    return f"with {us:g} µs in the bass" if us else "without a time constant in the bass"


def _or(values: Any) -> str:
    return " or ".join(str(v) for v in values)


def _type_words(iec_type: str) -> str:
    return iec_type if iec_type == "open reel" else f"type {iec_type}"


def in_each_direction(step: P, machine: Machine | None) -> tuple[P, ...]:
    """The step, or one for each direction where it asks for that on an auto-reverse machine."""
    if not step.each_direction or machine is None or not machine.auto_reverse:
        return (step,)
    out = []
    for direction in DIRECTIONS:
        changes: dict[str, Any] = {"id": f"{step.id}-{direction}", "each_direction": False}
        out.append(step.model_copy(update=changes | _running(step, direction)))
    return tuple(out)


def for_each_tape(step: P, lots: Sequence[str]) -> tuple[P, ...]:
    """The step, or one for each tape of the job where it asks for that.

    Args:
        step: the step.
        lots: lots of the tapes, including that of the first one.
    """
    if not step.each_tape:
        return (step,)
    return (step, *(step.model_copy(update={"id": f"{step.id}-{lot}", **_of_lot(step, lot)}) for lot in lots[1:]))


def _of_lot(step: AnyStep, lot: str) -> dict[str, Any]:
    """Changed keys of a step for one of several tapes."""
    return {"title": f"{step.title}, {lot}", "lot": lot}


def at_settings(placed: Sequence[PlacedStep], settings: Sequence[TapeSetting]) -> Iterator[PlacedStep]:
    """Give adjustments the trimmers of their settings, and drop what another tape has already set or read.

    Meters, erase and the references of encoder and decoder do not change with the tape; bias does. A reference tape is
    played once at each speed and equalisation.
    """
    by_lot = {s.lot: s for s in settings}
    set_for: dict[str, str] = {}
    played: dict[tuple[object, ...], str] = {}
    for placing in placed:
        step = placing.step
        if placing.why_not or step.lot not in by_lot:
            yield placing
            continue
        if isinstance(step, Entry) and step.reads is not None and not step.reads.startswith("bias"):
            first = set_for.setdefault(step.reads, step.lot)
            read = f"{step.reads} was read already at the setting {by_lot[first].setting}"
            yield placing if first == step.lot else replace(placing, why_not=read)
            continue
        here = by_lot[step.lot]
        if not isinstance(step, Adjust):
            heard = (placing.names[-1], here.machine.speed_mm_s, here.machine.equalisation_us)
            again = takes_reference_tape(step) and played.setdefault(heard, step.lot) != step.lot
            said = "the reference tape was played already at this speed and equalisation"
            yield replace(placing, why_not=said) if again else placing
            continue
        changes = {
            key: {channel: here.machine.trimmer(usual) for channel, usual in getattr(step, key).items()}
            for key in ("trimmers", "trimmers_reverse")
        }
        names = changes["trimmers"].values()
        shared = next((name for name in names if set_for.setdefault(name, step.lot) != step.lot), None)
        why_not = ""
        if shared is not None:
            why_not = f"{shared} is shared, and is set already at the setting {by_lot[set_for[shared]].setting}"
        yield replace(placing, step=step.model_copy(update=changes), why_not=why_not)


def for_machine(step: JobStep, machine: Machine | None) -> JobStep:
    """A step as this machine wants it: by its number of heads, and with the sensitivity of its line input."""
    if machine is None:
        return step
    said = [step.three_heads if machine.heads == 3 else step.two_heads, step.do]
    if isinstance(step, Adjust) and step.quantity == "source_level" and machine.line_input_mv:
        mv = f"{machine.line_input_mv:g} mV"
        said.append(f"With the control full up, the line input takes {mv} for reference level.")
    changes: dict[str, Any] = {"do": " ".join(text for text in said if text)}
    if isinstance(step, ByHand) and machine.heads == 3:
        changes["checklist"] = (*step.checklist, *step.checklist_three_heads)
    return step.model_copy(update=changes)


def _running(step: AnyStep, direction: Direction) -> dict[str, Any]:
    """Changed keys of a step for a direction."""
    changes: dict[str, Any] = {"title": f"{step.title}, {direction}", "direction": direction}
    if isinstance(step, Adjust) and direction == "reverse" and step.trimmers_reverse:
        changes["trimmers"] = step.trimmers_reverse
    return changes


def followed_step(step: P, follow: Follow, *, first: bool) -> P:
    """A followed step: its id with its path, and the keys that the `follow` step sets for all its steps."""
    changes: dict[str, Any] = {"id": f"{follow.id}/{step.id}"}
    if follow.stage != "left":
        changes["stage"] = follow.stage
    if follow.lot and not step.lot:
        changes |= _of_lot(step, follow.lot)
    if follow.direction is not None and step.direction is None:
        changes |= _running(step, follow.direction)
    if first and follow.cautions:
        changes["cautions"] = (*follow.cautions, *step.cautions)
    return step.model_copy(update=changes | _references(step, f"{follow.id}/"))


def _references(step: AnyStep, path: str) -> dict[str, Any]:
    """Changed references of a followed step to other steps."""
    changes: dict[str, Any] = {}
    if isinstance(step, Measuring) and step.again_until is not None:
        again = step.again_until
        changes["again_until"] = again.model_copy(update={"back_to": path + again.back_to})
    if isinstance(step, Measure) and step.of:
        changes["of"] = tuple(path + name for name in step.of)
    if isinstance(step, Measure | Adjust):
        for key in ("returns_to", "named_by", "known_by"):
            if getattr(step, key, None) is not None:
                changes[key] = path + getattr(step, key)
    if isinstance(step, Entry) and step.cure_from is not None:
        changes["cure_from"] = path + step.cure_from
    if isinstance(step, Question) and step.predicts is not None:
        asked = step.predicts
        changes["predicts"] = asked.model_copy(update={"step": path + asked.step, "than": path + asked.than})
    if isinstance(step, Decision):
        for key in ("of", "when_in", "when_not"):
            if getattr(step, key) is not None:
                changes[key] = path + getattr(step, key)
        changes["choices"] = tuple(
            c if c.go_to is None else c.model_copy(update={"go_to": path + c.go_to}) for c in step.choices
        )
    return changes


def within_follow(inner: PlacedStep, by: PlacedStep, *, first: bool) -> PlacedStep:
    """A step of a followed file, at its place in the job.

    Args:
        inner: the step in its own file.
        by: the `follow` step.
        first: whether it is the first step of that file.
    """
    assert isinstance(by.step, Follow)
    names = (*by.names, *(f"{mine}/{name}" for mine in by.names for name in inner.names))
    return replace(inner, step=followed_step(inner.step, by.step, first=first), names=names)


def job_steps(
    placed: Sequence[PlacedStep],
) -> tuple[tuple[JobStep, ...], tuple[InapplicableStep, ...], dict[str, NamedSteps]]:
    """The steps that apply, those that do not, and the steps behind each name.

    Where one procedure has a step twice under one title, for cassettes and for open reels, the other is not left out.
    """
    steps: list[JobStep] = []
    inapplicable: list[InapplicableStep] = []
    first: dict[str, int] = {}
    of: dict[str, list[str]] = {}
    for placing in placed:
        for name in placing.names:
            first.setdefault(name, len(steps))
            of.setdefault(name, [])
        if placing.why_not or isinstance(placing.step, Follow):
            left_out = InapplicableStep(placing.step.id, placing.step.title, placing.why_not, placing.lacks_tape)
            inapplicable.append(left_out)
            continue
        for name in placing.names:
            of[name].append(placing.step.id)
        steps.append(placing.step)
    done = {(step.id.rpartition("/")[0], step.title) for step in steps}
    left = tuple(s for s in inapplicable if (s.id.rpartition("/")[0], s.title) not in done)
    return tuple(steps), left, {name: NamedSteps(first[name], tuple(of[name])) for name in first}


def applicable(placed: Sequence[PlacedStep]) -> Iterator[tuple[JobStep, int]]:
    """The steps that apply, with the index of the step of the procedure itself."""
    for placing in placed:
        if not placing.why_not and not isinstance(placing.step, Follow):
            yield placing.step, placing.index
