"""The small plots of a report: azimuth, components of flutter, bias, and what is heard with noise reduction."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullLocator

from bench.figures import as_given, hertz, number
from bench.measure.reading import Reading
from bench.measure.stage import Stage
from bench.measure.verdict import Verdict
from bench.procedure.state.dependencies import aspect_set_by
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.event_words import curve_label
from bench.procedure.state.events import CurveTaken
from bench.procedure.state.journal import ReadingRecord
from bench.session.report.plots import CORRIDOR, EDGE, INK, MUTED, RULE, STYLES, as_svg
from bench.session.report.tables import STAGE_ORDER
from bench.tape.mistracking_map import FREQUENCIES_HZ, LEVELS_DB, MistrackingMap
from bench.words.figures import decibels, figure, hertz_tick
from bench.words.names import STAGES, short_stage
from bench.words.readings import value_text

Panel = Callable[[Axes], None]
SIZE = (2.2, 1.45)


@dataclass(frozen=True, slots=True)
class SmallPlot:
    """A plot and its caption."""

    title: str
    detail: str
    svg: str


def small_plots(
    records: tuple[ReadingRecord, ...],
    events: tuple[Event, ...],
    tracking: MistrackingMap | None,
    when: str,
    names: Mapping[Stage, str] = STAGES,
) -> list[SmallPlot]:
    """The small plots for which there is anything to draw.

    Args:
        records: the readings that count.
        events: events of the session, including curves.
        tracking: effect of Type B on the worse channel; None for no map.
        when: the stage of that map, in words.
        names: names of the stages.
    """
    mistracking = _map(tracking, when) if tracking else None
    out = [_azimuth(records, names), _flutter(records, names), _curves(events), mistracking]
    return [plot for plot in out if plot is not None]


def _azimuth(records: tuple[ReadingRecord, ...], names: Mapping[Stage, str]) -> SmallPlot | None:
    last: dict[tuple[str, str, str, Stage], tuple[Reading, Verdict | None]] = {}
    for r in records:
        if r.measured is not None and r.measured.quantity == "azimuth_delay":
            last[r.source, r.lot, r.direction, r.stage] = r.measured, r.verdict
    keys = sorted(last, key=lambda k: (k[0] != "reference tape", *k[1:3], STAGE_ORDER.index(k[3])))
    if not keys:
        return None
    halves = {"reference tape": "replay", "record-replay": "record"}
    rows = [
        f"{lot or halves.get(source, source)}{' in reverse' * bool(direction)}, {short_stage(names[stage])}"
        for source, lot, direction, stage in keys
    ]

    def draw(ax: Axes) -> None:
        for n, key in enumerate(keys):
            reading, verdict = last[key]
            low, high = _limits(verdict)
            if high > low:
                ax.fill_betweenx([n - 0.4, n + 0.4], low, high, color=CORRIDOR, linewidth=0)
                ax.plot([low, low], [n - 0.4, n + 0.4], [high, high], [n - 0.4, n + 0.4], color=EDGE, linewidth=0.9)
            style = STYLES[key[3]]
            ax.errorbar(
                reading.value,
                n,
                xerr=reading.uncertainty,
                color=style["color"],
                marker=style["marker"],
                markersize=3.6,
                capsize=2,
            )
        ax.set_yticks(range(len(keys)), rows, fontsize=6)
        ax.invert_yaxis()
        ax.axvline(0, color=MUTED, linewidth=0.6, zorder=0)
        ax.xaxis.set_major_formatter(FuncFormatter(lambda x, _: as_given(x)))
        ax.set_xlabel("µs between the channels", color=MUTED, labelpad=1)

    said = "; ".join(f"{name} {value_text(last[key][0], unit=True)}" for name, key in zip(rows, keys, strict=True))
    return _plot("Azimuth", "delay between the channels, with its limits", f"Azimuth: {said}.", draw, left=0.46)


def _flutter(records: tuple[ReadingRecord, ...], names: Mapping[Stage, str]) -> SmallPlot | None:
    components = [(r.stage, r.measured) for r in records if r.measured and r.measured.quantity == "flutter_component"]
    stage = next((s for s in reversed(STAGE_ORDER) if any(of == s for of, _ in components)), None)
    parts: dict[float, Reading] = {}
    for of, r in components:
        if of == stage and r.frequency_hz and (r.frequency_hz not in parts or r.value > parts[r.frequency_hz].value):
            parts[r.frequency_hz] = r
    if not parts or stage is None:
        return None
    rows = sorted(parts.items())

    def draw(ax: Axes) -> None:
        hz, values = zip(*((hz, r.value) for hz, r in rows), strict=True)
        ax.vlines(hz, 0, values, color=INK, linewidth=1.4)
        ax.plot(hz, values, linestyle="", marker="s", color=INK, markersize=3)
        ax.set_xscale("log")
        ax.set_xlim(min(0.2, *hz) / 1.2, max(200.0, *hz) * 1.2)
        ax.xaxis.set_major_locator(FixedLocator([0.2, 1, 5, 20, 100]))
        ax.xaxis.set_major_formatter(FuncFormatter(lambda x, _: hertz_tick(x)))
        ax.xaxis.set_minor_locator(NullLocator())
        ax.set_ylim(0, max(values) * 1.15)
        ax.set_xlabel("Hz; peak, % of the carrier", color=MUTED, labelpad=1)

    worst = sorted(rows, key=lambda row: -row[1].value)[:3]
    said = ", ".join(f"{value_text(r, unit=True)} at {hertz(hz)}" for hz, r in worst)
    title = "Flutter by its parts"
    return _plot(title, names[stage], f"Flutter by its parts, {names[stage]}; the largest: {said}.", draw)


def _curves(events: tuple[Event, ...]) -> SmallPlot | None:
    """The curves of bias from the step at which it was turned last."""
    curves = {(c.step, curve_label(c)): c for c in of_kind(events, CurveTaken) if _is_of_bias(c) and len(c.points) > 2}
    if not curves:
        return None
    step = next(reversed(curves))[0]
    shown = {label: c for (of, label), c in curves.items() if of == step}
    any_ = next(iter(shown.values()))

    def draw(ax: Axes) -> None:
        for n, (label, curve) in enumerate(shown.items()):
            style = list(STYLES.values())[-1 - n % 2]
            x, y = zip(*curve.points, strict=True)
            ax.plot(x, y, label=label, markersize=2.6, **{**style, "linewidth": 1.1})
        ax.yaxis.set_major_locator(MaxNLocator(5))
        ax.yaxis.set_major_formatter(FuncFormatter(lambda y, _: as_given(y)))
        ax.xaxis.set_major_formatter(FuncFormatter(lambda x, _: as_given(x)))
        ax.set_xlabel(f"{any_.along} of the trimmer; {any_.unit}", color=MUTED, labelpad=1)
        ax.legend(frameon=False, fontsize=5.5, labelcolor=INK)

    said = "; ".join(
        f"{label} from {figure(min(y for _, y in c.points), c.unit)} to {figure(max(y for _, y in c.points), c.unit)} "
        f"{c.unit}"
        for label, c in shown.items()
    )
    detail = "what its tone did as the trimmer was turned"
    return _plot("Bias", detail, f"Bias, {detail}: {said}.", draw)


def _is_of_bias(curve: CurveTaken) -> bool:
    return curve.quantity == "overbias" or aspect_set_by(curve.trimmer) == "bias"


def _map(tracking: MistrackingMap, when: str) -> SmallPlot:
    top = max(3.0, math.ceil(float(np.abs(tracking.heard_db).max())))

    def draw(ax: Axes) -> None:
        steps = np.linspace(-top, top, 2 * int(top) + 1 if top <= 6 else 13)
        filled = ax.contourf(FREQUENCIES_HZ, LEVELS_DB, tracking.heard_db, steps, cmap="PuOr")
        edges = [-tracking.tolerance_db, tracking.tolerance_db]
        lines: dict[str, Any] = {"colors": INK, "linewidths": 0.8, "linestyles": ["-", "--"]}
        ax.contour(FREQUENCIES_HZ, LEVELS_DB, tracking.heard_db, edges, **lines)
        if abs(tracking.worst_db) >= 0.05:
            ax.plot(tracking.worst_hz, tracking.worst_level_db, marker="x", color=INK, markersize=5)
        ax.set_xscale("log")
        ax.xaxis.set_major_locator(FixedLocator([125, 500, 2000, 8000]))
        ax.xaxis.set_major_formatter(FuncFormatter(lambda x, _: hertz_tick(x)))
        ax.xaxis.set_minor_locator(NullLocator())
        ax.yaxis.set_major_formatter(FuncFormatter(lambda y, _: as_given(y)))
        ax.set_xlabel("Hz; level up, dB; × the worst", color=MUTED, labelpad=1)
        bar = ax.figure.colorbar(filled, ax=ax, pad=0.03, ticks=[-top, 0, top])
        bar.ax.tick_params(labelsize=5.5, length=0, colors=MUTED)
        bar.ax.yaxis.set_major_formatter(FuncFormatter(lambda y, _: number(y, 0, sign=True)))
        bar.outline.set_visible(False)

    said = (
        f"What is heard with Type B {when}, response error and mistracking together, over levels from 0 to −50 dB and "
        f"frequencies from 40 Hz to 16 kHz: at worst {number(tracking.worst_db, 2)} dB at {hertz(tracking.worst_hz)} "
        f"and {decibels(tracking.worst_level_db)}, of which {number(tracking.worst_mistracking_db, 2)} dB are "
        f"mistracking. Lines show where it reaches ± {as_given(tracking.tolerance_db)} dB."
    )
    detail = f"{when}; dB, negative is duller; lines at ±{as_given(tracking.tolerance_db)} dB"
    return _plot("Heard with Type B", detail, said, draw)


def _limits(v: Verdict | None) -> tuple[float, float]:
    if v is None or v.tolerance is None:
        return 0.0, 0.0
    return v.target - v.tolerance, v.target + v.tolerance


def _plot(title: str, detail: str, words: str, draw: Panel, left: float = 0.14) -> SmallPlot:
    def panel(ax: Axes) -> None:
        draw(ax)
        ax.grid(color=RULE, linewidth=0.5)
        ax.set_axisbelow(True)
        ax.tick_params(colors=MUTED, length=0, labelsize=6)
        for side, spine in ax.spines.items():
            spine.set_visible(side == "bottom")
            spine.set_color(RULE)

    name = "small-" + title.lower().replace(" ", "-")
    return SmallPlot(title, detail, as_svg(panel, SIZE, left, name, words))
