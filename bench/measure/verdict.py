"""What a reading is judged to be, and against what."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

VerdictWord = Literal["in", "out", "too close to call", "no reading"]


@dataclass(frozen=True, slots=True)
class Verdict:
    """A reading judged."""

    word: VerdictWord
    target: float | None = None
    """In the reading's unit; None where there was nothing to judge against."""
    tolerance: float | None = None
    """Plus or minus, in the same unit; None for a limit."""
    source: str = ""
    """Where the target comes from."""
    limit: Literal["", "at least", "at most"] = ""
    """Set where `target` is a limit on one side and there is no tolerance."""
