"""`tapebench compare`: two sessions compared."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING, Any

from bench.commands.report import session_folder
from bench.session.compare.comparison import WAYS, compare_folders
from bench.session.compare.comparison_text import comparison_lines, summary

if TYPE_CHECKING:
    from bench.procedure.state.journal import ReadingRecord
    from bench.session.compare.comparison import Comparison, Row, Side
    from bench.session.compare.subject import Subject


def add(parser: argparse.ArgumentParser) -> None:
    """The options."""
    parser.add_argument("first", metavar="SESSION", help="the earlier one: its folder, or the name under sessions/")
    parser.add_argument("second", metavar="SESSION", help="the later one")
    parser.add_argument(
        "--of",
        dest="way",
        choices=tuple(WAYS),
        default="left",
        help="as left with as left; as found with as found, after cleaning or before it; or as left with as found next",
    )
    parser.add_argument("--json", action="store_true", help="one JSON object on stdout")


def run(args: argparse.Namespace) -> int:
    """Compare and print."""
    comparison = compare_folders(
        session_folder(args.first, args.workspace), session_folder(args.second, args.workspace), args.way
    )
    if args.json:
        print(json.dumps(_as_json(comparison), ensure_ascii=False, allow_nan=False))
    else:
        print("\n".join(comparison_lines(comparison)))
    return 0


def _as_json(comparison: Comparison) -> dict[str, Any]:
    return {
        "first": _side(comparison.first),
        "second": _side(comparison.second),
        "notes": list(comparison.notes),
        "said": summary(comparison),
        "rows": [_row(row) for row in comparison.rows],
    }


def _side(side: Side) -> dict[str, Any]:
    return {
        "session": side.session,
        "machine": side.machine,
        "procedure": side.procedure,
        "begun": side.when.isoformat(),
        "stage": side.stage,
        **({"note": side.note} if side.note else {}),
    }


def subject_json(subject: Subject) -> dict[str, Any]:
    """The subject of a reading, as fields."""
    return {
        "quantity": subject.quantity,
        "channel": subject.channel,
        "frequency_hz": subject.frequency_hz,
        "sent_db": subject.sent_db,
        "source": subject.source,
        "unit": subject.unit,
    }


def _row(row: Row) -> dict[str, Any]:
    subject = row.subject
    return {
        **subject_json(subject),
        "first": _reading(row.first),
        "second": _reading(row.second),
        "difference": row.by,
        "uncertainty": row.uncertainty,
        "difference_unit": subject.unit_of_change,
        "state": row.state,
        **({"reason": row.because} if row.because else {}),
    }


def _reading(record: ReadingRecord | None) -> dict[str, Any] | None:
    return record.reading.as_json() if record else None
