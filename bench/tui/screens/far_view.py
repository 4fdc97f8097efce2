"""The view for reading from two metres: one figure, its arrow and its trimmer, or cautions and a large instruction."""

from __future__ import annotations

from bench.figures import number
from bench.measure.reading import NoReading
from bench.procedure.state.snapshot import Gauge, Snapshot
from bench.tui.screens.large_letters import large_words
from bench.tui.text import SHAPES, plain, wrap
from bench.tui.widgets.large_digits import ABOUT, DOWN, TICK, UP, large_text
from bench.tui.widgets.line_widget import Line, LineWidget, line_width
from bench.tui.widgets.step_card import card_lines, card_parts, fold_cautions, rows_of
from bench.words.figures import live_decimals, rotation

SHAPE_OF = {"in": TICK, "too close to call": ABOUT}

LARGEST = 21
"""Rows of the tallest figure."""


def far_lines(snapshot: Snapshot, picked: int, width: int, height: int) -> list[Line]:
    """The view in `width` × `height` cells.

    Args:
        snapshot: what the bench shows.
        picked: index of the trimmer that is turned by key.
        width: cells.
        height: rows.
    """
    gauge = gauge_shown(snapshot, picked)
    if gauge is not None:
        return _gauge(gauge, width, height)
    cautions = _cautions(snapshot, width, height // 2)
    text = snapshot.step.do if snapshot.step is not None else ""
    lines = large_words(text or snapshot.prompt.text, width, height - len(cautions))
    return [*cautions, *([(line, "strong")] for line in lines)]


def _cautions(snapshot: Snapshot, width: int, height: int) -> list[Line]:
    """The cautions of the step, complete if there is room, otherwise the names of their hazards."""
    parts = card_parts(snapshot.step) if snapshot.step is not None else []
    parts = [part for part in parts if part[2] == "caution"]
    if rows_of(parts, width) > height:
        parts = fold_cautions(parts)
    return card_lines(parts, width, rows_of(parts, width))[:height]


def gauge_shown(snapshot: Snapshot, picked: int) -> Gauge | None:
    """The gauge of the picked trimmer; where no trimmer is turned by key, the gauge that is furthest out."""
    if not snapshot.gauges:
        return None
    if snapshot.trimmers:
        name = snapshot.trimmers[min(picked, len(snapshot.trimmers) - 1)].name
        own = [g for g in snapshot.gauges if g.trimmer == name]
        if own:
            return own[0]
    return max(snapshot.gauges, key=lambda g: abs(g.off or 0.0) / (g.verdict.tolerance or 1.0))


def _gauge(gauge: Gauge, width: int, height: int) -> list[Line]:
    role = SHAPES[gauge.verdict.word][1]
    name = plain(gauge.trimmer or gauge.label)
    head = [[(line, "strong")] for line in large_words(name, width, 4)]
    foot: list[Line] = [[(line, role)] for line in large_words(_to_do(gauge), width, 4)]
    if isinstance(gauge.reading, NoReading):
        return [*head, [], *([(line, "none")] for line in wrap(gauge.reading.reason, width)), [], *foot][:height]
    text = number(gauge.reading.value, live_decimals(gauge.reading.unit, gauge.verdict.tolerance))
    room = height - len(head) - len(foot) - 2
    sizes = range(min(LARGEST, room - 1 + room % 2), 4, -2)
    digits = next((d for d in (large_text(text, rows) for rows in sizes) if len(d[0]) + 12 <= width), [text])
    shape = SHAPE_OF.get(gauge.verdict.word) or ((UP if (gauge.off or 0.0) < 0 else DOWN) if gauge.off else [])
    above = (len(digits) - len(shape)) // 2
    middle: list[Line] = []
    for n, row in enumerate(digits):
        side = shape[n - above] if 0 <= n - above < len(shape) else ""
        line: Line = [(row, role)]
        middle.append([*line, (" " * max(2, width - line_width(line) - len(side) - 2), ""), (side, role)])
    return [*head, [], *middle, [], *foot][:height]


def _to_do(gauge: Gauge) -> str:
    if gauge.verdict.word == "in":
        return "hold"
    return rotation(gauge.turn) if gauge.turn is not None and abs(gauge.turn) >= 0.5 else gauge.direction


class FarView(LineWidget):
    """The view, over the whole work area."""

    _shown: tuple[Snapshot, int] | None = None

    def show(self, snapshot: Snapshot, picked: int) -> None:
        """Show a snapshot."""
        self._shown = (snapshot, picked)
        self.repaint()

    def lines(self, width: int, height: int) -> list[Line]:
        """Draw."""
        return far_lines(*self._shown, width, height) if self._shown else []
