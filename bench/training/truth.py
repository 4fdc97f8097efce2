"""The true state of a practice machine, for the debrief; nobody at the bench sees it before."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TrimmerTruth:
    """A trimmer and the error of what it sets."""

    name: str
    """As in the machine's sheet: "replay level left"."""
    off: float
    """Error in `unit`; 0 is correct for this machine without faults."""
    unit: str
    """dB, arcmin or %."""


@dataclass(frozen=True, slots=True)
class FaultTruth:
    """A fault of the machine."""

    key: str
    """The sheet's file name without `.toml`."""
    name: str
    symptom: str
    """How it can be noticed."""
    changes: tuple[str, ...]
    """The physical figures that it changes: "replay_dirt_left_um"."""
    trimmers: tuple[str, ...]
    """The trimmers that can correct it; empty if none can."""
    repairable: bool
    """Whether trimmers, cleaning or demagnetising can correct it; otherwise it needs the workshop."""
    present: bool
    """Whether it is present now; for one that trimmers can correct, whether they are still out."""


@dataclass(frozen=True, slots=True)
class Truth:
    """The true state of a machine at one moment."""

    trimmers: tuple[TrimmerTruth, ...]
    faults: tuple[FaultTruth, ...]

    def off(self, trimmer: str) -> float:
        """The error of a trimmer; 0 for one that the machine does not have."""
        return next((t.off for t in self.trimmers if t.name == trimmer), 0.0)
