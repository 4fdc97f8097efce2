"""What `run` and `rehearse` share: their options, the report at the end, and how the end is told."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from bench.open_run import Opened, Wanted
from bench.problem import Problem
from bench.procedure.state.outcome import last_attempts
from bench.procedure.state.snapshot import Outcome


def add_sheets(parser: argparse.ArgumentParser) -> None:
    """The procedure and what it is done with."""
    parser.add_argument("procedure", metavar="PROCEDURE", help="its name, or its file")
    parser.add_argument("--machine", metavar="SHEET", help="machine sheet")
    parser.add_argument("--tape", metavar="SHEET", help="sheet of the work tape")
    parser.add_argument("--reference-tape", metavar="SHEET", help="sheet of the reference tape")
    parser.add_argument("--interface", metavar="SHEET", help="sheet of the interface (default: the device's last one)")
    parser.add_argument("--evidence", action="store_true", help="keep the sound behind readings with the session")


def wanted(args: argparse.Namespace, *, port: str) -> Wanted:
    """The options as what is asked for."""
    return Wanted(
        procedure=args.procedure,
        machine=args.machine,
        tape=args.tape,
        reference_tape=args.reference_tape,
        interface=args.interface,
        port=port,
        faults=tuple(args.fault),
        seed=args.seed,
        evidence=args.evidence,
    )


def narrate(line: str) -> None:
    """A line on stderr, at once."""
    print(line, file=sys.stderr, flush=True)


def conclude(opened: Opened) -> Path:
    """Close the session and write its report, whatever happened before."""
    from bench.session.report.report import write_report  # only now: it brings matplotlib along

    rescued = opened.end()
    if rescued:
        narrate(rescued)
    try:
        write_report(opened.store.folder)
    except Problem as problem:
        narrate(problem.sentence)
    return opened.store.folder


def tell(opened: Opened, outcome: Outcome, *, as_json: bool) -> int:
    """How it ended, on stdout; the exit code."""
    folder = opened.store.folder
    if as_json:
        print(json.dumps(_as_json(opened, outcome, folder), ensure_ascii=False))
        return outcome.exit_code
    for event in opened.store.events():
        if event.kind == "debrief":
            print(event.text)
    counts = ", ".join(f"{n} {word}" for word, n in sorted(outcome.words.items()))
    print(outcome.said)
    if counts:
        print(f"judged readings: {counts}")
    print(f"session: {folder}")
    return outcome.exit_code


def _as_json(opened: Opened, outcome: Outcome, folder: Path) -> dict[str, object]:
    readings = []
    for record in last_attempts(opened.store.records()):
        verdict = record.verdict
        readings.append(
            {
                "id": record.id,
                "step": record.step,
                "stage": record.stage,
                "judged": record.judged,
                **record.reading.as_json(),
                "verdict": verdict.word if verdict else None,
                "target": verdict.target if verdict else None,
                "tolerance": verdict.tolerance if verdict else None,
            }
        )
    return {
        "procedure": opened.job.name,
        "session": str(folder),
        "completed": outcome.completed,
        "exit_code": outcome.exit_code,
        "said": outcome.said,
        "verdicts": outcome.words,
        "readings": readings,
        "debrief": [{"about": e.value, "said": e.text} for e in opened.store.events() if e.kind == "debrief"],
    }
