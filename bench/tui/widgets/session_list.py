"""A list of sessions: date, machine, procedure, and outcome."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bench.tui.text import cell, clip, wrap
from bench.tui.widgets.line_widget import Line
from bench.words.dates import stamp

if TYPE_CHECKING:
    from bench.session.record.index import Entry

WIDE = 112
"""From this width on the list shows the outcome too."""


def session_lines(entries: list[Entry], picked: int, marked: int, width: int, height: int) -> list[Line]:
    """The part of the list around the selected session, with "◆" before the marked one."""
    first = max(0, min(picked - height // 2, len(entries) - height))
    with_outcome = width >= WIDE
    column = (width - 22) // (3 if with_outcome else 2)
    out: list[Line] = []
    for n, entry in enumerate(entries[first : first + height], start=first):
        here = n == picked
        mark = ("◆ ", "accent") if n == marked else ("▸ ", "accent") if here else ("  ", "")
        ink = "strong" if here else ""
        if entry.problem:
            out.append([mark, (cell(f"{entry.name}: {entry.problem}", width - 2).rstrip(), "out")])
            continue
        what = cell(what_was_done(entry), column)
        what = what + "  " if with_outcome else what.rstrip()
        line: Line = [
            mark,
            (f"{stamp(entry.begun)}  ", "quiet"),
            (cell(entry.machine, column) + "  ", ink),
            (what, ink if entry.done else "close"),
        ]
        if with_outcome:
            line.append((cell(how_it_ended(entry), column - 2).rstrip(), "quiet" if entry.done else "close"))
        out.append(line)
    return out


def what_was_done(entry: Entry) -> str:
    """The procedure, and whether it was an exercise."""
    return f"exercise: {entry.procedure}" if entry.exercise else entry.procedure


def how_it_ended(entry: Entry) -> str:
    """The outcome in words."""
    return entry.outcome


def detail_lines(entry: Entry, width: int) -> list[Line]:
    """The selected session in full: procedure, machine, and outcome."""
    if entry.problem:
        return [[(line, "out")] for line in clip(wrap(entry.problem, width), 3, width)]
    lines = clip(wrap(f"{what_was_done(entry)}, on {entry.machine}", width), 1, width)
    ended = clip(wrap(how_it_ended(entry), width), 2, width)
    return [*([(line, "strong")] for line in lines), *([(line, "" if entry.done else "close")] for line in ended)]
