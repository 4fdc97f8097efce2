"""What was measured: the last result in one line, the readings of a step, and the table of all readings."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from itertools import groupby

from rich.cells import cell_len

from bench.figures import hertz
from bench.measure.catalogue import QUANTITIES
from bench.measure.reading import NoReading, Reading
from bench.measure.verdict import WORST_FIRST
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.outcome import last_attempts
from bench.procedure.state.snapshot import Snapshot, ToneRow
from bench.session.compare.results import FoundAndNow, results_of, worst_first
from bench.session.compare.subject import Subject
from bench.tui.text import SHAPES, cell, plain
from bench.tui.widgets.curve import curve_lines
from bench.tui.widgets.line_widget import Line, Span, clip_line, justified, line_width, side_by_side
from bench.tui.widgets.response import response_lines
from bench.tui.widgets.tones import SHORT
from bench.words.budgets import budget_lines
from bench.words.figures import figure, with_unit
from bench.words.names import CHANNELS
from bench.words.readings import reading_name, reading_text, target_text, value_text

MOST_FIGURES = 4
"""Number of readings whose figures fit in one line; if a step has more, only those that are not in are given."""

LEAST_TITLE = 8
"""Cells in which a shortened title is still readable."""

ROOMY = 100
"""From this width on, figures have their uncertainties."""

CURVE_ROWS = 14


def last_readings(snapshot: Snapshot, step: str = "") -> tuple[ReadingRecord, ...]:
    """The readings of the last attempt at a step; by default at the last step that kept any."""
    wanted = step or (snapshot.kept[-1].step if snapshot.kept else "")
    return last_attempts(tuple(r for r in snapshot.kept if r.step == wanted))


def last_line(snapshot: Snapshot, width: int) -> Line:
    """The result of the last step that has one, and the key that shows all; empty before the first."""
    own = last_readings(snapshot)
    judged = [r for r in own if r.verdict is not None]
    records = judged or list(own)
    if not records:
        return []
    line: Line = []
    step = records[0].step
    if len(records) > MOST_FIGURES:
        counts = Counter(r.verdict.word for r in judged if r.verdict is not None)
        line += [(f"{SHAPES[w][0]} {counts[w]} {w}  ", SHAPES[w][1]) for w in reversed(WORST_FIRST) if counts[w]]
        records = [r for r in judged if r.verdict is not None and r.verdict.word != "in"]
    named = not judged or len({r.reading.quantity for r in records}) > 1
    line += [_figure(record, quantity=named) for record in records]
    key: Line = [("v", "key"), (" results", "quiet")]
    room = width - line_width(line) - line_width(key) - 3  # the figures stay whole, rather than the title
    title = clip_line([(plain(_title(snapshot, step)), "strong")], max(room, LEAST_TITLE))
    return justified([*title, ("  ", ""), *line], key, width)


def _title(snapshot: Snapshot, step: str) -> str:
    return dict(snapshot.job.steps).get(step, step)


def _figure(record: ReadingRecord, *, quantity: bool) -> Span:
    """A reading with its verdict, in the shortest form that distinguishes it from others of its step."""
    r, verdict = record.reading, record.verdict
    shape, role = SHAPES[verdict.word] if verdict is not None else ("", "")
    words = [shape] + ([QUANTITIES[r.quantity].title.lower()] if quantity else [])
    words += [r.channel] if r.channel in ("left", "right") else []
    words += [hertz(r.frequency_hz)] if r.frequency_hz else []
    value = (
        with_unit(figure(r.value, r.unit, r.uncertainty, bound=r.bound), r.unit)
        if isinstance(r, Reading)
        else "no reading"
    )
    return " ".join(w for w in [*words, value] if w) + "  ", role


def step_lines(records: tuple[ReadingRecord, ...], width: int, height: int) -> list[Line]:
    """The readings of one step, those that are not in first."""
    if not records:
        return []
    rows = worst_first(results_of(records))
    lines: list[Line] = [[("read here before", "quiet")], *(_row(r, width) for r in rows)]
    if len(lines) > height:
        lines[height - 1 :] = [[(f"and {len(lines) - height + 1} more: ", "quiet"), ("v", "key")]]
    return lines


def totals_lines(snapshot: Snapshot, width: int) -> tuple[Line, ...]:
    """The readings of the present step with their verdicts."""
    own = last_readings(snapshot, snapshot.step.id) if snapshot.step is not None else ()
    return tuple(_row(r, width) for r in worst_first(results_of(own)))


def table_lines(snapshot: Snapshot, width: int) -> list[Line]:
    """Each quantity as found and now, with target and verdict; those that are not in come first."""
    rows = worst_first(results_of(snapshot.kept))
    if not rows:
        return [[("Nothing has been measured yet.", "quiet")]]
    out: list[Line] = [_head(width)]
    for (not_in, source), group in groupby(sorted(rows, key=_block), key=_block):
        title = f"{source.capitalize()}{', not in' if not_in == 0 else ''}"
        out += [[], [(title, "strong")], *(_row(r, width) for r in group)]
    return out


def uncertainty_lines(snapshot: Snapshot) -> list[Line]:
    """Sources of uncertainty of the last step's readings, largest first; empty where none are known."""
    known = [(r.reading, budget_lines(r.reading)) for r in last_readings(snapshot)]
    out: list[Line] = []
    for reading, parts in known:
        if parts:
            out += [
                [(f"{reading_name(reading)}, {reading_text(reading)}", "")],
                *([(f"  {p}", "quiet")] for p in parts),
            ]
    return [[], [("What makes the last readings uncertain", "strong")], *out] if out else []


