"""What stands between a raw reading and the one that is judged: the reference tape's own uncertainty and flux."""

from __future__ import annotations

import math
from dataclasses import replace

from bench.measure.method import Difference
from bench.measure.reading import NoReading, Result
from bench.problem import Problem
from bench.procedure.kinds.correct.interface import replay_dbfs
from bench.procedure.model.job import Job
from bench.procedure.model.sheets import Section
from bench.tape.geometry import delay_us


def expected_dbfs(job: Job, section: Section) -> float:
    """Where a section of the reference tape should read, in dBFS.

    The machine's reference level, moved by the ratio of the two fluxivities, the section's nominal level and its
    recorded error.

    Raises:
        Problem: tape and machine quote their flux by different measuring methods, which differ by some 0.7 dB.
    """
    machine, tape = job.machine.reference, job.reference_tape
    if machine.fluxivity_method != tape.fluxivity_method:
        raise Problem(
            f"the machine's reference level is quoted by the {machine.fluxivity_method} method and the reference "
            f"tape's by the {tape.fluxivity_method} method; give both in their sheets by the same one"
        )
    flux_db = 20.0 * math.log10(tape.fluxivity_nwb_m / machine.fluxivity_nwb_m)
    return replay_dbfs(job) + flux_db + section.db + section.recorded_error_db


def with_tape(reading: Result, job: Job, *sections: Section) -> Result:
    """The reading with the reference tape's uncertainty in its own (root of the sum of squares).

    Args:
        reading: of something played from the reference tape.
        job: whose reference tape.
        sections: what was played, then what it is relative to; their certificate's corrections are said.
    """
    if isinstance(reading, NoReading):
        return reading
    tape, machine = job.reference_tape, job.machine
    match reading.quantity:
        case "level" | "balance" | "response":
            own, facts = tape.uncertainty_db, {"tape_db": tape.uncertainty_db}
        case "speed_error" | "speed_drift":
            own, facts = tape.speed_uncertainty_percent, {"tape_percent": tape.speed_uncertainty_percent}
        case "azimuth_delay":
            arcmin = tape.azimuth_uncertainty_arcmin
            own, facts = float(delay_us(arcmin, machine.track_spacing_mm, machine.speed_mm_s)), {"tape_arcmin": arcmin}
        case "azimuth_angle":
            own, facts = tape.azimuth_uncertainty_arcmin, {"tape_arcmin": tape.azimuth_uncertainty_arcmin}
        case _:
            return reading
    if reading.quantity in ("level", "response"):
        errors = [s.recorded_error_db for s in sections]
        by = errors[0] - sum(errors[1:]) if errors else 0.0
        if by:
            facts["certificate_db"] = by
    method = replace(reading.method, **facts)  # type: ignore[arg-type]
    return replace(reading, uncertainty=math.hypot(reading.uncertainty, own), method=method)


def difference(
    quantity: str,
    reading: Result,
    minus: float,
    uncertainty: float,
    *,
    reference: str,
    between: Difference | None = None,
) -> Result:
    """A reading made of a level minus something else that has its own uncertainty.

    Args:
        quantity: of what comes of it.
        reading: the level.
        minus: what is taken off, in dB, and
        uncertainty: its uncertainty.
        reference: what that is, in words.
        between: what the difference is of, where the reference does not say it.
    """
    if isinstance(reading, NoReading):
        return replace(reading, quantity=quantity, reference=reference)
    return replace(
        reading,
        quantity=quantity,
        value=reading.value - minus,
        uncertainty=math.hypot(reading.uncertainty, uncertainty),
        reference=reference,
        method=replace(reading.method, difference=between),
    )
