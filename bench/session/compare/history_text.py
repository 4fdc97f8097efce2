"""A machine's history as lines of text."""

from __future__ import annotations

from itertools import groupby

from bench.session.compare.history import ONE_VISIT, History, Point, Series
from bench.words.dates import day, month
from bench.words.figures import with_uncertainty, with_unit
from bench.words.names import STAGES, short_stage
from bench.words.readings import aim_text
from bench.words.sentences import in_columns, inert, true_minus


def history_lines(history: History) -> list[str]:
    """A machine's visits, each series with its readings and drift, and when it is due."""
    lines = [history.machine, ""]
    for visit in history.visits:
        lines.append(f"{day(visit.when)}  {visit.session}")
        lines.append(f"    {visit.procedure}: {visit.outcome}" if visit.procedure else "    cannot be read")
        if visit.note:
            lines.append(f"    {visit.note}")
    notes: dict[str, str] = {}
    first_visit = all(len({p.session for p in series.points}) < 2 for series in history.series)
    if first_visit and history.series:
        lines += ["", "First visit: nothing earlier to compare with."]
    for source, group in groupby(history.series, key=lambda s: s.subject.source):
        lines += ["", source.capitalize(), "-" * len(source)]
        if first_visit:
            lines += table_lines(list(group), notes)
            continue
        for series in group:
            lines += series_lines(series, notes)
    lines += ["", *(f"[{letter}] {how}" for how, letter in notes.items())]
    lines += ["Uncertainties are expanded (k = 2); a drift is from as left to as found at the next visit.", ""]
    lines.append(due_line(history))
    return [inert(line) for line in lines]


def series_lines(series: Series, notes: dict[str, str]) -> list[str]:
    """One subject over the years: its name, the readings of each visit, the drift.

    Args:
        series: the series to show.
        notes: letters for references and methods, explained once at the end; new ones are added.
    """
    unit = series.subject.unit
    lines = [_head(series, notes)]
    for _, points in groupby(series.points, key=lambda p: p.session):
        shown = list(points)
        lines.append(f"    {day(shown[0].when):>17}  " + "; ".join(point_text(p, unit) for p in shown))
    lines.append(f"    {drift_text(series)}")
    return lines


def table_lines(series: list[Series], notes: dict[str, str]) -> list[str]:
    """The readings of the only visit: a line for each subject, a column for each stage, and the target."""
    stages = [stage for stage in STAGES if any(p.stage == stage for s in series for p in s.points)]
    rows = [["", *(short_stage(STAGES[stage]) for stage in stages), "target"]]
    for one in series:
        by_stage = {p.stage: p for p in one.points}
        last = one.points[-1]
        target = "" if last.target is None else aim_text(last.target, last.tolerance, last.limit)
        rows.append([_head(one, notes), *(_cell(by_stage.get(stage), one) for stage in stages), target])
    return in_columns(rows)


def _cell(point: Point | None, series: Series) -> str:
    if point is None:
        return "–"
    value = with_uncertainty(point.value, series.subject.unit, point.uncertainty, bound=point.bound)
    return f"{value} {point.verdict}" if point.verdict and point.verdict != "no reading" else value


def _head(series: Series, notes: dict[str, str]) -> str:
    """Name and unit of the series, and the letter of its reference and method."""
    conditions = series.points[-1].conditions
    unit = series.subject.unit
    how = "; ".join(filter(None, (f"re {conditions.reference}" if conditions.reference else "", conditions.method)))
    note = f" [{notes.setdefault(true_minus(how), str(len(notes) + 1))}]" if how else ""
    about = f" ({unit})" if unit != "1" else ""
    return f"{series.subject.named}{about}{note}"


def point_text(point: Point, unit: str) -> str:
    """A reading: "as left −12.04 ± 0.12 in"."""
    value = with_uncertainty(point.value, unit, point.uncertainty, bound=point.bound)
    said = f"{short_stage(STAGES[point.stage])} {value}"
    return f"{said} {point.verdict}" if point.verdict and point.verdict != "no reading" else said


def drift_text(series: Series) -> str:
    """The drift, or why it is not known."""
    found = series.drift
    if found is None and series.no_drift == ONE_VISIT:
        return "first read at this visit"
    if found is None:
        return f"drift: not known, because {series.no_drift}"
    unit = series.subject.unit_of_change
    by = with_uncertainty(found.per_year, unit, found.uncertainty, sign=True)
    said = f"drift: {with_unit(by, unit)} a year, over {found.years:.1f} years"
    if not found.shows:
        return f"{said}: none shown, it is no more than its uncertainty"
    newest = next((p for p in reversed(series.points) if p.stage == "left"), None)
    if series.reaches is None or newest is None:
        return said
    accepted = aim_text(newest.target or 0.0, newest.tolerance, newest.limit)
    return f"{said}; reaches the end of {accepted} about {month(series.reaches)}"


def due_line(history: History) -> str:
    """When the machine is due again, and why."""
    if history.due.on is None:
        return f"Next due: not known, because {history.due.because}."
    return f"Next due: {day(history.due.on)}, because {history.due.because}."
