"""Everything measured so far, over the bench screen."""

from __future__ import annotations

from bench.procedure.state.snapshot import Snapshot
from bench.tui.screens.dialogs import TextDialog
from bench.tui.widgets.line_widget import Line, side_by_side
from bench.tui.widgets.results import ROOMY, drawn_lines, table_lines, uncertainty_lines

BESIDE = 140
"""From this width on, the curve is at the right of the table."""


class ResultsDialog(TextDialog):
    """Each quantity as found and now, those not in first; the last curve; and the sources of uncertainty."""

    BINDINGS = [("v,f12", "close", "back")]  # noqa: RUF012
    about = "Each quantity as it was found and as it is now, with its target. What is not in comes first."
    shape = "whole"
    widest = 400

    def __init__(self, snapshot: Snapshot) -> None:
        super().__init__("Results so far")
        self._snapshot = snapshot

    def body(self, width: int) -> list[Line]:
        """The table, with the curve at its right or below it."""
        if width < BESIDE:
            drawn = drawn_lines(self._snapshot, width)
            more = [[], *drawn] if drawn else []
            return [*table_lines(self._snapshot, width), *more, *uncertainty_lines(self._snapshot)]
        left = max(ROOMY, width - 70)
        table = table_lines(self._snapshot, left)
        beside = side_by_side(table, drawn_lines(self._snapshot, width - left - 3), left, 3)
        return [*beside, *uncertainty_lines(self._snapshot)]
