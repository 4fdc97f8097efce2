"""Shared by `run`, `rehearse` and `exercise`: options, plain text, the report, and the outcome."""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from bench.audio.standard_error import stderr_to_file
from bench.diagnosis.answer import Diagnosis
from bench.diagnosis.output.contract import as_json as diagnosis_json
from bench.diagnosis.output.page import first_line
from bench.open_run import OpenRun
from bench.problem import Problem
from bench.procedure.state.outcome import last_attempts
from bench.procedure.state.snapshot import Outcome
from bench.run_request import RunRequest
from bench.session.compare.diagnosis import diagnosis_to_show
from bench.session.record.reader import read_session
from bench.session.report.debrief_text import debrief_lines


def add_sheets(parser: argparse.ArgumentParser) -> None:
    """Options for the procedure and its sheets."""
    parser.add_argument("procedure", metavar="PROCEDURE", help="its name, or its file")
    parser.add_argument("--machine", metavar="SHEET", help="machine sheet")
    again = "; give it again for each further tape that the machine is lined up for"
    parser.add_argument("--tape", action="append", metavar="SHEET", help=f"sheet of the tape in use{again}")
    reference = "sheet of the reference tape; give it again for another speed or equalisation"
    parser.add_argument("--reference-tape", action="append", metavar="SHEET", help=reference)
    parser.add_argument("--interface", metavar="SHEET", help="sheet of the interface (default: the device's last one)")
    parser.add_argument("--evidence", action="store_true", help="keep the sound behind readings with the session")


def run_request(args: argparse.Namespace, port: str) -> RunRequest:
    """The run that the options request."""
    tapes, reference_tapes = args.tape or [None], args.reference_tape or [None]
    return RunRequest(
        procedure=args.procedure,
        machine=args.machine,
        tape=tapes[0],
        reference_tape=reference_tapes[0],
        other_tapes=tuple(tapes[1:]),
        other_reference_tapes=tuple(reference_tapes[1:]),
        interface=args.interface,
        port=port,
        faults=tuple(args.fault),
        seed=args.seed,
        evidence=args.evidence,
    )


def narrate(line: str) -> None:
    """Print a line on stderr at once."""
    print(line, file=sys.stderr, flush=True)


def run_as_text(opened: OpenRun, *, learning: bool = False) -> Outcome:
    """Run as lines of text: typed on stdin, printed on stderr."""
    from bench.plain import run_plain

    with tempfile.TemporaryDirectory(prefix="tapebench-") as scratch, stderr_to_file(Path(scratch) / "chatter.txt"):
        return run_plain(opened, sys.stdin, narrate, trainee=learning)


def run_and_report(opened: OpenRun, run: Callable[[], Outcome], *, as_json: bool = False) -> int:
    """Carry out a run, close its session and write its report, however it ends; returns the exit code.

    An exception that ended the run is raised again, with a note of where the accepted readings are.
    """
    try:
        outcome = run()
    except BaseException as why:
        opened.end_after(why)
        if isinstance(why, Problem | KeyboardInterrupt) and not opened.writing:
            _report(opened)
        raise
    said = opened.end()
    if said:
        narrate(said)
    _report(opened)
    return _print_result(opened, outcome, as_json=as_json)


def _report(opened: OpenRun) -> None:
    from bench.session.report.report import write_report  # late, because it imports matplotlib

    try:
        write_report(opened.store.folder)
    except Problem as problem:
        narrate(problem.sentence)


def _print_result(opened: OpenRun, outcome: Outcome, *, as_json: bool) -> int:
    """Print the outcome on stdout; returns the exit code."""
    folder = opened.store.folder
    if as_json:
        print(json.dumps(_as_json(opened, outcome, folder), ensure_ascii=False))
        return outcome.exit_code
    for _, line in debrief_lines(opened.store.events()):
        print(line)
    counts = ", ".join(f"{n} {word}" for word, n in sorted(outcome.words.items()))
    print(outcome.said)
    if counts:
        print(f"judged readings: {counts}")
    found = _diagnosis(folder)
    if found is not None:
        print(f"what is wrong: {first_line(found)}")
    print(f"session: {folder}")
    return outcome.exit_code


def _diagnosis(folder: Path) -> Diagnosis | None:
    """The diagnosis of a session on disk; None where it can't be read, or has too few readings."""
    try:
        return diagnosis_to_show(read_session(folder))
    except Problem:
        return None


def _as_json(opened: OpenRun, outcome: Outcome, folder: Path) -> dict[str, object]:
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
        "causes": diagnosis_json(found)["causes"] if (found := _diagnosis(folder)) else [],
        "debrief": [{"about": about, "said": line} for about, line in debrief_lines(opened.store.events())],
    }
