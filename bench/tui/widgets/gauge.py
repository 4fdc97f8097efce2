"""One live reading: figures readable from two metres, the target, the direction to turn, and the last minute."""

from __future__ import annotations

from bench.figures import number
from bench.measure.method import beside_dbfs
from bench.measure.reading import NoReading
from bench.procedure.state.snapshot import Curve, Gauge
from bench.tui.text import SHAPES, cell, clip, plain, wrap
from bench.tui.widgets.curve import LEAST_HEIGHT, curve_lines
from bench.tui.widgets.large_digits import ABOUT, DOWN, TICK, UP, large_text
from bench.tui.widgets.line_widget import Line, LineWidget, justified, line_width
from bench.tui.widgets.phase import phase_lines
from bench.tui.widgets.scale import band_lines
from bench.tui.widgets.trace import trace_lines
from bench.words.figures import live_decimals, plus_minus, rotation
from bench.words.readings import phase_of, phase_text, reading_text, target_text

TRACE_ROWS = 6
"""Rows that the trace must keep before the figures become larger."""
LARGEST_TRACE = 16
"""Largest height of the trace, rows."""


BAND_SHOWN = 0.1
"""Wander below this fraction of the tolerance is not shown."""

SoundProblems = tuple[str, str]
"""What makes a reading invalid (clipping, a lost device), shown in place of the direction; and why it should be doubted
(hum, a channel missing), shown in place of the trend."""


def gauge_lines(
    gauge: Gauge, width: int, height: int, sound_problems: SoundProblems = ("", ""), curve: Curve | None = None
) -> list[Line]:
    """A gauge in `width` × `height` cells.

    Args:
        gauge: what is read.
        width: cells.
        height: rows.
        sound_problems: what is wrong with the sound.
        curve: what the reading did as the trimmer was turned, drawn instead of its last minute.
    """
    rows = next((r for r in (9, 7) if height >= r + 5 + TRACE_ROWS and width >= 6 * r), 5)
    space: list[Line] = [[]] if height >= rows + 8 + TRACE_ROWS else []
    lines = [_head(gauge, width), *space, *_figure(gauge, width, rows), *space]
    scale = _scale(gauge, width)
    if curve is not None and height - len(lines) - 4 < LEAST_HEIGHT + 1:
        scale = scale[-1:]  # the curve shows more than the pointer
    lines += [_direction(gauge, width, sound_problems), *scale, *space]
    left = min(LARGEST_TRACE, height - len(lines))
    drawn = curve_lines(curve, width, left) if curve is not None else []
    return [*lines, *(drawn or _trace(gauge, width, left))][:height]


def _trace(gauge: Gauge, width: int, height: int) -> list[Line]:
    verdict = gauge.verdict
    return trace_lines(
        gauge.history, verdict.target, verdict.tolerance, unit=gauge.reading.unit, width=width, height=height
    )


def gauge_brief(gauge: Gauge, width: int) -> Line:
    """A gauge in one line, if there is no room for all of it."""
    found = gauge.measured
    text = f"{number(found.value, _places(gauge))} {found.unit}" if found is not None else "no reading"
    return justified([(plain(gauge.label), "strong"), ("  " + text, "strong")], _judged(gauge), width)


def moves_away(gauge: Gauge) -> bool:
    """Whether a reading that is not in moves away from its target: the trimmer is turned in the wrong direction."""
    if gauge.verdict.word == "in" or gauge.off is None:
        return False
    return gauge.trend == ("rising" if gauge.off > 0 else "falling")


def _places(gauge: Gauge) -> int:
    return live_decimals(gauge.reading.unit, gauge.verdict.tolerance)


def _head(gauge: Gauge, width: int) -> Line:
    unit = gauge.reading.unit
    left: Line = [(plain(gauge.label), "strong"), (f"  {unit}" if unit != "1" else "", "quiet")]
    return justified(left, _judged(gauge), width)


def _judged(gauge: Gauge) -> Line:
    shape, role = SHAPES[gauge.verdict.word]
    return [(f"{shape} {gauge.verdict.word}", role)]


def _figure(gauge: Gauge, width: int, rows: int) -> list[Line]:
    reading = gauge.reading
    if isinstance(reading, NoReading):
        reason_lines = clip(wrap(reading_text(reading), width - 4), rows - 2, width - 4)
        above = (rows - len(reason_lines)) // 2
        return (
            [[]] * above
            + [[("  " + line, "none")] for line in reason_lines]
            + [[]] * (rows - above - len(reason_lines))
        )
    role = SHAPES[gauge.verdict.word][1]
    for places in range(_places(gauge), -1, -1):
        digits = large_text(number(reading.value, places), rows)
        if len(digits[0]) <= width:
            break
    else:
        return [[(cell(number(reading.value, 0), width), role)], *[[]] * (rows - 1)]
    shape = _shape(gauge)
    pad = (rows - len(shape)) // 2
    phase = phase_of(gauge.reading)
    figure = phase_lines(phase[0], rows) if phase and len(digits[0]) + 2 * rows + 18 <= width else []
    out: list[Line] = []
    for row, digit in enumerate(digits):
        line: Line = [(digit, role), *([("      ", ""), *figure[row]] if figure else [])]
        side = shape[row - pad] if 0 <= row - pad < len(shape) else ""
        if side and line_width(line) + 2 + len(side) <= width:
            line += [(" " * (width - line_width(line) - len(side)), ""), (side, role)]
        out.append(line)
    return out


