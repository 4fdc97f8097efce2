"""For a `measure` step: the options of its meter, what is sent, and the corrected readings to judge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from bench.measure.catalogue import QUANTITIES, REFERENCE_LEVEL
from bench.measure.method import Difference
from bench.measure.reading import Measured, NoReading, Reading, Result
from bench.problem import Problem
from bench.procedure.kinds.bench import Bench
from bench.procedure.kinds.correct.interface import corrected
from bench.procedure.kinds.correct.owners_tape import relative_to_label, with_equalisation
from bench.procedure.kinds.correct.reference_tape import difference, expected_dbfs, sent_text, with_tape
from bench.procedure.model.job import Job
from bench.procedure.model.steps import Measure
from bench.signals.level_ramp import LevelRamp
from bench.signals.source import Source
from bench.signals.tones import Multitone, Tone

OF_LEVEL = ("record_replay_level", "source_level", "tape_level")
"""Quantities that are a level relative to another."""
RISES_TO_DB = 12.0
"""Top of the level ramp, dB re the reference level; less where the interface cannot send that much."""
RISES_S = 20.0


def options_of(step: Measure, bench: Bench) -> dict[str, Any]:
    """Options of the meter."""
    job = bench.job
    hz = job.judged_hz(step)
    if step.programme:
        said = {"nominal": bench.figure_at(step.named_by), "known_percent": bench.figure_at(step.known_by)}
        return {key: value for key, value in said.items() if value > 0}
    match QUANTITIES[step.quantity].meter:
        case "speed":
            return {"nominal": hz} if hz is not None else {}
        case "flutter":
            return {"parts": job.machine.turning()} | ({"nominal": hz} if hz is not None else {})
        case "distortion":
            return {"fundamental": hz} if hz is not None else {}
        case "azimuth":
            return {"speed": job.machine.speed_mm_s, "track_spacing": job.machine.track_spacing_mm}
        case "noise" | "headroom":
            return {"reference_level": job.replay_dbfs}
        case "response":
            return {"frequencies": tuple(t.hz for t in step.sends)} if step.sends else {}
        case "separation":
            options: dict[str, Any] = {"driven": step.driven} if step.driven is not None else {}
            return options | ({"frequency": hz} if hz is not None else {})
        case _:
            return {"frequency": hz} if hz is not None else {}


def source_of(step: Measure, job: Job, rate: int) -> Source | None:
    """What is sent, with a length; None for silence.

    Raises:
        Problem: this step records nothing.
    """
    if step.records == "silence":
        return None
    send = job.machine.reference.send_dbfs
    hz = job.judged_hz(step)
    rising = QUANTITIES[step.quantity].rising
    if rising is not None and hz is not None:
        top = min(0.0, send + RISES_TO_DB)
        return LevelRamp(hz, send + rising.from_db, top, max(RISES_S, step.seconds), rate)
    if not step.sends:
        raise Problem(f"step {step.id}: nothing is sent for {step.quantity}")
    side = step.driven or "both"
    return Multitone([Tone(t.hz, send + t.db, step.seconds, side) for t in step.sends], rate)


def judged_readings(
    step: Measure, bench: Bench, measured: Measured, *, because: str = ""
) -> list[tuple[Result, float]]:
    """The readings that a step judges, each with the offset of its target.

    Args:
        step: it names quantity and method.
        bench: its job names reference tape, interface and reference level, its journal what was typed.
        measured: the readings of the meter.
        because: why the meter got no sound, where it got none.
    """
    job = bench.job
    quantity = "level" if step.quantity in OF_LEVEL else step.quantity
    found = [r for r in measured.readings if r.quantity == quantity]
    found = _by_method(found, step)
    if QUANTITIES[quantity].judged == "largest":
        found = _largest(found, step, measured)
    if not found or because:
        why = because or "; ".join(measured.warnings) or "nothing was found to measure"
        return [(NoReading(step.quantity, "both", why, frequency_hz=job.judged_hz(step)), 0.0)]
    return [_corrected(r, step, bench) for r in found]


def _by_method(found: list[Result], step: Measure) -> list[Result]:
    wanted = (step.method or QUANTITIES[step.quantity].usual_method).casefold()
    if not wanted or not found:
        return found
    for fits in (str.__eq__, str.startswith, str.__contains__):
        of_method = [r for r in found if fits(r.method.name.casefold(), wanted)]
        if of_method:
            return of_method
    methods = ", ".join(dict.fromkeys(r.method.name for r in found if r.method.name))
    if not methods:
        return found
    return [NoReading(step.quantity, "both", f"there is no method “{step.method}” for it; there are {methods}")]


def _largest(found: Sequence[Result], step: Measure, measured: Measured) -> list[Result]:
    """The largest reading of each channel; 0 where there were no dropouts."""
    out: list[Result] = []
    for side in dict.fromkeys(r.channel for r in measured.readings):
        own = [r for r in found if r.channel == side and isinstance(r, Reading)]
        counts = [r for r in measured.readings if r.channel == side and r.quantity == "dropout_count"]
        if own:
            out.append(max(own, key=lambda r: r.value))
        else:
            out += [replace(r, quantity=step.quantity) for r in counts if isinstance(r, Reading) and r.value == 0.0]
    return out or list(found)


def _corrected(raw: Result, step: Measure, bench: Bench) -> tuple[Result, float]:
    """A reading with its corrections, uncertainty and reference."""
    job = bench.job
    reading = corrected(raw, job, looped=bool(step.sends))
    section = job.section(step.plays) if step.plays is not None else None
    offset = 0.0
    if section is not None:
        reading = with_tape(reading, job, section)
        if step.quantity == "level":
            offset = expected_dbfs(job, section)
    level, facts = job.machine.reference, QUANTITIES[step.quantity]
    if step.quantity in ("record_replay_level", "source_level"):
        sent = next((t.db for t in step.sends if t.hz == job.judged_hz(step)), 0.0)
        level_re = job.replay_dbfs + sent
        between: Difference | None = "replayed minus sent" if step.quantity == "record_replay_level" else None
        reading = difference(step.quantity, reading, level_re, 0.0, reference=sent_text(sent, job), between=between)
    if step.quantity == "tape_level":
        reading = relative_to_label(reading, job, bench.figure_at(step.named_by))
    elif step.quantity == "treble_fall":
        reading = with_equalisation(reading, job, str(bench.said_at(step.named_by) or ""))
    if facts.relative_to == REFERENCE_LEVEL and isinstance(reading, Reading):
        reading = replace(reading, reference=f"reference level, {level.fluxivity}")
    if facts.rising is not None or step.quantity == "azimuth_weave":
        reading = replace(reading, frequency_hz=job.judged_hz(step))
    if facts.both_passes and section is None:
        reading = replace(reading, method=replace(reading.method, both_passes=True))
    if step.records == "silence":
        reading = replace(reading, method=replace(reading.method, nothing_sent=True))
    return reading, offset
