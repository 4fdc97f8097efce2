"""Two sessions side by side, as lines of text."""

from __future__ import annotations

from itertools import groupby

from bench.procedure.state.journal import ReadingRecord
from bench.session.compare.comparison import Comparison, Row, Side, State
from bench.words.dates import day
from bench.words.figures import with_uncertainty, with_unit
from bench.words.names import STAGES
from bench.words.readings import value_text
from bench.words.sentences import inert, listed

_TITLES: dict[State, str] = {
    "changed": "Changed: by more than both uncertainties together",
    "no change shown": "No change shown: by no more than both uncertainties together",
    "not compared": "Not compared",
    "only in the first": "Only in the first",
    "only in the second": "Only in the second",
}


def comparison_lines(found: Comparison) -> list[str]:
    """What changed first, then what did not, then what could not be compared and why."""
    lines = [f"first   {_side(found.first)}", f"second  {_side(found.second)}"]
    lines += [f"! {note}" for note in found.notes]
    lines += [f"! {side.note}" for side in (found.first, found.second) if side.note]
    by_state = {state: [r for r in found.rows if r.state == state] for state in _TITLES}
    for state, title in _TITLES.items():
        rows = by_state[state]
        if not rows and state != "changed":
            continue
        lines += ["", title, "-" * len(title)]
        if state in {"changed", "no change shown"}:
            lines += [_changed(row) for row in rows] or ["nothing"]
        elif state == "not compared":
            for because, same in groupby(sorted(rows, key=lambda r: r.because), key=lambda r: r.because):
                lines += [because, *(f"    {_both(row)}" for row in same)]
        else:
            lines += [_alone(row) for row in rows]
    lines += ["", summary(found)]
    return [inert(line) for line in lines]


def summary(found: Comparison) -> str:
    """The counts of changed, unchanged and incomparable rows, in a sentence."""
    counts = [(state, sum(r.state == state for r in found.rows)) for state in _TITLES]
    if not found.rows:
        return "There is nothing to compare: neither has a reading of that stage."
    return f"{listed([f'{n} {state}' for state, n in counts if n]).capitalize()}."


def _side(side: Side) -> str:
    return f"{side.session}: {side.machine}, {side.procedure}, {day(side.when)}, {STAGES[side.stage]}"


def _changed(row: Row) -> str:
    unit = row.subject.unit_of_change
    by = with_uncertainty(row.by or 0.0, unit, row.uncertainty or 0.0, sign=True)
    return f"{row.subject.text}: {_value(row.first)} → {_value(row.second)}: {with_unit(by, unit)}"


def _both(row: Row) -> str:
    return f"{row.subject.text}: {_value(row.first)}, and {_value(row.second)}"


def _alone(row: Row) -> str:
    return f"{row.subject.text}: {_value(row.first or row.second)}"


def _value(record: ReadingRecord | None) -> str:
    return value_text(record.reading, unit=True) if record else "–"
