"""The expected tones, ticked off as they are recognised, with the response at their side if there is one."""

from __future__ import annotations

from bench.figures import number
from bench.measure.reading import NoReading, Result
from bench.measure.verdict import WORST_FIRST, Verdict, VerdictWord, rank
from bench.procedure.state.snapshot import FoundPoint, ToneRow
from bench.tui.text import SHAPES, cell
from bench.tui.widgets.line_widget import Line, LineWidget, justified, side_by_side
from bench.tui.widgets.response import LEAST_WIDTH, response_lines
from bench.words.figures import live_decimals, places_of
from bench.words.sentences import counted

MOST_ROWS = 36
"""Largest height of the response plot; more would only stretch it."""

LIST_WIDTH = 46
"""Width of the list at the side of a response plot, cells."""

COLUMN = 8
"""Cells for the figure of a channel."""

PART_OF_A_NAME = 15
"""Cells in which part of the name of the tape that a tone is on can still be recognised."""

STATES = {"waiting": ("·", "quiet"), "sounding": ("●", "accent"), "done": ("▪", ""), "missing": ("✗", "out")}
"""Symbols of tones without a verdict; a tone with verdicts shows the symbol of the worst."""


def tone_lines(tones: tuple[ToneRow, ...], width: int, height: int) -> list[Line]:
    """The list in `width` × `height` cells; if it is longer, the part around the current tone."""
    if not tones:
        return []
    done = sum(t.state == "done" for t in tones)
    head = justified([(f"{done} of {counted(len(tones), 'tone')}", "strong")], [(_columns(width), "quiet")], width)
    room = height - 1
    if all(t.state in ("done", "missing") for t in tones) and len(tones) > room:
        tones = tuple(sorted(tones, key=lambda t: WORST_FIRST.index(worst(t.readings) or "in")))
        return [head, *(_tone(t, width) for t in tones[:room])]
    due = next((n for n, t in enumerate(tones) if t.state in ("sounding", "waiting")), len(tones) - 1)
    first = max(0, min(due - room // 2, len(tones) - room))
    return [head, *(_tone(t, width) for t in tones[first : first + room])]


def _columns(width: int) -> str:
    return cell("left", COLUMN, "right") + cell("right", COLUMN, "right") + " " * (_tail(width))


def _tail(width: int) -> int:
    return 11 if width >= 44 else 6


def _tone(tone: ToneRow, width: int) -> Line:
    word = worst(tone.readings)
    shape, role = SHAPES[word] if word else STATES[tone.state]
    room = max(6, width - 2 - 2 * COLUMN - _tail(width))
    alone = tone.label.partition(" (")[0]
    label = cell(tone.label if room >= min(len(tone.label), len(alone) + PART_OF_A_NAME) else alone, room)
    shown = worst_quantity(tone.readings)
    said = {"waiting": "", "sounding": " listening", "missing": " missing", "done": ""}[tone.state]
    figures = said.ljust(2 * COLUMN)
    unit = ""
    if shown:
        unit = shown[0][0].unit
        by_channel = {r.channel: _value(r, v, kept=tone.state == "done") for r, v in shown}
        if by_channel.keys() & {"left", "right"}:
            figures = "".join(cell(by_channel.get(side, ""), COLUMN, "right") for side in ("left", "right"))
        else:
            figures = cell(next(iter(by_channel.values())), 2 * COLUMN, "right")
    ending = cell(f" {unit}", 6) + (cell(SHORT[word], 5) if word and _tail(width) > 6 else "")
    dim = "quiet" if tone.state == "waiting" else ""
    return [(shape + " ", role), (label, dim), (figures, role if word else dim), (ending, role if word else dim)]


SHORT: dict[VerdictWord, str] = {"in": "in", "out": "out", "too close to call": "close", "no reading": "none"}


def worst(readings: tuple[tuple[Result, Verdict | None], ...]) -> VerdictWord | None:
    """The worst verdict among readings; None without any."""
    words = [v.word for _, v in readings if v is not None]
    return min(words, key=WORST_FIRST.index, default=None)


def worst_quantity(readings: tuple[tuple[Result, Verdict | None], ...]) -> list[tuple[Result, Verdict | None]]:
    """The readings of one quantity: the one with the worst verdict, else the first."""
    if not readings:
        return []
    judged = [(r, v) for r, v in readings if v is not None]
    first = min(judged, key=lambda rv: rank(rv[1]))[0] if judged else readings[0][0]
    return [(r, v) for r, v in readings if r.quantity == first.quantity]


def _value(reading: Result, verdict: Verdict | None, *, kept: bool) -> str:
    """The figure; for a kept reading, to the place of its uncertainty as far as its column has room."""
    if isinstance(reading, NoReading):
        return "none"
    places = live_decimals(reading.unit, verdict.tolerance if verdict else None)
    if kept and reading.uncertainty:
        places = places_of(reading.uncertainty, reading.unit)
    said = (number(reading.value, n) for n in range(places, 0, -1))
    return next((text for text in said if len(text) < COLUMN), number(reading.value, min(places, 0)))


class ToneBoard(LineWidget):
    """The tone list, with the response at its side, or below it on a tall and narrow screen."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._tones: tuple[ToneRow, ...] = ()
        self._as_found: tuple[FoundPoint, ...] = ()
        self._film_at: float | None = None
        """Tape speed at which a film is fitted, on a linear axis; None for a logarithmic axis."""

    def show(self, tones: tuple[ToneRow, ...], as_found: tuple[FoundPoint, ...] = ()) -> None:
        """Show tones, and their readings as found."""
        if (tones, as_found) != (self._tones, self._as_found):
            self._tones, self._as_found = tones, as_found
            self.repaint()

    def turn_axis(self, speed_mm_s: float) -> None:
        """Switch to a linear frequency axis with the film fitted at this tape speed, or back to the logarithmic one."""
        self._film_at = None if self._film_at else speed_mm_s
        self.repaint()

    def lines(self, width: int, height: int) -> list[Line]:
        """List and response."""
        if width < LIST_WIDTH + 3 + LEAST_WIDTH:
            listed = tone_lines(self._tones, width, min(height, len(self._tones) + 1))
            plot = response_lines(self._tones, width, min(18, height - len(listed) - 1), self._as_found, self._film_at)
            return [*listed, [], *plot] if plot else tone_lines(self._tones, width, height)
        left = max(LIST_WIDTH, min(56, width // 2))
        plot = response_lines(self._tones, width - left - 3, min(height, MOST_ROWS), self._as_found, self._film_at)
        if not plot:
            return tone_lines(self._tones, min(width, 76), height)
        return side_by_side(tone_lines(self._tones, left, height), plot, left, 3)
