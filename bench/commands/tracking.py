"""`tapebench tracking`: what is heard through noise reduction because of level and response errors."""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING

from bench.figures import as_given, hertz, number
from bench.problem import Problem
from bench.words.mistracking import cause_text, music_sentence

if TYPE_CHECKING:
    from bench.arrays import Floats
    from bench.tape.mistracking_map import MistrackingMap, ReplayErrors

SHOWN_HZ = (125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 10000.0, 16000.0)
SHOWN_DB = (0.0, -10.0, -15.0, -20.0, -25.0, -30.0, -40.0, -50.0)


def add(parser: argparse.ArgumentParser) -> None:
    """The options."""
    parser.add_argument("--system", choices=("type-b", "type-a"), default="type-b", help="the system (type-b)")
    add_error_options(parser)
    parser.add_argument(
        "--tolerance", type=float, default=3.0, metavar="DB", help="tolerance of what is heard, ± dB (3)"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object on stdout")


def decibels(text: str) -> float:
    """A figure with a hyphen or a true minus sign, because both are printed. Raises `ValueError`."""
    return float(text.replace("−", "-"))


def add_error_options(parser: argparse.ArgumentParser) -> None:
    """Options for the errors: typed, or from a session."""
    parser.add_argument("--level-error", type=decibels, metavar="DB", help="replayed minus recorded, at 400 Hz")
    parser.add_argument(
        "--treble-error",
        metavar="HZ:DB,…",
        help="relative to 400 Hz, such as 4000:-1,10000:-3; in between by log frequency",
    )
    parser.add_argument("--session", metavar="DIR", help="take both from a session's last readings")


def run(args: argparse.Namespace) -> int:
    """Compute and print what is heard; returns 1 unless all of it is in tolerance."""
    from bench.tape.mistracking_map import mistracking_map, worst_map

    if args.session is not None:
        mistracking = worst_map([mistracking_map(args.system, e, args.tolerance) for e in session_errors(args)])
    else:
        mistracking = mistracking_map(args.system, typed_errors(args), args.tolerance)
    if args.json:
        print(json.dumps(_as_json(mistracking), ensure_ascii=False, allow_nan=False))
    else:
        _print_result(mistracking)
    return 0 if mistracking.verdict == "in" else 1


def typed_errors(args: argparse.Namespace) -> ReplayErrors:
    """The typed errors. Raises `Problem` if there are none, or if they can't be read."""
    from bench.tape.mistracking_map import ReplayErrors

    if args.level_error is None and args.treble_error is None:
        raise Problem("give an error: --level-error DB, --treble-error HZ:DB,… or --session DIR")
    treble = [] if args.treble_error is None else [_point(item) for item in args.treble_error.split(",")]
    return ReplayErrors(args.level_error or 0.0, tuple(treble))


def _point(item: str) -> tuple[float, float]:
    """Frequency and error as typed: "10000:-3"."""
    hz, _, db = item.partition(":")
    try:
        return float(hz), decibels(db)
    except ValueError:
        raise Problem(f'--treble-error: "{item.strip()}" is not HZ:DB, such as 10000:-3') from None


def session_errors(args: argparse.Namespace) -> list[ReplayErrors]:
    """The errors of each channel that a session measured, with their uncertainty."""
    from bench.commands.report import session_folder
    from bench.session.compare.tracking_errors import measured_errors
    from bench.session.record.reader import read_session

    if args.level_error is not None or args.treble_error is not None:
        raise Problem("--session has its own errors; leave --level-error and --treble-error out")
    measured = measured_errors(read_session(session_folder(args.session, args.workspace)))
    print(f"from the session, {measured.said}", file=sys.stderr)
    return list(measured.channels.values())


def _as_json(mistracking: MistrackingMap) -> dict[str, object]:
    from bench.tape.mistracking_map import FREQUENCIES_HZ, LEVELS_DB, REFERENCE_LEVELS

    return {
        "system": mistracking.system,
        "reference": REFERENCE_LEVELS[mistracking.system],
        "levels_db": list(LEVELS_DB),
        "frequencies_hz": list(FREQUENCIES_HZ),
        "error_db": [round(v, 4) for v in mistracking.errors.at(FREQUENCIES_HZ).tolist()],
        "mistracking_db": [[round(v, 4) for v in row] for row in mistracking.mistracking_db.tolist()],
        "heard_db": [[round(v, 4) for v in row] for row in mistracking.heard_db.tolist()],
        "level_error_db": mistracking.errors.level_db,
        "worst": {
            "level_db": mistracking.worst_level_db,
            "frequency_hz": mistracking.worst_hz,
            "response_error_db": round(mistracking.worst_response_db, 4),
            "mistracking_db": round(mistracking.worst_mistracking_db, 4),
            "heard_db": round(mistracking.worst_db, 4),
        },
        "tolerance_db": mistracking.tolerance_db,
        "verdict": mistracking.verdict,
        "because": cause_text(mistracking),
    }


def _print_result(mistracking: MistrackingMap) -> None:
    from bench.tape.mistracking_map import FREQUENCIES_HZ, JUDGED_TO_HZ, REFERENCE_LEVELS, SYSTEM_NAMES

    name = SYSTEM_NAMES[mistracking.system]
    columns = [FREQUENCIES_HZ.index(hz) for hz in SHOWN_HZ]
    response = mistracking.errors.response_at(SHOWN_HZ)
    print(f"{mistracking.verdict}: {music_sentence(mistracking)}")
    level = number(mistracking.errors.level_db, 1, sign=True)
    print(f"\nresponse error, dB; beside it a level error of {level} dB, which the volume control makes up")
    print(f"{'':>8}" + "".join(f"{hertz(hz):>8}" for hz in SHOWN_HZ))
    print(f"{'':>8}" + "".join(_cell(v) for v in response))
    _print_table(
        f"mistracking of {name} because of both errors, dB; negative is duller", mistracking.mistracking_db, columns
    )
    judged = f"judged up to {hertz(JUDGED_TO_HZ)}, ±{as_given(mistracking.tolerance_db)} dB"
    _print_table(f"heard: response error and mistracking together, dB; {judged}", mistracking.heard_db, columns)
    print(f"levels re the {REFERENCE_LEVELS[mistracking.system]}; steady tones, by the static law of the decoder")


def _print_table(title: str, table: Floats, columns: list[int]) -> None:
    from bench.tape.mistracking_map import LEVELS_DB

    print(f"\n{title}")
    print(f"{'level':>8}" + "".join(f"{hertz(hz):>8}" for hz in SHOWN_HZ))
    for db in SHOWN_DB:
        row = table[LEVELS_DB.index(db)]
        print(f"{f'{as_given(db)} dB':>8}" + "".join(_cell(row[n]) for n in columns))


def _cell(db: float) -> str:
    return f"{number(float(db), 1, sign=True):>8}"
