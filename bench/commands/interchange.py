"""`tapebench interchange`: how a tape recorded on one machine plays on another."""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from bench.workspace import find_workspace

if TYPE_CHECKING:
    from bench.session.compare.interchange import Interchange, Mistracking, Pair
    from bench.session.compare.machine_errors import MachineErrors, Value
    from bench.session.compare.outlier import Outlier


def add(parser: argparse.ArgumentParser) -> None:
    """The options."""
    parser.add_argument(
        "which",
        nargs="*",
        metavar="SESSION|MACHINE",
        help="sessions, or machines by name (each by its last session that came to its end); none: the whole fleet; "
        "one session: its machine as found against as left",
    )
    parser.add_argument("--json", action="store_true", help="one JSON object on stdout")


def run(args: argparse.Namespace) -> int:
    """Compute and print every pair."""
    from bench.session.compare.interchange import interchange_of
    from bench.session.compare.interchange_text import interchange_lines

    if len(args.which) == 1:
        return _one_session(args)
    result = interchange_of(_with_distinct_names(_chosen(args)))
    if args.json:
        print(json.dumps(_as_json(result), ensure_ascii=False, allow_nan=False))
    else:
        print("\n".join(interchange_lines(result)))
    return 0


def _one_session(args: argparse.Namespace) -> int:
    """Show how tapes that a machine recorded as found play on it as left."""
    from bench.commands.report import session_folder
    from bench.session.compare.earlier_tapes import earlier_tapes
    from bench.session.compare.earlier_tapes_text import choice_lines, earlier_tapes_lines
    from bench.session.record.reader import read_session

    session = read_session(session_folder(args.which[0], args.workspace))
    result = earlier_tapes(session)
    if args.json:
        print(json.dumps(_pair(result), ensure_ascii=False, allow_nan=False))
        return 0
    print(f"{session.job.machine}: tapes recorded as found, replayed as left; k = 2")
    print("\n".join(earlier_tapes_lines(result)))
    print("\nWhat there was to choose before anything was turned; the worse channel of each")
    print("\n".join(f"  {line}" for line in choice_lines(session)))
    return 0


def _chosen(args: argparse.Namespace) -> list[MachineErrors]:
    from bench.session.compare.fleet import errors_by_name, fleet

    sessions = find_workspace(args.workspace).sessions
    if args.which:
        return [errors_by_name(sessions, name) for name in args.which]
    result, left_out = fleet(sessions)
    for why in left_out:
        print(f"left out: {why}", file=sys.stderr)
    return result


def _with_distinct_names(machines: list[MachineErrors]) -> list[MachineErrors]:
    """Add the session to a machine's name where two sessions of one machine are compared."""
    count = Counter(m.machine for m in machines)
    return [replace(m, machine=f"{m.machine} ({m.session})") if count[m.machine] > 1 else m for m in machines]


def _as_json(result: Interchange) -> dict[str, Any]:
    return {
        "machines": [
            {
                "machine": m.machine,
                "session": m.session,
                "begun": m.when.isoformat(),
                "heads": m.heads,
                "speed_mm_s": m.speed_mm_s,
                "reference_level": m.reference_level,
                "reference_tape": m.reference_tape,
                "missing": list(m.missing),
            }
            for m in result.machines
        ],
        "pairs": [_pair(p) for p in result.pairs],
        "odd": [_outlier(o) for o in result.outliers],
    }


def _pair(pair: Pair) -> dict[str, Any]:
    out: dict[str, Any] = {"recorded": pair.recorded, "replayed": pair.replayed}
    if pair.because:
        return out | {"reason": pair.because}
    return out | {
        "level_db": {channel: _value(v) for channel, v in pair.level.items()},
        "response_db": [
            {"channel": channel, "frequency_hz": hz, **(_value(v) or {})} for (channel, hz), v in pair.response.items()
        ],
        "treble_hz": pair.treble_hz,
        "azimuth_delay_us": _value(pair.azimuth),
        "azimuth_loss_db": _value(pair.azimuth_loss),
        "speed_percent": _value(pair.speed),
        "heard_db": _mistracking(pair.mistracking),
        "missing": list(pair.missing),
    }


def _value(result: Value | None) -> dict[str, float] | None:
    return None if result is None else {"value": result.value, "uncertainty": result.uncertainty}


def _mistracking(result: Mistracking | None) -> dict[str, Any] | None:
    if result is None:
        return None
    where = {
        "mistracking_db": result.mistracking_db,
        "channel": result.channel,
        "frequency_hz": result.frequency_hz,
        "level_db": result.level_db,
    }
    return {**(_value(result.worst) or {}), **where, "system": "type-b"}


def _outlier(outlier: Outlier) -> dict[str, Any]:
    out: dict[str, Any] = {"machines": list(outlier.machines), "machine": outlier.machine or None}
    if outlier.because:
        out["reason"] = outlier.because
    if outlier.kind is not None:
        out |= {
            "spread": outlier.spread,
            "spread_without": outlier.without,
            "half": outlier.half,
            "what": outlier.kind.what,
            "channel": outlier.kind.channel,
            "frequency_hz": outlier.kind.frequency_hz,
            "distance": _value(outlier.distance),
            "chance": outlier.chance,
        }
    return out
