"""Brings the table of an earlier `session.toml` up to today's schema, in memory: reading never rewrites a file."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from bench.session.record.record import SCHEMA

Table = dict[str, Any]


def migrate(table: Table, schema: int) -> Table:
    """The table as today's program would have written it.

    Args:
        table: as parsed, of a version that is not later than today's.
        schema: its version.
    """
    while schema < SCHEMA:
        table = MIGRATIONS[schema](table)
        schema += 1
    return table


def _rows(table: Table, key: str) -> list[Table]:
    rows = table.get(key, [])
    return [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []


def _from_1(table: Table) -> Table:
    """Schema 2 says in its head how the session ended and how often the reference tape was played."""
    plays = {
        (str(r.get("step")), str(r.get("attempt", 1)))
        for r in _rows(table, "readings")
        if r.get("source") == "reference tape"
    }
    ends = [str(e.get("text", "")) for e in _rows(table, "events") if e.get("kind") == "done"]
    return table | {"schema": 2, "outcome": ends[0] if ends else "", "reference_plays": len(plays)}


MIGRATIONS: dict[int, Callable[[Table], Table]] = {1: _from_1}
"""What brings each version to the next."""
