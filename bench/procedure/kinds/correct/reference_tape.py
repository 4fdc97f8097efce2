"""Corrections by the reference tape: its flux, the errors in its certificate, and its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from bench.measure.method import Difference
from bench.measure.reading import NoReading, ReferenceTone, Result
from bench.procedure.model.job import Job
from bench.procedure.model.sheets import Section
from bench.tape.fluxivity import convert_method, ratio_db
from bench.tape.geometry import delay_us, wavelength_um
from bench.tape.losses import FRINGING_WAVELENGTH_UM


def expected_dbfs(job: Job, section: Section) -> float:
    """What a section of the reference tape should read, dBFS.

    The reference level of the machine, plus the ratio of the two fluxivities, the nominal level of the section and its
    recorded error. A flux by another measuring method is converted.
    """
    machine = job.machine.reference.fluxivity
    flux, _ = convert_method(job.reference_tape.flux_of(section), machine.method)
    return job.replay_dbfs + ratio_db(flux, machine) + section.db + section.recorded_error_db


def fringes(job: Job, hz: float) -> bool:
    """Whether a tone of the reference tape reads high because the tape is full-track and the head is narrower."""
    wide = job.reference_tape.track_format == "full-track" and job.machine.track_format not in (None, "full-track")
    return wide and float(wavelength_um(hz, job.machine.speed_mm_s)) > FRINGING_WAVELENGTH_UM


def with_tape(reading: Result, job: Job, *sections: Section) -> Result:
    """A reading whose uncertainty includes that of the reference tape (root of the sum of squares).

    Args:
        reading: taken from the reference tape.
        job: it names the reference tape.
        sections: the section played, then the one that the reading is relative to.
    """
    if isinstance(reading, NoReading):
        return reading
    tape, machine = job.reference_tape, job.machine
    match reading.quantity:
        case "level" | "balance" | "response":
            own = _uncertainty_db(reading.quantity, job, sections)
            facts = {"tape_db": own}
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
    return replace(reading, method=method).widened("reference tape", own)


def _uncertainty_db(quantity: str, job: Job, sections: Sequence[Section]) -> float:
    """Expanded uncertainty (k = 2) of what the sections hold, including that of a conversion of their flux."""
    tape, method = job.reference_tape, job.machine.reference.fluxivity_method
    tones = [s.uncertainty_db or tape.uncertainty_db for s in sections] or [tape.uncertainty_db]
    converted = [convert_method(tape.flux_of(s), method)[1] for s in sections] if quantity == "level" else []
    return math.hypot(max(tones), *converted)


def sent_text(db: float, job: Job) -> str:
    """A level sent, in words: "the level sent (-20 dB re 250 nWb/m)"."""
    return f"the level sent ({db:+g} dB re {job.machine.reference.fluxivity_nwb_m:g} nWb/m)"


def recorded_level(reading: Result, level_dbfs: float, sent: str, source: tuple[float, float] | None) -> Result:
    """The record-to-replay level of a channel: the tape relative to the source, or to what was sent.

    Args:
        reading: level of the replay.
        level_dbfs: what a recording at the level sent should read.
        sent: what was sent, in words.
        source: level of the source relative to what was sent, and its uncertainty, dB; None where it was not read.
    """
    if source is None:
        return difference(
            "record_replay_level", reading, level_dbfs, 0.0, reference=sent, between="replayed minus sent"
        )
    out = difference(
        "record_replay_level",
        reading,
        level_dbfs + source[0],
        source[1],
        reference=f"the source, at {sent}",
        between="replayed minus source",
    )
    return out if isinstance(out, NoReading) else replace(out, method=replace(out.method, source_db=source[0]))


def response_re(
    level: Result, base: Result, offset_db: float, *, reference: ReferenceTone, between: Difference | None = None
) -> Result:
    """Response: a level relative to that of a reference tone; no reading where the reference tone gave none.

    Args:
        level: of the tone.
        base: level of the reference tone in the same channel.
        offset_db: how much higher the tone should be than the reference tone, dB.
        reference: the reference tone.
        between: what the difference is between, where the reference does not show it.
    """
    if isinstance(base, NoReading):
        return replace(base, quantity="response", frequency_hz=level.frequency_hz, reference=reference)
    minus = base.value + offset_db
    return difference("response", level, minus, base.uncertainty, reference=reference, between=between)


def difference(
    quantity: str,
    reading: Result,
    minus: float,
    uncertainty: float,
    *,
    reference: str | ReferenceTone,
    between: Difference | None = None,
) -> Result:
    """A level minus another figure, as a reading.

    Args:
        quantity: the quantity that the difference is.
        reading: the level.
        minus: the figure to subtract, dB.
        uncertainty: uncertainty of `minus`, dB.
        reference: name of the subtracted figure, or the tone to which it belongs.
        between: what the difference is between, where the reference does not show it.
    """
    if isinstance(reading, NoReading):
        return replace(reading, quantity=quantity, reference=reference)
    return replace(
        reading,
        quantity=quantity,
        value=reading.value - minus,
        reference=reference,
        method=replace(reading.method, difference=between),
    ).widened("other reading", uncertainty)
