"""The path of music for `listen`: a practice machine with faults, or level and response errors."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, TypeVar

from bench.commands.tracking import session_errors, typed_errors
from bench.figures import hertz
from bench.problem import Problem
from bench.words.figures import decibels, tape_speed

if TYPE_CHECKING:
    from bench.practice.machine import PracticeMachine
    from bench.practice.music_replay import SignalPath
    from bench.procedure.load.library import Library
    from bench.procedure.model.sheets import Machine, ReferenceTape, Tape

T = TypeVar("T")


def add_machine_options(parser: argparse.ArgumentParser) -> None:
    """The options of a practice machine."""
    parser.add_argument("--fault", action="append", default=[], metavar="SHEET", help="a practice machine's fault")
    parser.add_argument("--machine", metavar="SHEET", help="which practice machine, right but for its faults")
    parser.add_argument("--tape", metavar="SHEET", help="what it records on")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="draws its noise and dropouts (1)")


def chosen_path(args: argparse.Namespace) -> tuple[SignalPath, str, tuple[float, float]]:
    """The path of the music, its description, and the gain errors of its encoder and decoder as in `replay_music`."""
    from bench.practice.music_replay import path_with_errors

    typed = args.level_error is not None or args.treble_error is not None
    given = [name for name, is_given in (("--session", args.session), ("--fault", args.fault)) if is_given]
    given += ["--level-error or --treble-error"] if typed else []
    if len(given) != 1:
        they = f"not {' and '.join(given)}" if given else "none was given"
        raise Problem(f"choose what it goes through: --session, --fault, or --level-error and --treble-error; {they}")
    if not args.fault and (args.machine or args.tape):
        raise Problem("--machine and --tape go with --fault; a session and an error need none")
    if args.fault:
        return _practice_machine(args)
    if args.session is not None:
        description = "a machine with the level and treble that the session measured"
        return path_with_errors(session_errors(args)), description, (0.0, 0.0)
    errors = typed_errors(args)
    treble = ", ".join(f"{decibels(db)} at {hertz(hz)}" for hz, db in errors.treble)
    description = f"a level error of {decibels(errors.level_db)}" + (
        f" and a treble error of {treble}" if treble else ""
    )
    return path_with_errors([errors]), description, (0.0, 0.0)


def _practice_machine(args: argparse.Namespace) -> tuple[SignalPath, str, tuple[float, float]]:
    """A practice machine that is clean and correct except for its faults."""
    from bench.practice import kernels
    from bench.practice.facts import FaultFacts
    from bench.practice.music_replay import path_through_machine
    from bench.practice.physics import DIRT, MachineCondition
    from bench.practice_setup import build_practice_machine, machine_facts
    from bench.procedure.load.library import Library
    from bench.workspace import find_workspace

    library = Library(find_workspace(args.workspace))
    machine, tape, reference = _sheets(library, args.machine, args.tape)
    faults = [library.fault(f) for f in args.fault]
    clean = {k: v for k, v in machine.practice.items() if k not in DIRT}
    machine = machine.model_copy(update={"practice": clean})
    kernels.warm()

    def make() -> PracticeMachine:
        return build_practice_machine(machine, tape, reference, seed=args.seed, faults=faults, misadjustment=0.0)

    description = f"{machine.name} on {tape.name} with " + " and ".join(f.name.lower() for f in faults)
    facts = machine_facts(machine)
    physics = MachineCondition(facts, tuple(FaultFacts(f.name, f.practice) for f in faults)).physics
    sides = (physics.encoder_side_db, physics.decoder_side_db)
    return path_through_machine(make, facts, tape.iec_type), description, sides


def _sheets(library: Library, machine: str | None, tape: str | None) -> tuple[Machine, Tape, ReferenceTape]:
    """The machine, a tape (by default of the type that it is switched to), and a reference tape for it."""
    from bench.procedure.load.assemble import USUAL
    from bench.procedure.load.reader import load_sheet

    of_machine = load_sheet(library.sheet_path(machine or USUAL["machine"], "machine"), "machine")
    if tape is not None:
        of_tape = load_sheet(library.sheet_path(tape, "tape"), "tape")
    else:
        kind = of_machine.practice.get("tape_selector", "I")
        tapes = [load_sheet(s.path, "tape") for s in library.sheets("tape") if not s.broken]
        of_tape = _first(tapes, lambda t: t.iec_type == kind, f"no tape sheet of type {kind}; name one with --tape")
    references = [load_sheet(s.path, "reference-tape") for s in library.sheets("reference-tape") if not s.broken]
    speed = of_machine.speed_mm_s
    reference = _first(
        references,
        lambda r: abs(r.speed_mm_s / speed - 1) < 0.005,
        f"no reference-tape sheet for {tape_speed(speed)}, which the practice machine is aligned with",
    )
    return of_machine, of_tape, reference


def _first(sheets: Sequence[T], fits: Callable[[T], bool], otherwise: str) -> T:
    match = next((s for s in sheets if fits(s)), None)
    if match is None:
        raise Problem(otherwise)
    return match
