"""`tapebench history`: the machines with their sessions, and one machine's readings over the years."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING, Any

from bench.problem import Problem
from bench.session.compare.machines import INTERVAL_MONTHS, MachineSessions, by_due_date
from bench.session.record.index import Entry, entries
from bench.words.dates import stamp
from bench.words.sentences import counted, inert
from bench.workspace import find_workspace

if TYPE_CHECKING:
    from bench.session.compare.history import History, Series


def add(parser: argparse.ArgumentParser) -> None:
    """The options."""
    parser.add_argument("--machine", metavar="S", help="its readings over the years: a machine's name, or its sheet's")
    parser.add_argument("--quantity", metavar="Q", help="only readings of this quantity, such as level or response")
    parser.add_argument("--causes", action="store_true", help="what was wrong at each visit, and whether it came back")
    add_interval(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object on stdout")


def add_interval(parser: argparse.ArgumentParser) -> None:
    """The service interval of the workshop."""
    parser.add_argument(
        "--interval",
        type=_months,
        default=INTERVAL_MONTHS,
        metavar="MONTHS",
        help=f"when the workshop wants a machine back ({INTERVAL_MONTHS})",
    )


def run(args: argparse.Namespace) -> int:
    """Print the list of machines and sessions, or the history of one machine."""
    workspace = find_workspace(args.workspace)
    if args.machine is None:
        if args.quantity is not None:
            raise Problem("--quantity goes with --machine: name the machine whose readings are wanted")
        found = entries(workspace.sessions)
        machines = by_due_date(found, args.interval)
        print(
            json.dumps(_machines_json(machines, found), ensure_ascii=False)
            if args.json
            else _machines_text(machines, found)
        )
        return 0
    from bench.measure.catalogue import QUANTITIES
    from bench.session.compare.history import machine_history
    from bench.session.compare.history_text import history_lines

    if args.quantity is not None and args.quantity not in QUANTITIES:
        raise Problem(f"--quantity: there is no {args.quantity}; there are {', '.join(QUANTITIES)}")
    history = machine_history(workspace, args.machine, args.quantity, args.interval)
    print(json.dumps(_as_json(history), ensure_ascii=False) if args.json else "\n".join(history_lines(history)))
    if args.causes and not args.json:
        from bench.session.compare.causes_over_visits import visit_lines

        print("\n".join(["", *visit_lines([workspace.sessions / v.session for v in history.visits])]))
    return 0


def _months(text: str) -> int:
    months = int(text) if text.isascii() and text.isdigit() else 0
    if not 1 <= months <= 1200:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of months from 1 to 1200")
    return months


def _machines_text(machines: list[MachineSessions], found: list[Entry]) -> str:
    lines = []
    for machine in machines:
        count = len(machine.sessions)
        sheet = f" ({machine.machine_id})" if machine.machine_id else ""
        due = f"due again {machine.due} by the interval" if machine.due else "no session came to its end"
        lines.append(f"{machine.machine}{sheet}: {counted(count, 'session')}, {due}")
        lines += [f"    {_session_text(s)}" for s in machine.sessions]
    aside = [e for e in found if e.exercise or e.problem]
    if aside:
        lines += ["", "Not counted"]
        lines += [f"    {e.problem or f'{e.name}: an exercise'}" for e in aside]
    if machines:
        lines += ["", "What drifts may bring a machine back sooner: --machine reads its sessions and says so."]
    return "\n".join(map(inert, lines)) or "No sessions yet."


def _session_text(entry: Entry) -> str:
    return f"{stamp(entry.begun)}  {entry.name}  {entry.procedure}: {entry.outcome}"


def _machines_json(machines: list[MachineSessions], found: list[Entry]) -> dict[str, Any]:
    return {
        "machines": [
            {
                "machine": m.machine,
                "sheet": m.machine_id,
                "due": m.due.isoformat() if m.due else None,
                "due_by": "interval",
                "sessions": [_entry_json(s) for s in m.sessions],
            }
            for m in machines
        ],
        "not_counted": [_entry_json(e) | {"problem": e.problem} for e in found if e.exercise or e.problem],
    }


def _entry_json(entry: Entry) -> dict[str, Any]:
    return {
        "session": entry.name,
        "begun": entry.begun.isoformat(),
        "procedure": entry.procedure,
        "done": entry.done,
        "outcome": entry.outcome,
        "reference_tape": entry.reference_tape,
        "reference_plays": entry.reference_plays,
    }


def _as_json(history: History) -> dict[str, Any]:
    return {
        "machine": history.machine,
        "due": {"on": history.due.on.isoformat() if history.due.on else None, "because": history.due.because},
        "interval_months": history.interval_months,
        "visits": [
            {
                "session": v.session,
                "begun": v.when.isoformat(),
                "procedure": v.procedure,
                "outcome": v.outcome,
                "adjusted": v.adjusted,
                **({"note": v.note} if v.note else {}),
            }
            for v in history.visits
        ],
        "series": [_series_json(s) for s in history.series],
    }


def _series_json(series: Series) -> dict[str, Any]:
    from bench.commands.compare import subject_json

    subject, found = series.subject, series.drift
    drift: dict[str, Any] = {"per_year": None, "reason": series.no_drift}
    if found is not None:
        drift = {
            "per_year": found.per_year,
            "uncertainty": found.uncertainty,
            "unit": f"{subject.unit_of_change} a year",
            "steps": found.steps,
            "years": found.years,
            "shows": found.shows,
            "reaches_tolerance": series.reaches.isoformat() if series.reaches else None,
        }
    return {
        **subject_json(subject),
        "readings": [
            {
                "session": p.session,
                "begun": p.when.isoformat(),
                "stage": p.stage,
                "value": p.value,
                "uncertainty": p.uncertainty,
                **({"bound": p.bound} if p.bound else {}),
                "verdict": p.verdict,
                "target": p.target,
                "tolerance": p.tolerance,
                **({"limit": p.limit} if p.limit else {}),
                "method": p.conditions.method,
                "reference": p.conditions.reference,
                "tape": p.conditions.tape,
            }
            for p in series.points
        ],
        "drift": drift,
    }
