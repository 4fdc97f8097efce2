"""Builds practice machines from sheets: the only module that knows both."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from bench.clock import Clock
from bench.procedure.model.job import TapeSetting
from bench.procedure.model.sheets import Fault, Machine, ReferenceTape, Section, Tape

if TYPE_CHECKING:
    from bench.audio.practice import PracticePort
    from bench.audio.practice_loopback import LoopbackPort
    from bench.practice.facts import MachineFacts
    from bench.practice.machine import PracticeMachine
    from bench.practice.switched import AnyMachine
    from bench.training.causes import Cause
    from bench.training.truth import Truth


def machine_facts(machine: Machine) -> MachineFacts:
    """A machine sheet as facts for the practice machine."""
    from bench.practice.facts import MachineFacts

    return MachineFacts(
        name=machine.name,
        heads=machine.heads,
        speed_mm_s=machine.speed_mm_s,
        track_spacing_mm=machine.track_spacing_mm,
        equalisation_us=machine.equalisation_us,
        fluxivity=machine.reference.fluxivity,
        replay_dbfs=machine.reference.replay_dbfs,
        send_dbfs=machine.reference.send_dbfs,
        noise_reduction=machine.noise_reduction[0] if machine.noise_reduction else "none",
        encoder_mv=machine.encoder_test_point.mv if machine.encoder_test_point else 0.0,
        decoder_mv=machine.decoder_test_point.mv if machine.decoder_test_point else 0.0,
        erase_mv=machine.erase_test_point.mv if machine.erase_test_point else 0.0,
        bias_mv=machine.bias_test_point.mv if machine.bias_test_point else 0.0,
        meter_zero_db=machine.meters.zero_db if machine.meters else 0.0,
        practice=machine.practice | ({"auto_reverse": True} if machine.auto_reverse else {}),
        setting=machine.setting[0].name if machine.setting else "",
        own_trimmers=machine.setting[0].own_trimmers if machine.setting else (),
    )


def build_practice_machine(
    machine: Machine,
    tape: Tape,
    reference: ReferenceTape,
    *,
    seed: int,
    faults: Sequence[Fault] = (),
    misadjustment: float = 1.0,
    other_tapes: Sequence[Tape] = (),
) -> PracticeMachine:
    """The practice machine that these sheets describe. Raises `Problem` for a wrong `[practice]` table."""
    from bench.practice import facts
    from bench.practice.machine import PracticeMachine
    from bench.tape.fluxivity import Fluxivity

    return PracticeMachine(
        machine_facts(machine),
        facts.TapeFacts(tape.name, tape.iec_type, tape.practice),
        facts.ReferenceFacts(
            name=reference.name,
            speed_mm_s=reference.speed_mm_s,
            fluxivity=Fluxivity(reference.fluxivity_nwb_m, reference.fluxivity_method),
            equalisation_us=reference.equalisation_us,
            sections=tuple(
                facts.SectionFacts(
                    s.id, s.purpose, s.hz, s.db + _added_db(machine, reference, s), s.seconds, s.recorded_error_db
                )
                for s in reference.section
            ),
        ),
        seed=seed,
        faults=[facts.FaultFacts(f.name, f.practice, f.mended_by) for f in faults],
        misadjustment=misadjustment,
        other_tapes=[facts.TapeFacts(t.name, t.iec_type, t.practice) for t in other_tapes],
    )


def _added_db(machine: Machine, tape: ReferenceTape, section: Section) -> float:
    """What adds to the level of a section in its sheet: its own flux, and the fringing on a narrower head."""
    from bench.tape.fluxivity import Fluxivity, convert_method, ratio_db
    from bench.tape.losses import fringing_rise_db

    flux, _ = convert_method(tape.flux_of(section), tape.fluxivity_method)
    db = ratio_db(flux, Fluxivity(tape.fluxivity_nwb_m, tape.fluxivity_method))
    if tape.track_format == "full-track" and machine.track_format not in (None, "full-track"):
        width = float(machine.practice.get("track_width_mm", 2.0))
        db += float(fringing_rise_db(section.hz, machine.speed_mm_s, width))
    return db


def build_practice_port(
    machine: Machine,
    tape: Tape,
    reference: ReferenceTape,
    *,
    seed: int,
    faults: Sequence[Fault] = (),
    misadjustment: float = 1.0,
    other_tapes: Sequence[Tape] = (),
    further: Sequence[TapeSetting] = (),
    clock: Clock,
    real_time: bool,
) -> PracticePort:
    """A port in front of that practice machine.

    Args:
        machine: the recorder's sheet.
        tape: the sheet of the tape in use.
        reference: the reference tape's sheet.
        seed: random seed of misadjustments, trimmers and noise.
        faults: its faults.
        misadjustment: 1 for trimmers out by up to 6 dB, 0 for none.
        other_tapes: tapes that can be loaded instead.
        further: the further tapes that the machine is lined up for, each with the machine at its setting.
        clock: the clock of the run.
        real_time: True for sound in real time, False for sound as fast as it is read.

    Raises:
        Problem: a `[practice]` table is wrong.
    """
    from bench.audio.practice import PracticePort
    from bench.practice.switched import SwitchedMachine

    built = build_practice_machine(
        machine, tape, reference, seed=seed, faults=faults, misadjustment=misadjustment, other_tapes=other_tapes
    )
    if not machine.setting:
        return PracticePort(built, clock, real_time=real_time)
    settings = [(machine_facts(machine), built)]
    for one in further:
        sheets = one.machine, one.tape, one.reference_tape
        at = build_practice_machine(*sheets, seed=seed, faults=faults, misadjustment=misadjustment)
        settings.append((machine_facts(one.machine), at))
    return PracticePort(SwitchedMachine(settings), clock, real_time=real_time)


def build_practice_loopback(*, seed: int, faults: Sequence[Fault] = (), clock: Clock, real_time: bool) -> LoopbackPort:
    """A port in front of a simulated loopback, for jobs that measure the interface.

    Args:
        seed: random seed of its noise.
        faults: its faults.
        clock: the clock of the run.
        real_time: True for sound in real time, False for sound as fast as it is read.

    Raises:
        Problem: a fault of a machine, not of an interface.
    """
    from bench.audio.practice_loopback import LoopbackPort
    from bench.practice.loopback import PracticeLoopback, loopback_facts

    facts = loopback_facts([(f.name, f.practice) for f in faults])
    return LoopbackPort(PracticeLoopback(facts, seed=seed), clock, real_time=real_time)


def check_practice_table(kind: str, table: Mapping[str, Any], *, of_interface: bool = False) -> None:
    """Check the figures for the practice machine in a sheet.

    Args:
        kind: kind of sheet: machine, tape or fault.
        table: its `[practice]` table.
        of_interface: whether it is a fault of an interface.

    Raises:
        Problem: a key or a value is unknown.
    """
    from bench.practice.loopback import loopback_facts
    from bench.practice.physics import MachinePhysics, TapePhysics, with_values

    if of_interface:
        loopback_facts([("the sheet", table)])
    elif kind in ("machine", "fault"):
        with_values(MachinePhysics(), table, "the sheet")
    elif kind == "tape":
        with_values(TapePhysics(), table, "the sheet")


def with_clean_heads(machine: Machine) -> Machine:
    """The sheet of the same machine with clean heads."""
    from bench.practice.physics import DIRT

    clean = {key: value for key, value in machine.practice.items() if key not in DIRT}
    return machine.model_copy(update={"practice": clean})


def causes_of(machine: Machine, faults: Sequence[Fault]) -> tuple[Cause, ...]:
    """Named causes of what is wrong with a machine: the fault sheets, and each kind of trimmer out of adjustment."""
    from bench.practice.trimmers import KNOBS, trimmers_of
    from bench.training.causes import Cause, out_of_adjustment, trimmer_kind

    causes = {f.name: Cause(f.name, f.tells, f.practice, f.mended_by) for f in faults}
    for trimmer, (_, key) in trimmers_of(machine.heads).items():
        if trimmer not in machine.trimmers and trimmer not in KNOBS:
            continue
        kind = trimmer_kind(trimmer)
        name = out_of_adjustment(kind)
        known = causes.get(name)
        figures = {**(known.figures if known else {}), key: known.figures.get(key, 0.0) if known else 0.0}
        tells = known.tells if known else f"What the {kind} trimmer sets is out, and the trimmer brings it in."
        causes[name] = Cause(name, tells, figures)
    return tuple(causes[name] for name in sorted(causes))


def truth_about(machine: AnyMachine, sheet: Machine, faults: Sequence[Fault], known: Sequence[Cause]) -> Truth:
    """The true state of a practice machine now.

    Args:
        machine: built from the sheet with these faults.
        sheet: its sheet.
        faults: its faults.
        known: all causes that can be named, for the name of its dirt.
    """
    from bench.practice.physics import DIRT
    from bench.practice.trimmers import KNOBS, trimmers_of
    from bench.training.causes import Cause
    from bench.training.truth import HiddenCause, TrimmerTruth, Truth

    off = machine.truth()
    keys = {name: key for name, (_, key) in trimmers_of(sheet.heads).items()}
    trimmers = tuple(
        TrimmerTruth(name, error, _unit(name), keys.get(name, ""))
        for name, error in off.items()
        if name in sheet.trimmers or name in KNOBS
    )
    sets = {key: name for name, key in keys.items()}
    hidden = []
    for fault in faults:
        corrected_by = tuple(sets[figure] for figure in fault.practice if figure in sets)
        present = fault.name in machine.remaining_faults
        cause = Cause(fault.name, fault.tells, fault.practice, fault.mended_by)
        hidden.append(HiddenCause(cause, corrected_by, present))
    for head in ("replay", "record"):
        figures = {key: sheet.practice[key] for key in DIRT if key.startswith(head) and sheet.practice.get(key)}
        if figures and not any(set(figures) & set(h.cause.figures) for h in hidden):
            named = max(known, key=lambda c: len(set(figures) & set(c.figures)))
            cause = Cause(named.name, named.tells, figures, ("clean",))
            hidden.append(HiddenCause(cause, (), not set(figures).isdisjoint(machine.dirt)))
    return Truth(trimmers, tuple(hidden))


def _unit(trimmer: str) -> str:
    return "arcmin" if "azimuth" in trimmer else "%" if trimmer == "speed" else "dB"
