"""Passes of a section of the reference tape while something is adjusted to it."""

from __future__ import annotations

READ_EVERY_S = 0.1
"""Time between two readings of the gauge."""

BETWEEN_PASSES_S = 1.0
"""A section that was silent for longer, or sounds longer than it lasts, was played again."""


class SectionPass:
    """How much of a section of the reference tape is left, and how often it was played: each pass wears it."""

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._heard, self._silent, self._passes = 0.0, 0.0, 1

    def heard(self, tone: bool) -> None:
        """Note whether the tone sounds; called once every `READ_EVERY_S`."""
        if not tone:
            self._silent += READ_EVERY_S
            return
        if self._silent > BETWEEN_PASSES_S and self._heard:
            self._heard, self._passes = 0.0, self._passes + 1
        self._silent = 0.0
        self._heard += READ_EVERY_S
        if self._heard > self._seconds + BETWEEN_PASSES_S:
            self._heard, self._passes = READ_EVERY_S, self._passes + 1

    def __str__(self) -> str:
        return f"{max(0.0, self._seconds - self._heard):.0f} s of the section left, pass {self._passes}"
