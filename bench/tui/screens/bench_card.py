"""The card on the bench screen: as much of it as fits above a gauge or a list."""

from __future__ import annotations

import time

from bench.procedure.model.step_base import Caution
from bench.procedure.state.snapshot import Snapshot, StepView
from bench.tui.screens.bench_keys import BenchKeys
from bench.tui.screens.dialogs import CardDialog
from bench.tui.widgets.line_widget import set_height
from bench.tui.widgets.step_card import Card, Part, card_height, card_parts, caution_reading_s, fold_cautions, rows_of

LEAST_ROWS = {"gauges": 10, "tones": 8, "flutter": 6}
"""Smallest height of the panels that share the screen with the card."""


class BenchCard(BenchKeys):
    """The part of the bench screen that shows the card."""

    def __init__(self) -> None:
        super().__init__()
        self._panel = ""
        self._step_began = 0.0
        self._figures: Snapshot | None = None
        self._given: frozenset[Caution] = frozenset()
        """The cautions of the present step."""
        self._cautions_read: frozenset[Caution] = frozenset()
        """The cautions of the step before."""

    def _show_card(self, new: Snapshot) -> None:
        """Show the card: all of it or, above a gauge or a list, as much as fits."""
        wide, card = self.has_class("-wide"), self.query_one(Card)
        parts = (
            card_parts(new.step, whole=wide or self.trainee, read=self._cautions_read, seen=new.seen)
            if new.step is not None
            else []
        )
        least = LEAST_ROWS.get(self._panel)
        if new.step is None or wide or least is None:
            set_height(card, None)
            card.show(parts)
            return
        work = self.query_one("#work").size.height - self.has_class("-tall")
        if self._cautions_were_read(parts) and rows_of(parts, self.size.width) > work - least:
            parts = fold_cautions(parts)
        card.show(parts)
        set_height(card, card_height(parts, self.size.width, max(3, work - least - 4), work - least))

    def _cautions_were_read(self, parts: list[Part]) -> bool:
        """Whether the cautions have been visible for as long as it takes to read them."""
        return time.monotonic() - self._step_began >= caution_reading_s(parts)

    def _new_step(self, step: StepView) -> None:
        """At a new step, fold its cautions once there was time to read them; show a trainee the whole card."""
        self.call_after_refresh(self._fold)  # the panel below may have changed its size
        parts = card_parts(step, read=self._cautions_read)
        if sum(role == "caution" for _, _, role in parts) > 1:
            self.set_timer(caution_reading_s(parts) + 0.05, self._fold)
        if self.trainee:
            # twice: the first refresh gives the panel below its lines, the second leaves the rest to the card
            self.call_after_refresh(self.call_after_refresh, self._open_card, step)

    def _fold(self) -> None:
        if self._figures is not None and self.display:
            self._show_card(self._figures)

    def _open_card(self, step: StepView) -> None:
        """Show a trainee the whole card, in a dialog if the screen has no room for it."""
        card, shown = self.query_one(Card), self._snapshot.step if self._snapshot is not None else None
        still = shown is not None and shown.id == step.id and self.is_current and card.display
        if still and rows_of(card_parts(step, whole=True), card.size.width) > card.size.height:
            self.app.push_screen(CardDialog(step))
