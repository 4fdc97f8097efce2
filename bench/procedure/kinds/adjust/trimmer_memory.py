"""What was learnt of a trimmer holds at later steps, and in a run that broke off and is resumed."""

from __future__ import annotations

from bench.procedure.kinds.activity import Situation
from bench.procedure.kinds.adjust.trimmer_response import Answering
from bench.procedure.model.steps import Adjust


def recalled(situation: Situation, trimmer: str, quantity: str, hz: float) -> Answering:
    """How a reading has answered to a trimmer so far: in this run, else as the journal has it from before a break."""
    key = (trimmer, quantity, hz)
    if key not in situation.learnt:
        kept = [e.value for e in situation.journal.events() if e.kind == "learnt" and e.text == _named(*key)]
        situation.learnt[key] = Answering.from_kept(str(kept[-1])) if kept else Answering()
    return situation.learnt[key]


def remember(situation: Situation, step: Adjust, trimmer: str, hz: float) -> None:
    """Write into the journal what was learnt at a step."""
    learnt = situation.learnt[trimmer, step.quantity, hz]
    situation.note("learnt", step.id, _named(trimmer, step.quantity, hz), learnt.kept())


def _named(trimmer: str, quantity: str, hz: float) -> str:
    return f"{trimmer}: {quantity}, {hz:g} Hz"
