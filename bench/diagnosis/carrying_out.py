"""Finds the steps of a job that carry out a suggested test or a repair."""

from __future__ import annotations

from collections.abc import Sequence

from bench.diagnosis.next_test import NextTest
from bench.diagnosis.readings.finding import Source
from bench.procedure.model.job import JobStep
from bench.procedure.model.steps import CIRCUIT, Adjust, ByHand, plays_reference_tape, records
from bench.procedure.state.dependencies import quantities

REMEDIES = {"clean": "clean", "clean again": "clean", "demagnetise": "demagnetise"}
"""The repairs that a step can do, with the `does` of that step."""


def steps_for(test: NextTest, steps: Sequence[JobStep]) -> tuple[str, str] | None:
    """The first and last of the steps that carry out a suggestion; None if the job has none."""
    act, wanted = REMEDIES.get(test.remedy), set(test.quantities)
    fit = [isinstance(s, ByHand) and act in s.does if act else bool(wanted & _measures(s)) for s in steps]
    if True not in fit:
        return None
    first = fit.index(True)
    after = fit[first:].index(False) if False in fit[first:] else len(fit) - first
    return steps[first].id, steps[first + after - 1].id


def _measures(step: JobStep) -> frozenset[tuple[Source, str]]:
    """The (source, quantity) pairs that a step measures without adjusting."""
    if isinstance(step, Adjust):
        return frozenset()
    out: set[tuple[Source, str]] = set()
    for quantity in quantities(step):
        if quantity in CIRCUIT:
            out.add(("encoder" if quantity == "encoding_error" else "decoder", quantity))
        elif plays_reference_tape(step):
            out.add(("reference-tape", quantity))
        elif records(step):
            out.add(("record-replay", quantity))
    return frozenset(out)
