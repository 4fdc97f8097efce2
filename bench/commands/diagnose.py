"""`tapebench diagnose`: what is wrong with a machine, how sure that is, and what to look at next."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING

from bench.problem import Problem
from bench.words.sentences import inert

if TYPE_CHECKING:
    from bench.diagnosis.answer import Diagnosis

MIXED = 5
"""This many pairs of readings that can't both be true are taken for readings of two machines."""
CONTRACT = """
FILE.json holds {"machine": {...}, "readings": [...], "answers": {...}}. The machine's facts are those of its sheet
(heads, speed_mm_per_s, track_width_mm, track_spacing_mm, equalisation_us, replay_gap_um, capstan_mm, ...). A reading
has stage (before-cleaning, before-demagnetising, after-cleaning, as-left), source (reference-tape, record-replay,
tape-stopped, encoder, decoder), quantity, channel, frequency_hz, level_db, value, unit and uncertainty, as
`measure --json` prints them; the value is an error against the target where the quantity has one. What is missing is
assumed or ignored, and said.
"""


def add(parser: argparse.ArgumentParser) -> None:
    """The options."""
    from bench.diagnosis.causes.table import CAUSES, WIRING

    parser.add_argument("session", nargs="?", metavar="SESSION", help="its folder, or its name under sessions/")
    parser.add_argument("--readings", metavar="FILE.json", help="readings of a machine instead of a session")
    parser.add_argument("--about", metavar="CAUSE", help="what a cause does, and what looks like it")
    parser.add_argument("--json", action="store_true", help="one JSON object on stdout")
    names = ", ".join([*(c.name for c in CAUSES), *WIRING])
    paragraphs = (CONTRACT, f"Causes: {names}.")
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = "\n\n".join(fill(" ".join(p.split()), 100, break_on_hyphens=False) for p in paragraphs)


def run(args: argparse.Namespace) -> int:
    """Diagnose and print."""
    if args.about:
        from bench.diagnosis.machine import Machine
        from bench.diagnosis.output.cause_page import about

        print("\n".join(about(args.about, Machine())))
        return 0
    if bool(args.session) == bool(args.readings):
        raise Problem("diagnose takes a session, or --readings FILE.json, and not both")
    diagnosis, ignored, assumed = _of_file(Path(args.readings)) if args.readings else _of_session(args)
    if args.json:
        from bench.diagnosis.output.contract import as_json

        print(json.dumps(as_json(diagnosis, ignored, assumed), ensure_ascii=False, allow_nan=False))
        return 0
    from bench.diagnosis.output.page import page

    lines = page(diagnosis)
    lines += [f"Ignored: {sentence}." for sentence in ignored]
    lines += [f"Assumed, since the sheet does not say it: {', '.join(assumed)}."] if assumed else []
    print("\n".join(map(inert, lines)))
    return 0


Told = tuple["Diagnosis", tuple[str, ...], tuple[str, ...]]


def _of_file(path: Path) -> Told:
    from bench.diagnosis.answer import diagnose
    from bench.diagnosis.output.contract import read_case

    case = read_case(path)
    found = diagnose(case.machine, case.findings, case.answers)
    if len(found.contradictions) >= MIXED:
        raise Problem(
            f"{path}: {len(found.contradictions)} readings contradict others, for instance {found.contradictions[0]}; "
            "give the readings of one machine"
        )
    return found, case.ignored, case.machine.assumed


def _of_session(args: argparse.Namespace) -> Told:
    from bench.commands.report import session_folder
    from bench.session.compare.diagnosis import diagnosis_of
    from bench.session.record.reader import read_session

    diagnosis, machine = diagnosis_of(read_session(session_folder(args.session, args.workspace)))
    return diagnosis, (), machine.assumed
