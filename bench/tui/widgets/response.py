"""Response against frequency between its limits, on a logarithmic axis, or on a linear one with the fitted film."""

from __future__ import annotations

import math

import numpy as np

from bench.figures import number
from bench.measure.catalogue import CURVES
from bench.measure.verdict import off_target
from bench.procedure.state.snapshot import FoundPoint, ToneRow
from bench.tape.losses import fitted_spacing_um, spacing_loss_db
from bench.tui.text import cell
from bench.tui.widgets.braille import BrailleCanvas
from bench.tui.widgets.curve import overlay
from bench.tui.widgets.line_widget import Line
from bench.words.figures import hertz_tick

LABEL = 6
LEAST_WIDTH, LEAST_HEIGHT = 24, 6
"""Below it nothing is drawn."""
MARKS = (31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0)
STEPS_DB = (1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 12.0, 16.0, 24.0, 48.0, 96.0)
"""Possible ends of the scale: a few fixed steps, so that it seldom changes."""

BEFORE = "lrb○"
"""Characters that mark as-found readings."""

Point = tuple[float, float, float]
"""Hz, dB from the target, tolerance in dB."""


def points_of(tones: tuple[ToneRow, ...]) -> dict[str, list[Point]]:
    """The points to draw: for each channel the readings with a target, lowest frequency first.

    `response` readings if there are any, else levels.
    """
    for quantity in CURVES:
        by_channel: dict[str, list[Point]] = {}
        for tone in tones:
            for reading, verdict in tone.readings:
                off = off_target(reading, verdict)
                if reading.quantity != quantity or off is None or verdict is None or verdict.tolerance is None:
                    continue
                point = (tone.frequency_hz, off, verdict.tolerance)
                by_channel.setdefault(reading.channel, []).append(point)
        if any(len({p[0] for p in points}) > 1 for points in by_channel.values()):
            return {channel: sorted(points) for channel, points in by_channel.items()}
    return {}


