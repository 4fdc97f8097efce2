"""A list of sessions: when, which machine, what was done, and how it ended."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bench.tui.text import cell
from bench.tui.widgets.painted import Line

if TYPE_CHECKING:
    from bench.session.index import Entry


def roll_lines(entries: list[Entry], picked: int, marked: int, width: int, height: int) -> list[Line]:
    """The part of the list around the picked session; "◆" stands before the marked one."""
    first = max(0, min(picked - height // 2, len(entries) - height))
    machine = max(12, (width - 20) * 3 // 10)
    what = max(12, (width - 20) * 3 // 10)
    out: list[Line] = []
    for n, entry in enumerate(entries[first : first + height], start=first):
        here = n == picked
        mark = ("◆ ", "accent") if n == marked else ("▸ ", "accent") if here else ("  ", "")
        ink = "strong" if here else ""
        if entry.problem:
            out.append([mark, (cell(f"{entry.name}: {entry.problem}", width - 2).rstrip(), "out")])
            continue
        ended, role = entry.outcome or "broken off", "quiet"
        if not entry.done:
            role = "close"
        about = "exercise: " if entry.exercise else ""
        out.append(
            [
                mark,
                (f"{entry.begun:%Y-%m-%d %H:%M}  ", "quiet"),
                (cell(entry.machine, machine) + "  ", ink),
                (cell(about + entry.procedure, what) + "  ", ink),
                (cell(ended, max(0, width - 24 - machine - what)).rstrip(), role),
            ]
        )
    return out
