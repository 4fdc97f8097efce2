"""The audible guide on the bench screen: off until a key turns it on, and silent where nothing is turned."""

from __future__ import annotations

from typing import Protocol

from bench.procedure.state.snapshot import Snapshot
from bench.tui.screens.far_view import gauge_shown

CAUTION = (
    "▲ The guide sounds on this computer's own output, never on one that leads to the machine. Loudspeakers low, "
    "headphones off. u, s or F9 ends it. Sound it?"
)


class Guide(Protocol):
    """The part of the audible guide that the screen uses."""

    def show(self, off: float | None) -> None:
        """Sound a reading that is `off` tolerances from its target; None is silence."""

    def close(self) -> None:
        """Silence."""


def off_in_tolerances(snapshot: Snapshot | None, picked: int) -> float | None:
    """Error of the gauge in the far view, in tolerances; None where nothing is turned.

    Args:
        snapshot: what the bench shows.
        picked: index of the trimmer that is turned by key.
    """
    gauge = gauge_shown(snapshot, picked) if snapshot is not None and not snapshot.held else None
    if gauge is None or snapshot is None or snapshot.outcome is not None or not gauge.verdict.tolerance:
        return None
    return gauge.off / gauge.verdict.tolerance if gauge.off is not None else None


class GuideSwitch:
    """The guide, on or off."""

    def __init__(self) -> None:
        self._guide: Guide | None = None

    @property
    def is_on(self) -> bool:
        """Whether it sounds where something is turned."""
        return self._guide is not None

    def turn_on(self, guide: Guide) -> None:
        """Start to follow what is shown."""
        self.turn_off()
        self._guide = guide

    def turn_off(self) -> None:
        """Silence."""
        guide, self._guide = self._guide, None
        if guide is not None:
            guide.close()

    def show(self, snapshot: Snapshot | None, picked: int) -> None:
        """Sound what a snapshot shows."""
        if self._guide is not None:
            self._guide.show(off_in_tolerances(snapshot, picked))