def response_lines(
    tones: tuple[ToneRow, ...],
    width: int,
    height: int,
    as_found: tuple[FoundPoint, ...] = (),
    film_at: float | None = None,
) -> list[Line]:
    """Draw the response: "L" and "R" at the tones, "B" where both coincide, joined by dots; limits dotted.

    Empty if there is nothing to draw yet, or no room.

    Args:
        tones: what is measured now.
        width: cells.
        height: rows.
        as_found: as-found readings of the tones: "l" and "r", "b" where both meet, not joined.
        film_at: tape speed, mm/s, for a linear frequency axis and the fitted film between tape and head; on a
            logarithmic axis its straight line would be a knee.
    """
    curves = points_of(tones)
    if not curves or height < LEAST_HEIGHT or width < LEAST_WIDTH:
        return []
    rows = height - 3
    dots = BrailleCanvas(width - LABEL, rows)
    everything = [p for points in curves.values() for p in points]
    before = [p for p in as_found if p.channel in curves]
    reached = [max(abs(error), tolerance) for _, error, tolerance in everything]
    worst = max([*reached, *(abs(p.off) for p in before)])
    span = next((s for s in STEPS_DB if s >= worst * 1.1), worst * 1.1)
    along = [p[0] for p in everything] + [p.frequency_hz for p in before]
    lowest, highest = (0.0, max(along) * 1.05) if film_at else (min(along) / 1.2, max(along) * 1.2)

    def column(hz: float) -> int:
        if film_at:
            return round(hz / highest * (dots.across - 1))
        return round(math.log(hz / lowest) / math.log(highest / lowest) * (dots.across - 1))

    def row(db: float) -> int:
        return round((1 - (db + span) / (2 * span)) * (dots.down - 1))

    limits = sorted({(hz, tolerance) for hz, _, tolerance in everything})
    for side in (1, -1):
        across = np.array([0, *(column(hz) for hz, _ in limits), dots.across - 1])
        edge = [side * t for _, t in limits]
        dots.curve("band", across, np.array([row(db) for db in (edge[0], *edge, edge[-1])]))
    dots.layer("band")[:, 1::2] = False
    films = fitted_films(curves, film_at) if film_at else {}
    for spacing, offset in films.values():
        ends = np.array([1.0, highest])
        level = np.clip(offset + spacing_loss_db(ends, film_at or 1.0, spacing), -span, span)
        dots.curve("film", np.array([column(hz) for hz in ends]), np.array([row(db) for db in level]))
    marks: dict[tuple[int, int], str] = {}
    for point in before:
        at = (max(0, min(rows - 1, row(point.off) // 4)), column(point.frequency_hz) // 2)
        letter = {"left": "l", "right": "r"}.get(point.channel, "○")
        marks[at] = letter if marks.get(at, letter) == letter else "b"
    for channel, points in curves.items():
        columns, levels = np.array([column(p[0]) for p in points]), np.array([row(p[1]) for p in points])
        dots.curve("trace", columns, levels)
        for x, y in zip(columns.tolist(), levels.tolist(), strict=True):
            at = (max(0, min(rows - 1, y // 4)), x // 2)
            letter = {"left": "L", "right": "R"}.get(channel, "●")
            marks[at] = "B" if letter in "LR" and marks.get(at) in ("B", {"L": "R", "R": "L"}[letter]) else letter
    sheet = [
        overlay(
            line, {x: (sign, "quiet" if sign in BEFORE else "strong") for (my, x), sign in marks.items() if my == y}
        )
        for y, line in enumerate(dots.lines())
    ]
    letters = "L  R  B both" if len(curves) > 1 else ""
    if before:
        letters += "   as found l  r  b" if len(curves) > 1 else "● now  ○ as found"
    if film_at:
        sides = [f"{channel} {number(spacing, 1)} µm" for channel, (spacing, _) in films.items()]
        letters += f"   film that fits: {', '.join(sides) or 'none'}"
    head: Line = [(cell(f"dB off target  {letters}", width).rstrip(), "quiet")]
    labels = {0: f"+{span:.0f}", row(0) // 4: "0", rows - 1: f"−{span:.0f}"}
    body = [
        [(cell(labels.get(y, ""), LABEL - 1, "right"), "quiet"), ("│", "rule"), *line] for y, line in enumerate(sheet)
    ]
    return [head, *body, *_axis(lowest, highest, column, width)]


LEAST_FILM_UM = 0.1
"""No response can show a thinner film."""
ABOVE_HZ = 300.0
"""Below this a film costs almost nothing, and the shape of the head shows instead."""
BESIDE_DB = 0.7
"""Largest rms residual of a loss that still counts as a straight line; common practice, no source."""


def fitted_films(curves: dict[str, list[Point]], speed_mm_s: float) -> dict[str, tuple[float, float]]:
    """For each channel whose loss is a straight line: the film, µm, and the level of the line at 0 Hz, dB."""
    out = {}
    for channel, points in curves.items():
        high = [(hz, db) for hz, db, _ in points if hz >= ABOVE_HZ]
        if len(high) < 4:
            continue
        spacing, offset, beside = fitted_spacing_um([p[0] for p in high], [p[1] for p in high], speed_mm_s)
        if spacing >= LEAST_FILM_UM and beside <= BESIDE_DB:
            out[channel] = (spacing, offset)
    return out


def _axis(lowest: float, highest: float, column, width: int) -> list[Line]:  # type: ignore[no-untyped-def]
    axis = [" "] * (LABEL - 1) + ["└"] + ["─"] * (width - LABEL)
    names = [" "] * width
    free = LABEL - 1
    for hz in MARKS:
        if not lowest <= hz <= highest:
            continue
        x = LABEL + column(hz) // 2
        name = hertz_tick(hz)
        start = x - len(name) // 2
        if start < free or start + len(name) > width:
            continue
        axis[x] = "┴"
        names[start : start + len(name)] = name
        free = start + len(name) + 1
    names[width - 2 : width] = "Hz" if free <= width - 2 else "".join(names[width - 2 : width])
    return [[("".join(axis), "rule")], [("".join(names), "quiet")]]