def _block(row: FoundAndNow) -> tuple[int, str]:
    """Sort key of a row: those that are not in first, then by source."""
    return int(row.verdict is None or row.verdict.word == "in"), row.subject.source


def _columns(width: int) -> tuple[int, int, int]:
    """Cells for the name, for a figure, and for a target."""
    figures, target = (18, 16) if width >= ROOMY else (9, 13)
    return max(10, min(60, width - 2 - 2 * figures - 6 - target - 6)), figures, target


def _head(width: int) -> Line:
    what, figures, target = _columns(width)
    names = cell("", 2 + what) + cell("found", figures, "right") + cell("now", figures, "right")
    return [(names + cell("", 6) + cell("target", target), "quiet")]


def _row(row: FoundAndNow, width: int) -> Line:
    what, figures, target = _columns(width)
    verdict = row.verdict
    shape, role = SHAPES[verdict.word] if verdict is not None else (" ", "")

    def written(record: ReadingRecord | None) -> str:
        if record is None:
            return "–"
        r = record.reading
        if isinstance(r, NoReading):
            return "none"
        text = value_text(r) if width >= ROOMY else figure(r.value, r.unit, r.uncertainty, bound=r.bound)
        if len(text) < figures:
            return text
        return figure(r.value, r.unit, bound=r.bound).replace("at most ", "≤ ").replace("at least ", "≥ ")

    unit = "" if row.subject.unit == "1" else row.subject.unit
    return [
        (f"{shape} ", role),
        (_named(row.subject, what), ""),
        (cell(written(row.found), figures, "right"), "quiet"),
        (cell(written(row.now), figures, "right"), role),
        (cell(f" {unit}", 6), "quiet"),
        (cell(target_text(verdict) if verdict is not None else "", target), "quiet"),
        (SHORT[verdict.word] if verdict is not None else "", role),
    ]


def _named(subject: Subject, cells: int) -> str:
    """Name of a row; to save room its title is cut, never what distinguishes it from its neighbours."""
    channel = {"left": "L", "right": "R"}.get(subject.channel, CHANNELS[subject.channel])
    of = plain(" ".join([channel, *subject.details]))
    room = cells - cell_len(of) - 1
    if cell_len(subject.named) <= cells or room < LEAST_TITLE:
        return cell(subject.named, cells)
    return f"{cell(QUANTITIES[subject.quantity].title, room)} {of}"


def drawn_lines(snapshot: Snapshot, width: int) -> list[Line]:
    """The last curve: readings against a trimmer, or else the response of the last step that has one."""
    if snapshot.last_curves and snapshot.kept:
        each = width // len(snapshot.last_curves) - 2
        drawn = [curve_lines(c, each, CURVE_ROWS) for c in snapshot.last_curves]
        beside = side_by_side(drawn[0], drawn[1], each, 3) if len(drawn) > 1 else drawn[0]
        return [_heading(snapshot, snapshot.kept[-1].step), *beside]
    for step in dict.fromkeys(r.step for r in reversed(snapshot.kept)):
        response = response_lines(_tones(last_readings(snapshot, step)), width, CURVE_ROWS)
        if response:
            return [_heading(snapshot, step), *response]
    return []


def _heading(snapshot: Snapshot, step: str) -> Line:
    return [(plain(_title(snapshot, step)), "strong")]


def _tones(records: tuple[ReadingRecord, ...]) -> tuple[ToneRow, ...]:
    """Readings as rows of a tone list."""
    by_tone: dict[float, list[ReadingRecord]] = {}
    for record in records:
        if record.reading.frequency_hz:
            by_tone.setdefault(record.reading.frequency_hz, []).append(record)
    return tuple(ToneRow("", "", "done", hz, tuple((r.reading, r.verdict) for r in own)) for hz, own in by_tone.items())


def earlier_tones(snapshot: Snapshot) -> tuple[ToneRow, ...]:
    """The tone list; a tone that has not come yet shows its reading from the last attempt at this step."""
    own = last_readings(snapshot, snapshot.step.id) if snapshot.step is not None else ()
    if not own or any(t.state != "waiting" for t in snapshot.tones):
        return snapshot.tones
    return tuple(
        replace(
            tone,
            readings=tuple(
                (r.reading, r.verdict)
                for r in own
                if (r.reading.frequency_hz, r.sent_db) == (tone.frequency_hz, tone.sent_db)
            ),
        )
        for tone in snapshot.tones
    )
