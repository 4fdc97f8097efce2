"""Checks that steps and sheets fit together."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from bench.figures import hertz
from bench.measure.catalogue import QUANTITIES, UNITS
from bench.procedure.load.file_problems import Mistake, did_you_mean, quoted
from bench.procedure.model.job import JobStep
from bench.procedure.model.judged_tone import judged_hz
from bench.procedure.model.sheets import Machine, ReferenceTape, Tape
from bench.procedure.model.steps import Adjust, Entry, Judged, Measure, Measuring, Purpose, RecordReplay, Reference
from bench.procedure.model.targets import Target
from bench.words.figures import tape_speed

SERVES: dict[Judged, tuple[Purpose, ...]] = {
    "level": ("level",),
    "balance": ("level",),
    "response": ("response",),
    "azimuth_delay": ("azimuth",),
    "azimuth_angle": ("azimuth",),
    "speed_error": ("speed",),
}
"""Purposes of the sections of a reference tape that give each quantity."""

COARSE_AZIMUTH_HZ = 3150.0
"""Highest frequency at which azimuth is first set: one cycle is 317 µs, nearly 1° on a cassette. A choice."""


def check_with_sheets(
    steps: Sequence[JobStep], machine: Machine | None, tape: Tape | None, reference_tape: ReferenceTape | None
) -> list[Mistake]:
    """Every mistake between steps and sheets; a missing sheet is not checked."""
    out: list[Mistake] = []
    targets: dict[str, Mapping[str, Target]] = {}
    if machine is not None:
        targets["machine"] = machine.all_targets
    if tape is not None:
        targets["tape"] = tape.targets
    if machine is not None and reference_tape is not None:
        out += _same_terms(machine, reference_tape)
    out += _azimuth_steps_up(steps, machine, reference_tape)
    for n, step in enumerate(steps):
        found = [*_targets(step, targets, machine, reference_tape)]
        if reference_tape is not None:
            found += _sections(step, reference_tape)
        if machine is not None:
            found += _machine(step, machine)
        out += [Mistake(("step", n, *w.at), w.message, w.remedy, w.about) for w in found]
    return out


def _same_terms(machine: Machine, tape: ReferenceTape) -> Iterator[Mistake]:
    at = ("reference_tape",)
    if machine.speed_mm_s != tape.speed_mm_s:
        its_speed, own = tape_speed(tape.speed_mm_s), tape_speed(machine.speed_mm_s)
        said = f"the reference tape is for {its_speed}, the machine runs at {own}"
        yield Mistake(at, said, "name a reference tape of the machine's speed")
    if not tracks_fit(machine, tape):
        its, mine = tape.track_format, machine.track_format
        said = f"the reference tape is {its}, and no head of the machine is: its tracks are {mine}"
        yield Mistake(at, said, "name a reference tape of the machine's tracks, or one that is full-track")


def tracks_fit(machine: Machine, tape: ReferenceTape) -> bool:
    """Whether heads can read a tape, as far as is known: the same format, or wider tracks that cover theirs."""
    mine, its = machine.track_format, tape.track_format
    if mine is None or its is None or mine == its:
        return True
    return its == "cassette mono" if mine == "cassette stereo" else its == "full-track" and "cassette" not in mine


def tape_fits(machine: Machine, tape: Tape) -> bool:
    """Whether a machine takes a tape, cassette or reel, as far as is known."""
    return machine.track_format is None or ("cassette" in machine.track_format) == (tape.iec_type != "open reel")


def _azimuth_steps_up(
    steps: Sequence[JobStep], machine: Machine | None, reference_tape: ReferenceTape | None
) -> Iterator[Mistake]:
    """Azimuth must first be set at a low frequency: at a high one a head that is a whole cycle out looks right.

    Common practice, no source.
    """
    near: set[str] = set()
    for n, step in enumerate(steps):
        if not isinstance(step, Adjust) or step.quantity != "azimuth_delay":
            continue
        hz = judged_hz(step, machine, reference_tape)
        if hz is not None and hz > COARSE_AZIMUTH_HZ and not near & set(step.trimmers.values()):
            said = f"azimuth is set at {hertz(hz)} at once, where a whole cycle out looks right"
            remedy = f"put a step with the same trimmer at {hertz(COARSE_AZIMUTH_HZ)} or lower before it"
            at = ("step", n, "plays" if step.plays else "sends")
            yield Mistake(at, said, remedy, ("plays", "sends", "trimmers"))
        near |= set(step.trimmers.values())


def _targets(
    step: JobStep,
    sheets: Mapping[str, Mapping[str, Target]],
    machine: Machine | None,
    reference_tape: ReferenceTape | None,
) -> Iterator[Mistake]:
    match step:
        case Reference():
            for quantity, name in step.targets.items():
                at = ("targets", quantity)
                heard = []
                if reference_tape is not None:
                    heard = [
                        s.hz
                        for s in reference_tape.section
                        if s.purpose in SERVES[quantity] and _wanted(step, s.purpose)
                    ]
                yield from _target(at, name, _unit(quantity, from_tape=True), heard, sheets)
        case RecordReplay():
            for sent, name in step.targets.items():
                heard = [step.reference_hz] if sent == "record_replay_level" else [t.hz for t in step.sends]
                yield from _target(("targets", sent), name, QUANTITIES[sent].unit, heard, sheets)
        case Adjust() | Measure() if step.target is not None:
            unit = _unit(step.quantity, from_tape=step.plays is not None)
            hz = judged_hz(step, machine, reference_tape)
            yield from _target(("target",), step.target, unit, [] if hz is None else [hz], sheets)
            if isinstance(step, Measure) and step.returns_to is not None:
                yield from _two_sided(step.target, sheets, "there is no coming back to a limit", "returns_to")
            elif isinstance(step, Adjust):
                yield from _two_sided(step.target, sheets, "a trimmer is set to a value", "quantity")
                yield from _without_a_tone(step, sheets)
        case Entry() if step.target is not None:
            yield from _target(("target",), step.target, step.unit, [], sheets)
        case _:
            return


def _named(name: str, sheets: Mapping[str, Mapping[str, Target]]) -> Target | None:
    sheet, _, key = name.partition(".")
    return sheets.get(sheet, {}).get(key)


def _two_sided(name: str, sheets: Mapping[str, Mapping[str, Target]], because: str, key: str) -> Iterator[Mistake]:
    """An adjustment, or a step with `returns_to`, needs a two-sided tolerance."""
    target = _named(name, sheets)
    if target is not None and (target.at_least is not None or target.at_most is not None):
        said = f"{quoted(name)} is a limit on one side, and {because}"
        yield Mistake(("target",), said, "name a target with a tolerance", ("target", key))


def _without_a_tone(step: Adjust, sheets: Mapping[str, Mapping[str, Target]]) -> Iterator[Mistake]:
    """Programme has no frequency, so tolerances by frequency do not apply to it."""
    target = _named(step.target, sheets)
    if step.programme and target is not None and target.bands and target.tolerance is None:
        said = f"{quoted(step.target)} gives tolerances for tones only, and programme has none"
        yield Mistake(("target",), said, "name a target with one tolerance", ("target", "programme"))


def _unit(quantity: str, *, from_tape: bool) -> str:
    """Unit that a target must have. A level from the reference tape is judged by its deviation."""
    unit = QUANTITIES[quantity].unit
    return UNITS[unit].of_a_difference or unit if from_tape else unit


def _wanted(step: Reference, purpose: Purpose) -> bool:
    return not step.purposes or purpose in step.purposes


def _target(
    at: tuple[str | int, ...],
    name: str,
    unit: str,
    heard: Sequence[float],
    sheets: Mapping[str, Mapping[str, Target]],
) -> Iterator[Mistake]:
    """Check one target: it exists, has the right unit, and a tolerance at every frequency."""
    sheet, _, key = name.partition(".")
    if sheet not in sheets:
        return
    target = sheets[sheet].get(key)
    if target is None:
        yield Mistake(
            at, f"the {sheet} sheet has no target {quoted(key)}", did_you_mean(key, sheets[sheet]), ("target",)
        )
        return
    if target.unit != unit:
        said = f"{quoted(name)} is in {quoted(target.unit)}, what is judged here is in {quoted(unit)}"
        yield Mistake(at, said, f"name a target in {unit}", ("target", "targets", "quantity", "unit"))
        return
    if target.at_least is not None or target.at_most is not None:
        return  # a one-sided limit applies at every frequency
    silent = [hz for hz in heard if target.tolerance_at(hz) is None]
    if silent:
        said = f"{quoted(name)} gives no tolerance at {', '.join(f'{hz:g}' for hz in silent)} Hz"
        yield Mistake(at, said, "give the target a band there, or leave the tone out", ("target", "targets", "sends"))


def _sections(step: JobStep, tape: ReferenceTape) -> Iterator[Mistake]:
    if isinstance(step, Reference):
        there = {s.purpose for s in tape.section if _wanted(step, s.purpose)}
        for purpose in step.purposes:
            if purpose not in {s.purpose for s in tape.section}:
                yield Mistake(
                    ("purposes",), f"the reference tape has no {purpose} section", "take it out", ("purposes",)
                )
                return
        for quantity in step.targets:
            if not there & set(SERVES[quantity]):
                said = f"no section that is played gives {quantity}"
                remedy = f"play a section for {SERVES[quantity][0]}, or take the target out"
                yield Mistake(("targets", quantity), said, remedy, ("purposes",))
        return
    if not isinstance(step, Adjust | Measure) or step.plays is None:
        return
    section = next((s for s in tape.section if s.id == step.plays), None)
    if section is None:
        said = f"the reference tape has no section {quoted(step.plays)}"
        yield Mistake(("plays",), said, did_you_mean(step.plays, (s.id for s in tape.section)), ("plays",))
    elif step.frequency is not None and step.frequency != section.hz:
        said = f"{hertz(step.frequency)} is not what section {quoted(section.id)} holds ({hertz(section.hz)})"
        yield Mistake(("frequency",), said, "take the frequency out", ("frequency", "plays"))


def _machine(step: JobStep, machine: Machine) -> Iterator[Mistake]:
    yield from _switches(step, machine)
    sent = isinstance(step, RecordReplay) or (isinstance(step, Adjust | Measure) and bool(step.sends))
    if isinstance(step, Adjust):
        for key in ("trimmers", "trimmers_reverse") if machine.auto_reverse else ("trimmers",):
            for channel, trimmer in getattr(step, key).items():
                if trimmer not in machine.trimmers:
                    said = f"the machine has no trimmer {quoted(trimmer)}"
                    yield Mistake((key, channel), said, did_you_mean(trimmer, machine.trimmers), (key,))
        if sent and machine.heads == 2 and step.via == "live" and step.quantity != "source_level":
            said = "the machine has two heads and cannot replay while it records"
            yield Mistake(("via",), said, 'write `via = "rounds"` or `via = "ladder"`', ("via", "sends"))
            return
    if not sent or machine.heads == 3:
        return
    if isinstance(step, RecordReplay):
        judges = "azimuth_delay" in step.targets
    else:
        judges = isinstance(step, Adjust | Measure) and step.quantity.startswith("azimuth_")
    if judges:
        said = "with two heads a machine always agrees with the azimuth of its own recording"
        at = ("targets", "azimuth_delay") if isinstance(step, RecordReplay) else ("quantity",)
        yield Mistake(at, said, "judge azimuth from the reference tape", ("targets", "quantity", "sends"))


def _switches(step: JobStep, machine: Machine) -> Iterator[Mistake]:
    """Check that the machine can do what a step asks for."""
    if isinstance(step, Measuring) and step.noise_reduction != "off" and not machine.noise_reduction:
        remedy = "write `applies_to = { noise_reduction = true }`, or name a machine whose sheet has noise_reduction"
        yield Mistake(("noise_reduction",), "the machine has no noise reduction", remedy, ("noise_reduction",))
    if step.direction == "reverse" and not machine.auto_reverse:
        remedy = "write `applies_to = { auto_reverse = true }`, or name a machine whose sheet has it"
        yield Mistake(("direction",), "the machine runs forward only", remedy, ("direction",))
