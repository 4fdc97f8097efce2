"""What a reading is judged to be, and against what."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from bench.measure.reading import NoReading, Result

VerdictWord = Literal["in", "out", "too close to call", "no reading"]
WORST_FIRST: tuple[VerdictWord, ...] = ("out", "too close to call", "no reading", "in")


@dataclass(frozen=True, slots=True)
class Verdict:
    """A reading judged."""

    word: VerdictWord
    target: float
    """In the reading's unit."""
    tolerance: float | None = None
    """Plus or minus, in the same unit; None for a limit."""
    source: str = ""
    """Where the target comes from."""
    limit: Literal["", "at least", "at most"] = ""
    """Set where `target` is a limit on one side and there is no tolerance."""

    @property
    def says_nothing(self) -> bool:
        """Whether the target asks nothing at this frequency."""
        return self.word == "no reading" and self.tolerance is None and not self.limit


def rank(verdict: Verdict | None) -> int:
    """Where a verdict stands among others, 0 for the worst; none at all comes last."""
    return WORST_FIRST.index(verdict.word) if verdict is not None else len(WORST_FIRST)


def off_target(reading: Result, verdict: Verdict | None) -> float | None:
    """Reading minus target, in the unit of the reading; None where there is no reading or nothing is asked of it."""
    return None if isinstance(reading, NoReading) or verdict is None else reading.value - verdict.target
