"""The interlocks that no procedure can lift.

Before anything records after the reference tape was in, the runner demands "reference tape out, work tape in".
The reference tape does not meet a machine that was not cleaned and demagnetised, unless a person gives a reason
that lands in the report. That speed, and azimuth on two heads, are never judged from a machine's own recording
is refused when the procedure is loaded.
"""

from __future__ import annotations

from bench.procedure.kinds.base import Situation
from bench.procedure.snapshot import Prompt
from bench.procedure.steps import Adjust, Measure, RecordReplay, Reference, StepBase

SWAP = "Reference tape out and put away, work tape in. Confirm before anything records."
DIRTY = "Not cleaned and demagnetised in this run. The reference tape stays out, unless you say why it may go in."


def uses_reference_tape(step: StepBase) -> bool:
    """Whether the reference tape is played at a step."""
    return isinstance(step, Reference) or (isinstance(step, Adjust | Measure) and step.plays is not None)


def records(step: StepBase) -> bool:
    """Whether the machine records at a step."""
    return isinstance(step, RecordReplay) or (isinstance(step, Adjust | Measure) and bool(step.sends))


class Interlocks:
    """What was done to the machine so far in this session, and what that demands."""

    def __init__(self, situation: Situation) -> None:
        self._situation = situation

    def _acts(self) -> list[str]:
        events = self._situation.journal.events()
        return [e.text for e in events if e.kind == "act"]

    def _tape_in(self) -> str:
        loads = [a for a in self._acts() if a.startswith("load-")]
        return loads[-1] if loads else ""

    def demand(self, step: StepBase) -> Prompt | None:
        """What has to be answered before the step may start; None when nothing has. Threads tapes as it goes."""
        if self._situation.is_file:
            return None
        if uses_reference_tape(step):
            acts = self._acts()
            overridden = any(e.kind == "override" for e in self._situation.journal.events())
            if not overridden and not {"clean", "demagnetise"} <= set(acts):
                return Prompt("reason", DIRTY, interlock=True)
            if self._tape_in() != "load-reference-tape":
                self._situation.do("load-reference-tape", step.id)
        if records(step):
            if self._tape_in() == "load-reference-tape":
                return Prompt("confirm", SWAP, interlock=True)
            if not self._tape_in():
                self._situation.do("load-work-tape", step.id)
        return None

    def confirm(self, step: StepBase) -> None:
        """The person confirmed the change of tapes."""
        self._situation.do("load-work-tape", step.id)

    def override(self, step: StepBase, reason: str) -> None:
        """The reference tape goes in all the same."""
        self._situation.note("override", step.id, f"reference tape in an uncleaned machine: {reason}")
