"""The response plots of a report: as found and as left between their limits, as SVG to embed in a page.

Only the figure and SVG canvas of matplotlib are used; no state is kept between plots.
"""

from __future__ import annotations

import io
import logging
import re
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

# It logs messages about fonts to stderr, which the person reads.
logging.getLogger("matplotlib").setLevel(logging.ERROR)

import matplotlib as mpl  # noqa: E402
from matplotlib.axes import Axes  # noqa: E402
from matplotlib.backends.backend_svg import FigureCanvasSVG  # noqa: E402
from matplotlib.figure import Figure  # noqa: E402
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullFormatter, NullLocator  # noqa: E402

from bench.figures import as_given, hertz  # noqa: E402
from bench.measure.stage import Stage  # noqa: E402
from bench.procedure.state.journal import ReadingRecord  # noqa: E402
from bench.session.report.tables import STAGE_ORDER, ResponseTable  # noqa: E402
from bench.words.figures import figure, hertz_tick  # noqa: E402
from bench.words.names import CHANNELS  # noqa: E402

INK, MUTED, RULE = "#211d19", "#5c554b", "#d8d1c4"
CORRIDOR, EDGE = "#eef1e6", "#a9b58f"
STYLES: dict[Stage, dict[str, Any]] = {
    "found-dirty": {"color": "#8d8474", "linestyle": (0, (1, 1.6)), "marker": "x", "linewidth": 1.1},
    "found-clean": {"color": "#a8551f", "linestyle": (0, (5, 2)), "marker": "o", "linewidth": 1.3},
    "left": {"color": INK, "linestyle": "-", "marker": "s", "linewidth": 1.6},
}
"""Stages differ in dash and marker as well as in colour, because the page may be printed in black."""

_TICKS = (20, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000)
Curve = list[tuple[float, ReadingRecord]]


def response_svg(tables: Sequence[ResponseTable], name: str) -> str:
    """Responses side by side as one `<svg>` element, with letters drawn as paths.

    Args:
        tables: the report's tables of these responses; one or two.
        name: prefix of every id inside, so that one page can hold several.
    """
    panels = [(table, n) for table in tables for n in range(len(table.channels))]
    with mpl.rc_context({"svg.fonttype": "path", "font.family": "DejaVu Sans", "font.size": 6.5, "svg.hashsalt": name}):
        drawn = Figure(figsize=(7.1 if len(panels) > 1 else 4.6, 1.7))
        FigureCanvasSVG(drawn)
        axes = drawn.subplots(1, len(panels), squeeze=False)[0]
        for ax, (table, n) in zip(axes, panels, strict=True):
            _panel(ax, table, n)
            title = f"{table.state or table.subject}, {CHANNELS[table.channels[n]]}, dB"
            ax.set_title(title[0].upper() + title[1:], fontsize=6.5, color=INK, loc="left", fontweight="bold", pad=3)
            ax.set_ylim(*_range(table))
            ax.yaxis.set_major_locator(MaxNLocator(5, integer=True, steps=[1, 2, 5, 10]))
            ax.yaxis.set_major_formatter(FuncFormatter(lambda y, _: as_given(y)))
        named: dict[str, Any] = {}
        for ax in axes:
            for handle, label in zip(*ax.get_legend_handles_labels(), strict=True):
                named.setdefault(label, handle)
        drawn.legend(
            list(named.values()), list(named), loc="lower center", ncols=4, frameon=False, fontsize=6.5, labelcolor=INK
        )
        drawn.subplots_adjust(left=0.03 if len(panels) > 1 else 0.07, right=0.998, top=0.9, bottom=0.26, wspace=0.2)
        out = io.StringIO()
        drawn.savefig(out, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    return _inline(out.getvalue(), name, " ".join(alternative(table) for table in tables))


def as_svg(draw: Callable[[Axes], None], size: tuple[float, float], left: float, name: str, words: str) -> str:
    """One plot as an `<svg>` element, with letters drawn as paths.

    Args:
        draw: draws into the axes.
        size: width and height, inches.
        left: left edge of the axes, as a fraction of the width.
        name: prefix of every id inside.
        words: the plot in words, for readers who cannot see it.
    """
    with mpl.rc_context({"svg.fonttype": "path", "font.family": "DejaVu Sans", "font.size": 6, "svg.hashsalt": name}):
        drawn = Figure(figsize=size)
        FigureCanvasSVG(drawn)
        axes = drawn.subplots()
        drawn.subplots_adjust(left=left, right=0.985, top=0.96, bottom=0.24)
        draw(axes)
        out = io.StringIO()
        drawn.savefig(out, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    return _inline(out.getvalue(), name, words)


def alternative(table: ResponseTable) -> str:
    """The plot in words, for readers who cannot see it."""
    channels = " and ".join(CHANNELS[c] for c in table.channels)
    text = f"{table.title}, {channels}, from {hertz(table.rows[0].hz)} to {hertz(table.rows[-1].hz)}."
    for stage in table.stages:
        values = [r.measured.value for _, r in _all(table, stage) if r.measured]
        if values:
            text += f" {table.names[stage].capitalize()} between {figure(min(values), 'dB')} and"
            text += f" {figure(max(values), 'dB')} dB."
        else:
            text += f" {table.names[stage].capitalize()}: no reading."
    return f"{text} The table of the same name has the figures and limits."


def _panel(ax: Axes, table: ResponseTable, channel: int) -> None:
    _limits(ax, [r for row in table.rows if (r := _judged(row.points[channel].records)) is not None])
    one_level = len({row.hz for row in table.rows}) == len(table.rows)
    for stage in table.stages:
        curve = _curve(table, stage, channel)
        values = [r.measured.value if r.measured else np.nan for _, r in curve]
        if np.all(np.isnan(values)):
            continue
        style = STYLES[stage] if one_level else STYLES[stage] | {"linestyle": ""}
        ax.errorbar(
            [hz for hz, _ in curve],
            values,
            yerr=[r.measured.uncertainty if r.measured else 0.0 for _, r in curve] if stage == "left" else None,
            label=table.names[stage],
            markersize=3.2,
            markerfacecolor="white" if stage == "found-clean" else style["color"],
            markeredgewidth=0.9,
            elinewidth=0.8,
            capsize=1.8,
            zorder=3,
            **style,
        )
    hz = [row.hz for row in table.rows]
    ax.set_xscale("log")
    ax.set_xlim(min(hz) / 1.15, max(hz) * 1.15)
    ticks = [t for t in _TICKS if min(hz) / 1.15 <= t <= max(hz) * 1.15]
    ax.xaxis.set_major_locator(FixedLocator(ticks if len(ticks) > 1 else hz))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda x, _: hertz_tick(x)))
    ax.xaxis.set_minor_locator(NullLocator())
    ax.xaxis.set_minor_formatter(NullFormatter())
    ax.set_xlabel("Hz", color=MUTED, labelpad=1)
    ax.grid(color=RULE, linewidth=0.5)
    ax.set_axisbelow(True)
    ax.tick_params(colors=MUTED, length=0, labelsize=6)
    ax.axhline(0, color=MUTED, linewidth=0.6, zorder=1)
    for side, spine in ax.spines.items():
        spine.set_visible(side == "bottom")
        spine.set_color(RULE)


