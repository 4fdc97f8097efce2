"""`tapebench measure`: measures a quantity in a capture."""

from __future__ import annotations

import argparse
import json
import os
import sys
from pathlib import Path
from typing import Any, Literal

from bench.figures import number
from bench.measure.catalogue import METERS
from bench.measure.meters import Options, make_meter
from bench.measure.reading import NoReading, Result
from bench.problem import Problem
from bench.words.readings import reading_name, reading_text


def add(parser: argparse.ArgumentParser) -> None:
    """The options."""
    parser.add_argument("quantity", metavar="QUANTITY", help=", ".join(METERS))
    parser.add_argument("file", type=Path, metavar="FILE", help="a capture in any format libsndfile reads")
    parser.add_argument("--channels", type=channel_list, metavar="LIST", help="which channels, from 1: 1,2")
    parser.add_argument("--frequency", type=_number, metavar="HZ", help="the tone to measure")
    parser.add_argument("--frequencies", type=_numbers, default=(), metavar="LIST", help="40,315,1000 …")
    parser.add_argument("--sheet", metavar="S", help="a reference-tape sheet, by name or path")
    parser.add_argument("--reference-frequency", type=_number, metavar="HZ", help="what a response is relative to")
    parser.add_argument("--nominal", type=_number, metavar="HZ", help="what was recorded: 3150 or 3000, or a pitch")
    parser.add_argument("--known-percent", type=_number, metavar="PERCENT", help="how well that is known (k = 2)")
    parser.add_argument("--speed", type=_number, metavar="MM_PER_S", help="tape speed, for the azimuth angle")
    parser.add_argument("--track-spacing", type=_number, metavar="MM", help="between the centres of the tracks")
    parser.add_argument("--reference-level", type=_number, metavar="DBFS", help="what noise and the like relate to")
    parser.add_argument("--fundamental", type=_number, metavar="HZ", help="of a distorted tone")
    parser.add_argument("--machine", metavar="S", help="a machine sheet: components of flutter are laid to its parts")
    parser.add_argument("--driven", choices=("left", "right"), help="the channel that carries the tone")
    parser.add_argument("--json", action="store_true", help="one JSON object on stdout")


def run(args: argparse.Namespace) -> int:
    """Measure and print."""
    from bench.audio.capture import Capture

    options = Options(
        frequency=args.frequency,
        frequencies=args.frequencies,
        reference_frequency=args.reference_frequency,
        sheet=_sheet(args.sheet, args.workspace) if args.sheet else (),
        nominal=args.nominal,
        known_percent=args.known_percent,
        speed=args.speed,
        track_spacing=args.track_spacing,
        reference_level=args.reference_level,
        fundamental=args.fundamental,
        driven=args.driven,
        parts=_parts(args.machine, args.workspace) if args.machine else (),
    )
    options.check()
    if args.quantity not in METERS:
        raise Problem(f"measure: there is no quantity {args.quantity}; there are {', '.join(METERS)}")
    capture = Capture(args.file, args.channels)
    meter = make_meter(args.quantity, capture.sample_rate, capture.channels, options)
    for block in capture.blocks():
        meter.feed(block)
    measured = meter.finish()
    warnings = (*capture.warnings, *measured.warnings)
    if args.json:
        out: dict[str, Any] = {
            "file": os.fsencode(args.file).decode("utf-8", "replace"),
            "sample_rate": capture.sample_rate,
            "duration_s": capture.duration_s,
            "readings": [r.as_json() for r in measured.readings],
            "warnings": list(warnings),
        }
        print(json.dumps(out, ensure_ascii=False, allow_nan=False))
        return 0
    for reading in measured.readings:
        print(sentence(reading))
    for warning in warnings:
        print(f"warning: {warning}", file=sys.stderr)
    return 0


def sentence(reading: Result) -> str:
    """A reading on one line: what, where, value with unit and uncertainty, reference, method."""
    printed = f"{reading_name(reading)}: {reading_text(reading)}"
    if isinstance(reading, NoReading):
        return printed
    if reading.uncertainty:
        whose = ", of the machine" if reading.of_the_machine else ", of this stretch alone" if reading.budget else ""
        printed += f" (k = 2{whose})"
    of = f", re {reading.reference}" if reading.reference else ""
    when = f", at {number(reading.time_s, 3)} s" if reading.time_s is not None else ""
    return f"{printed}{of}{when}{f', {reading.method}' if reading.method.name else ''}"


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number") from None


def _numbers(text: str) -> tuple[float, ...]:
    return tuple(_number(part) for part in text.split(","))


def channel_list(text: str) -> tuple[int, ...]:
    """Channel numbers as typed, from 1: "1,2"."""
    try:
        return tuple(int(part) for part in text.split(","))
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a list of channels like 1,2") from None


def _sheet(name: str, workspace: str | None) -> tuple[tuple[float, float], ...]:
    """The sections of a reference-tape sheet in order: Hz, and dB corrected by the certificate."""
    from bench.procedure.load.reader import load_sheet

    tape = load_sheet(_path(name, workspace, "reference-tape"), "reference-tape")
    return tuple((s.hz, s.db + s.recorded_error_db) for s in tape.section)


def _parts(name: str, workspace: str | None) -> tuple[tuple[str, float], ...]:
    """The rotating parts of a machine, with their rates in Hz."""
    from bench.procedure.load.reader import load_sheet

    return load_sheet(_path(name, workspace, "machine"), "machine").turning()


def _path(name: str, workspace: str | None, kind: Literal["machine", "reference-tape"]) -> Path:
    from bench.procedure.load.library import Library
    from bench.workspace import find_workspace

    if Path(name).is_file():
        return Path(name)
    return Library(find_workspace(workspace)).sheet_path(name, kind)
