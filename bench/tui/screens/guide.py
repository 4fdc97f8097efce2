"""The audible guide on the bench screen: off until it is asked for, cautioned, and silent where nothing is turned."""

from __future__ import annotations

from typing import Protocol

from bench.procedure.state.snapshot import Snapshot
from bench.tui.screens.far_view import gauge_shown

CAUTION = (
    "▲ The guide sounds on this computer's own output, never on one that leads to the machine. Loudspeakers low, "
    "headphones off. u, s or F9 ends it. Sound it?"
)


class Guide(Protocol):
    """What the screen needs of the guide's sound."""

    def show(self, off: float | None) -> None:
        """Sound a reading that is so many tolerances off; None is silence."""

    def close(self) -> None:
        """Silence."""


def off_in_tolerances(snapshot: Snapshot | None, picked: int) -> float | None:
    """How far off the gauge is that is read from two metres, in tolerances; None where nothing is turned.

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
        """From here on it follows what is shown."""
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
