"""The true state of a practice machine, for the debrief; nobody at the bench sees it before then."""

from __future__ import annotations

from dataclasses import dataclass

from bench.training.causes import Cause


@dataclass(frozen=True, slots=True)
class TrimmerTruth:
    """A trimmer and the error of what it sets."""

    name: str
    """As in the machine's sheet: "replay level left"."""
    off: float
    """Error in `unit`; 0 is correct for this machine without faults."""
    unit: str
    """dB, arcmin or %."""
    figure: str = ""
    """The figure of the machine that it sets: "replay_level_left_db"."""


@dataclass(frozen=True, slots=True)
class HiddenCause:
    """Something that an exercise hides in the machine."""

    cause: Cause
    trimmers: tuple[str, ...]
    """The trimmers that can correct it; empty if none can."""
    present: bool
    """Whether it is still there after cleaning or demagnetising; always true if trimmers can correct it."""

    @property
    def repairable(self) -> bool:
        """Whether trimmers, cleaning or demagnetising can correct it; otherwise it needs the workshop."""
        return bool(self.trimmers or self.cause.mended_by)


@dataclass(frozen=True, slots=True)
class Truth:
    """The true state of a machine at one moment."""

    trimmers: tuple[TrimmerTruth, ...]
    hidden: tuple[HiddenCause, ...]
    """Faults and dirt."""

    def off(self, trimmer: str) -> float:
        """The error of a trimmer; 0 for one that the machine does not have."""
        return next((t.off for t in self.trimmers if t.name == trimmer), 0.0)
