"""Hands for a run that measures a capture: nobody is at the machine."""

from __future__ import annotations

from bench.procedure.run.commands import Command, Skip
from bench.procedure.state.snapshot import Snapshot
from bench.training.hands import UnattendedHands

NOBODY = "a capture was measured, and nobody was at the machine"
BY_A_PERSON = ("by-hand", "entry", "question", "sign-off")
"""Kinds of step that a capture cannot answer. The record must not state that they were done."""


class CaptureHands(UnattendedHands):
    """Skip what only a person at the machine can do or see."""

    waits = False

    def decide(self, snapshot: Snapshot, now: float) -> Command | None:
        """The next command; None to wait."""
        step, prompt = snapshot.step, snapshot.prompt
        if step is not None and step.kind in BY_A_PERSON and not prompt.interlock:
            return Skip(NOBODY)
        return UnattendedHands.decide(self, snapshot, now)