def _shape(gauge: Gauge) -> list[str]:
    """A shape readable from a distance: in, nearly in, or the direction in which the figure must go."""
    if gauge.off is None:
        return []
    match gauge.verdict.word:
        case "in":
            return TICK
        case "too close to call":
            return ABOUT
        case "out":
            return UP if gauge.off < 0 else DOWN
        case _:
            return []


def _direction(gauge: Gauge, width: int, sound_problems: SoundProblems) -> Line:
    trouble, warning = sound_problems
    if trouble:
        return [(cell("! " + trouble, width).rstrip(), "caution")]
    left: Line = [(plain(gauge.direction), "strong")]
    right: Line = []
    if warning:
        right = [("! " + warning, "caution")]
    elif gauge.held_s >= 0.5:
        right = [(f"steady {gauge.held_s:.0f} s", "quiet")]
    elif gauge.trend and gauge.measured is not None:
        arrow = {"rising": "↗", "falling": "↘", "steady": "→"}[gauge.trend]
        right = [(f"{arrow} {gauge.trend}", "quiet")]
        if moves_away(gauge):
            right = [(f"{arrow} {gauge.trend}, away", "caution")]
    if gauge.turn is not None and abs(gauge.turn) >= 0.5:
        gap = "  " if gauge.direction else ""
        whole: Line = [(f"{gap}turn {rotation(gauge.turn)}", "accent")]
        brief: Line = [(f"{gap}turn {number(gauge.turn, 0, sign=True)}°", "accent")]
        choices = [(whole, right), (brief, right), (brief, right if warning else [])]
        turn, right = next((c for c in choices if line_width([*left, *c[0], *c[1]]) < width), choices[-1])
        left += turn
    if line_width([*left, *right]) >= width and not warning:
        right = []
    return justified(left, right, width)


def _scale(gauge: Gauge, width: int) -> list[Line]:
    verdict, reading = gauge.verdict, gauge.measured
    unit = gauge.reading.unit
    if verdict.tolerance is None:
        limit = f"{target_text(verdict)} {unit}" if verdict.limit else ""
        return [[], [], [(limit, "")]]
    legend: Line = [(f"target {target_text(verdict)} {unit}", "")]
    if reading is not None and reading.uncertainty:
        bound = f"{reading.bound} · " if reading.bound else ""
        legend.append((f"  {bound}read to {plus_minus(reading.uncertainty, unit)}", "quiet"))
    if gauge.band >= BAND_SHOWN * verdict.tolerance:
        legend.append((f"  wanders {plus_minus(gauge.band, unit)}", "quiet"))
    if phase := phase_text(gauge.reading):
        legend.append((f"  {phase}", "quiet"))
    if electrical := beside_dbfs(gauge.reading.method):
        legend.insert(1, (f"  reads {electrical}", "quiet"))
    while line_width(legend) > width and len(legend) > 1:
        legend.pop()
    role = SHAPES[verdict.word][1]
    return [*band_lines(gauge.off, verdict.tolerance, width, role, wander=gauge.band), legend]


class GaugeColumn(LineWidget):
    """One gauge in a column."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._gauge: Gauge | None = None
        self._more: tuple[Gauge, ...] = ()
        self._sound_problems: SoundProblems = ("", "")
        self._curve: Curve | None = None

    def show(
        self,
        gauge: Gauge | None,
        sound_problems: SoundProblems = ("", ""),
        more: tuple[Gauge, ...] = (),
        curve: Curve | None = None,
    ) -> None:
        """Show a gauge, with its curve if it has one; `more` are shown below in one line each."""
        if (gauge, sound_problems, more, curve) != (self._gauge, self._sound_problems, self._more, self._curve):
            self._gauge, self._sound_problems, self._more, self._curve = gauge, sound_problems, more, curve
            self.repaint()

    def lines(self, width: int, height: int) -> list[Line]:
        """The gauge, and the others in one line each."""
        if self._gauge is None:
            return []
        brief = [gauge_brief(g, width) for g in self._more]
        return [*gauge_lines(self._gauge, width, height - len(brief), self._sound_problems, self._curve), *brief]
