"""`tapebench exercise`: a practice machine with something hidden in it, and a debrief at the end."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

from bench.clock import RealClock
from bench.commands.run_options import add_sheets, narrate, run_and_report, run_as_text, run_request
from bench.open_run import open_run
from bench.problem import Problem
from bench.procedure.load.library import Library
from bench.procedure.load.reader import load_sheet
from bench.procedure.model.sheets import Exercise
from bench.workspace import Workspace, find_workspace

USUAL_FAULTS = 2


def add(parser: argparse.ArgumentParser) -> None:
    """The options."""
    add_sheets(parser)
    parser.add_argument(
        "--faults",
        type=int,
        metavar="N",
        help=f"number of faults to draw (default {USUAL_FAULTS}, or none in addition to those of --fault)",
    )
    parser.add_argument("--fault", action="append", default=[], metavar="SHEET", help="a fault that the machine has")
    parser.add_argument("--dirty", action="store_true", help="the heads are dirty; otherwise they are clean")
    parser.add_argument(
        "--out-of-adjustment",
        action="store_true",
        help="the trimmers are out of adjustment; otherwise they are within tolerance",
    )
    parser.add_argument(
        "--seed", type=int, metavar="K", help="number of the machine, the same for a whole class (default 1)"
    )
    parser.add_argument("--trainee", default="", metavar="NAME", help="name of the trainee, for the debrief")
    parser.add_argument("--plain", action="store_true", help="lines of text instead of the full screen")


def run(args: argparse.Namespace) -> int:
    """Open the exercise on the screen or as text; its debrief goes into the session and the report."""
    workspace = find_workspace(args.workspace)
    sheet = _prepared(args, workspace) or _drawn(args)
    request = replace(run_request(args, "practice"), seed=sheet.seed, exercise=sheet, trainee=args.trainee.strip())
    if not args.plain and sys.stdin.isatty() and sys.stdout.isatty():
        from bench.tui.start import start_run

        return start_run(workspace, request)
    opened = open_run(workspace, request, RealClock(), real_time=True, say=narrate)
    return run_and_report(opened, lambda: run_as_text(opened))


def _prepared(args: argparse.Namespace, workspace: Workspace) -> Exercise | None:
    """The exercise file, given by name or path; None where a procedure is given."""
    named = {s.name: s.path for s in Library(workspace).sheets("exercise")}.get(args.procedure)
    path = named or (Path(args.procedure) if Path(args.procedure).parent.name == "exercises" else None)
    if path is None or not path.exists():
        return None
    asked = [f"--{name.replace('_', '-')}" for name in (*_SHEETS, "faults", *_HIDDEN) if getattr(args, name)]
    if asked:
        raise Problem(f"{path} says that already; leave {', '.join(asked)} out, or name its procedure")
    sheet = load_sheet(path, "exercise")
    return sheet if args.seed is None else sheet.model_copy(update={"seed": args.seed})


_SHEETS = ("machine", "tape", "reference_tape")
_HIDDEN = ("fault", "dirty", "out_of_adjustment")


def _drawn(args: argparse.Namespace) -> Exercise:
    """The exercise that the options describe."""
    for option in ("tape", "reference_tape"):
        if len(getattr(args, option) or ()) > 1:
            raise Problem(f"an exercise is on one tape: give --{option.replace('_', '-')} once")
    hides = any(getattr(args, name) for name in _HIDDEN)
    drawn = args.faults if args.faults is not None else 0 if hides else USUAL_FAULTS
    if not 0 <= drawn <= 10:
        raise Problem(f"--faults {drawn}: choose from 0 to 10")
    if args.seed is not None and args.seed < 0:
        raise Problem(f"--seed {args.seed}: choose 0 or more")
    return Exercise(
        format=1,
        sheet="exercise",
        name=f"{args.procedure} {args.seed or 1}",
        procedure=args.procedure,
        machine=args.machine,
        tape=args.tape and args.tape[0],
        reference_tape=args.reference_tape and args.reference_tape[0],
        seed=1 if args.seed is None else args.seed,
        faults=tuple(Path(f).stem for f in args.fault),
        draws=drawn,
        dirty=args.dirty,
        out_of_adjustment=args.out_of_adjustment,
    )