def _limits(ax: Axes, judged: list[ReadingRecord]) -> None:
    """Draw the limits as a band that changes half-way (in octaves) between the frequencies at which they are known."""
    gates = sorted(
        (r.reading.frequency_hz, r.verdict.target - r.verdict.tolerance, r.verdict.target + r.verdict.tolerance)
        for r in judged
        if r.reading.frequency_hz and r.verdict and r.verdict.tolerance is not None
    )
    if not gates:
        return
    hz = np.array([g[0] for g in gates])
    middles = np.sqrt(hz[1:] * hz[:-1])
    edges = np.concatenate(([hz[0] / 1.1], middles, [hz[-1] * 1.1]))
    x = np.repeat(edges, 2)[1:-1]
    low, high = (np.repeat([g[side] for g in gates], 2) for side in (1, 2))
    ax.fill_between(x, low, high, color=CORRIDOR, linewidth=0, zorder=0, label="limits")
    for edge in (low, high):
        ax.plot(x, edge, color=EDGE, linewidth=0.9, zorder=1)


def _range(table: ResponseTable) -> tuple[float, float]:
    ends = [-1.0, 1.0]
    for row in table.rows:
        for point in row.points:
            for r in point.records:
                if r is None:
                    continue
                if r.measured is not None:
                    ends += [r.measured.value - r.measured.uncertainty, r.measured.value]
                if r.verdict and r.verdict.tolerance is not None:
                    ends += [r.verdict.target - r.verdict.tolerance, r.verdict.target + r.verdict.tolerance]
    room = 0.06 * (max(ends) - min(ends))
    return min(ends) - room, max(ends) + room


def _judged(records: tuple[ReadingRecord | None, ...]) -> ReadingRecord | None:
    return next((r for r in reversed(records) if r and r.verdict and r.verdict.tolerance is not None), None)


def _curve(table: ResponseTable, stage: Stage, channel: int) -> Curve:
    n = STAGE_ORDER.index(stage)
    found = ((row.hz, row.points[channel].records[n]) for row in table.rows)
    return [(hz, r) for hz, r in found if r is not None]


def _all(table: ResponseTable, stage: Stage) -> Curve:
    return [pair for channel in range(len(table.channels)) for pair in _curve(table, stage, channel)]


def _inline(svg: str, name: str, words: str) -> str:
    """Only the element, ready to embed: no prologue, no metadata, no ids or links but its own."""
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = re.sub(r'\bid="', f'id="{name}-', svg)
    svg = re.sub(r'href="#', f'href="#{name}-', svg)
    svg = svg.replace("url(#", f"url(#{name}-")
    head, body = svg.split(">", 1)
    view = re.search(r'viewBox="[^"]*"', head)
    box = view.group() if view else ""
    label = words.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;")
    return f'<svg {box} role="img" aria-label="{label}">{body}'
