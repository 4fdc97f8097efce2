"""The verdict on a reading, with the target that it was judged against."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from bench.measure.reading import NoReading, Result

VerdictWord = Literal["in", "out", "too close to call", "no reading"]
WORST_FIRST: tuple[VerdictWord, ...] = ("out", "too close to call", "no reading", "in")


@dataclass(frozen=True, slots=True)
class Verdict:
    """The verdict on a reading."""

    word: VerdictWord
    target: float
    """In the reading's unit."""
    tolerance: float | None = None
    """± tolerance, in the same unit; None for a limit."""
    source: str = ""
    """Source of the target."""
    limit: Literal["", "at least", "at most"] = ""
    """Set if `target` is a one-sided limit, which has no tolerance."""

    @property
    def says_nothing(self) -> bool:
        """Whether the target sets no requirement at this frequency."""
        return self.word == "no reading" and self.tolerance is None and not self.limit


def rank(verdict: Verdict | None) -> int:
    """Rank of a verdict, 0 for the worst; no verdict ranks last."""
    return WORST_FIRST.index(verdict.word) if verdict is not None else len(WORST_FIRST)


def off_target(reading: Result, verdict: Verdict | None) -> float | None:
    """Reading minus target, in the unit of the reading; None without a reading or a verdict."""
    return None if isinstance(reading, NoReading) or verdict is None else reading.value - verdict.target
