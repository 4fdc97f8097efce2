"""Which machines have been on the bench, how often, and which are due again. It reads only the index."""

from __future__ import annotations

import calendar
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from bench.session.record.index import Entry

INTERVAL_MONTHS = 12
"""Default interval between visits of a machine (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class MachineSessions:
    """A machine and its sessions."""

    machine: str
    machine_id: str
    sessions: tuple[Entry, ...]
    """Newest first."""
    due: date | None
    """By the workshop's interval alone, from the last finished session; None without one. Drift may make it due sooner:
    `history` reads the sessions for that."""

    @property
    def last(self) -> Entry:
        """The newest session."""
        return self.sessions[0]


def by_due_date(found: Iterable[Entry], interval_months: int = INTERVAL_MONTHS) -> list[MachineSessions]:
    """The machines, in the order in which they are due; exercises and unreadable sessions are left out."""
    machines: dict[str, list[Entry]] = {}
    for entry in found:
        if not entry.exercise and not entry.problem:
            machines.setdefault(entry.machine, []).append(entry)
    out = []
    for name, sessions in machines.items():
        last = next((s for s in sessions if s.done), None)
        due = months_after(last.begun.date(), interval_months) if last is not None else None
        out.append(MachineSessions(name, sessions[0].machine_id, tuple(sessions), due))
    return sorted(out, key=lambda m: (m.due or date.max, m.machine))


def months_after(day: date, months: int) -> date:
    """The same day `months` later; the last day of the month where that month is shorter."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    if year > date.max.year:
        return date.max
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))
