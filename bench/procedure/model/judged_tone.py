"""Which tone an adjust or measure step judges."""

from __future__ import annotations

from bench.measure.catalogue import QUANTITIES
from bench.procedure.model.sheets import Machine, ReferenceTape
from bench.procedure.model.steps import Adjust, Measure

FAST_MM_S, FAST_HZ = 190.0, 1000.0
"""From this tape speed up (190.5 mm/s and faster) maximum output level is given at 1 kHz (IEC 60094, data sheets)."""


def judged_hz(step: Adjust | Measure, machine: Machine | None, reference_tape: ReferenceTape | None) -> float | None:
    """Frequency of the tone that a step judges, Hz; None if it judges no tone, or a sheet that names it is missing."""
    if step.frequency is not None:
        return step.frequency
    if step.plays is not None:
        sections = reference_tape.section if reference_tape is not None else ()
        return next((s.hz for s in sections if s.id == step.plays), None)
    if step.sends:
        return max(t.hz for t in step.sends) if step.quantity == "overbias" else step.sends[0].hz
    rising = QUANTITIES[step.quantity].rising
    if rising is None or machine is None:
        return None
    fast = step.quantity == "maximum_output_level" and machine.speed_mm_s > FAST_MM_S
    return FAST_HZ if fast else rising.hz
