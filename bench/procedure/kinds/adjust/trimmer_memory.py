"""What was learnt of a trimmer holds at later steps, and in a run that broke off and is resumed."""

from __future__ import annotations

from bench.procedure.kinds.activity import Situation
from bench.procedure.kinds.adjust.trimmer_response import Answering
from bench.procedure.model.steps import Adjust
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Learnt


def recalled(situation: Situation, trimmer: str, quantity: str, hz: float) -> Answering:
    """How a reading has answered to a trimmer so far: in this run, else as the journal has it from before a break."""
    key = (trimmer, quantity, hz)
    if key not in situation.learnt:
        learnt = of_kind(situation.journal.events(), Learnt)
        kept = [e.readings for e in learnt if (e.trimmer, e.quantity, e.frequency_hz) == key]
        situation.learnt[key] = Answering.of(kept[-1]) if kept else Answering()
    return situation.learnt[key]


def remember(situation: Situation, step: Adjust, trimmer: str, hz: float) -> None:
    """Write into the journal what was learnt at a step."""
    learnt = situation.learnt[trimmer, step.quantity, hz]
    situation.note(step.id, Learnt(trimmer, step.quantity, hz, learnt.readings))
