"""`tapebench exercise`: a practice machine with hidden faults, and a debrief at the end."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace

from bench.clock import RealClock
from bench.commands.run_options import add_sheets, narrate, run_and_report, run_as_text, run_request
from bench.open_run import open_run
from bench.problem import Problem
from bench.workspace import find_workspace

USUAL_FAULTS = 2


def add(parser: argparse.ArgumentParser) -> None:
    """The options."""
    add_sheets(parser)
    parser.add_argument(
        "--faults",
        type=int,
        metavar="N",
        help=f"how many faults are drawn (default {USUAL_FAULTS}, or none beside those of --fault)",
    )
    parser.add_argument("--fault", action="append", default=[], metavar="SHEET", help="a fault that it has in any case")
    parser.add_argument(
        "--seed", type=int, default=1, metavar="K", help="which machine and faults, the same for a class (default 1)"
    )
    parser.add_argument("--trainee", default="", metavar="NAME", help="whose exercise it is, for the debrief")
    parser.add_argument("--plain", action="store_true", help="lines of text instead of the full screen")


def run(args: argparse.Namespace) -> int:
    """Open the exercise on the screen or as text; its debrief is kept in the session and its report."""
    drawn = args.faults if args.faults is not None else 0 if args.fault else USUAL_FAULTS
    if not 0 <= drawn <= 10:
        raise Problem(f"--faults {drawn}: choose from 0 to 10")
    workspace = find_workspace(args.workspace)
    asked = replace(run_request(args, "practice"), exercise=drawn, trainee=args.trainee.strip())
    if not args.plain and sys.stdin.isatty() and sys.stdout.isatty():
        from bench.tui.start import start_run

        return start_run(workspace, asked)
    opened = open_run(workspace, asked, RealClock(), real_time=True, say=narrate)
    return run_and_report(opened, lambda: run_as_text(opened))
