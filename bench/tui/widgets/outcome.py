"""The outcome of a run, in words and one large shape."""

from __future__ import annotations

from bench.measure.verdict import VerdictWord
from bench.procedure.state.snapshot import Outcome
from bench.tui.text import SHAPES, wrap
from bench.tui.widgets.large_digits import CROSS, TICK
from bench.tui.widgets.line_widget import Line, side_by_side

ORDER: tuple[VerdictWord, ...] = ("in", "too close to call", "out", "no reading")


def ending_lines(outcome: Outcome, kept: str, width: int) -> list[Line]:
    """The outcome: shape, sentence, counts, and where the report is.

    Args:
        outcome: the outcome.
        kept: where the report is, or why there is none.
        width: cells.
    """
    good = outcome.completed and outcome.exit_code == 0
    shape: list[Line] = [[(line, "in" if good else "out")] for line in (TICK if good else CROSS)]
    text = min(width, 100) - 11
    said: list[Line] = [[(line, "strong")] for line in wrap(outcome.said, text)]
    said.append([])
    for word in ORDER:
        count = outcome.words.get(word, 0)
        if count:
            sign, role = SHAPES[word]
            said.append([(f"{sign} {count:>3} {word}", role)])
    out = side_by_side(shape, said, 7, 4)
    out.append([])
    out += [[(line, "")] for line in wrap(kept, width)]
    return out
