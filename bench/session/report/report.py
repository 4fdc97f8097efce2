"""The report of a session: one self-contained page, and a table next to it."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import resources
from itertools import groupby
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup

from bench.measure.stage import Stage
from bench.problem import Problem
from bench.procedure.state.ranking import CRITERIA, RANKED, best_words, figure_words
from bench.procedure.state.record_to_replay import LATEST_FIRST
from bench.session.record.atomic import save_file
from bench.session.record.reader import read_session
from bench.session.record.record import SessionRecord
from bench.session.record.rescue import disk_remedy
from bench.session.report.csv_table import csv_text
from bench.session.report.document import Document, document_of
from bench.session.report.owner_summary import tracking_of
from bench.session.report.plots import response_svg
from bench.session.report.small_plots import SmallPlot, small_plots
from bench.session.report.tables import STAGE_ORDER, ResponseTable
from bench.session.report.uncertainties import uncertainties
from bench.words.names import CHANNELS, SIGNS, short_stage
from bench.words.sentences import counted, inert

REPORT_NAME = "report.html"
TABLE_NAME = "readings.csv"
_CLASSES = {"in": "in", "out": "out", "too close to call": "close", "no reading": "none", "": ""}
CURVE_TONES = 5
DENSE_LINES = (70, 100)
"""Sessions with more lines than these are printed smaller, so that they fit on two pages."""


def write_report(folder: Path) -> Path:
    """Write `report.html` and `readings.csv` of a session over the previous ones.

    Args:
        folder: the session's folder. The session may be unfinished, which the report states.

    Returns:
        Path of the report.

    Raises:
        Problem: the session can't be read, or the files can't be written.
    """
    session = read_session(folder)
    page = report_html(session)
    try:
        save_file(folder / TABLE_NAME, csv_text(session).encode())
        save_file(folder / REPORT_NAME, page.encode())
    except OSError as error:
        raise Problem(f"{folder}: the report cannot be written: {disk_remedy(error)}") from None
    return folder / REPORT_NAME


def report_html(session: SessionRecord) -> str:
    """The page. Text from files and typed text is escaped, and has no control characters."""
    document = document_of(session)
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True, finalize=_inert
    )
    template = environment.from_string(
        resources.files("bench.session.report").joinpath("report.html.jinja").read_text(encoding="utf-8")
    )
    return template.render(
        c=document,
        plots=_plots(document),
        counted=counted,
        density=_density(document),
        small=[(p, Markup(p.svg)) for p in _small(session, document.stages)],
        figures=[
            (source, list(measurements)) for source, measurements in groupby(document.figures, key=lambda t: t.source)
        ],
        stages=_stages(document),
        shown=_shown,
        short=short_stage,
        best=best_words,
        figure=figure_words,
        by=CRITERIA,
        ranked_by=RANKED,
        stage_heads=[short_stage(document.stages[stage]).capitalize() for stage in STAGE_ORDER],
        channels=CHANNELS,
        signs=SIGNS,
        classes=_CLASSES,
        budgets=uncertainties(session.valid_readings, document.stages, session.titles),
    )


def _plots(document: Document) -> list[tuple[list[ResponseTable], Markup]]:
    """The response plots, two side by side; a response of few tones is only in its table."""
    drawn = [t for t in document.responses if len({row.hz for row in t.rows}) >= CURVE_TONES]
    pairs = [drawn[n : n + 2] for n in range(0, len(drawn), 2)]
    return [(pair, Markup(response_svg(pair, f"plot{n}"))) for n, pair in enumerate(pairs, start=1)]


def _density(document: Document) -> int:
    """How small the page is printed, 0 for the usual size, from the lines of its tables and the space for its plots."""
    lines = sum(len(t.lines) for t in document.figures) + 8 * len(document.responses) + 20 * len(_plots(document))
    lines += len(document.noted) // 2
    return sum(lines > limit for limit in DENSE_LINES)


def _small(session: SessionRecord, names: Mapping[Stage, str]) -> list[SmallPlot]:
    """The small plots; the map of mistracking shows the last stage that was measured."""
    latest = session.valid_readings
    tracking, stage = None, ""
    for of in LATEST_FIRST:
        tracking, stage = tracking_of(latest, of), names[of]
        if tracking is not None:
            break
    return small_plots(latest, session.events, tracking, stage, names)


def _stages(document: Document) -> list[int]:
    """The columns of the table of figures: always the last, and an as-found stage where it has a reading."""
    return [
        n for n in range(3) if n == 2 or any(line.cells[n].text != "–" for t in document.figures for line in t.lines)
    ]


def _shown(table: ResponseTable) -> list[int]:
    return [STAGE_ORDER.index(stage) for stage in table.stages]


def _inert(value: Any) -> Any:
    return inert(value) if isinstance(value, str) and not isinstance(value, Markup) else value
