"""What is really so with a practice machine, as the debrief is told it: nobody at the bench sees it before."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TrimmerTruth:
    """A trimmer and how far what it sets is from right."""

    name: str
    """As in the machine's sheet: "replay level left"."""
    off: float
    """From right, in `unit`; 0 is right for this machine with no fault."""
    unit: str
    """dB, arcmin or %."""


@dataclass(frozen=True, slots=True)
class FaultTruth:
    """A fault that the machine was given."""

    key: str
    """The sheet's file name without `.toml`."""
    name: str
    tells: str
    """How it shows."""
    changes: tuple[str, ...]
    """The physical figures that it changes: "replay_dirt_left_um"."""
    trimmers: tuple[str, ...]
    """The trimmers that can set it right; empty where none can."""
    mendable: bool
    """Whether trimmers, cleaning or demagnetising put it right; otherwise it is for the workshop."""
    there: bool
    """Whether it is there now; for one that trimmers set right, whether they have it to make good."""


@dataclass(frozen=True, slots=True)
class Truth:
    """The machine at one moment."""

    trimmers: tuple[TrimmerTruth, ...]
    faults: tuple[FaultTruth, ...]

    def off(self, trimmer: str) -> float:
        """How far a trimmer is from right; 0 for one that the machine has not."""
        return next((t.off for t in self.trimmers if t.name == trimmer), 0.0)
