"""Corrections by the interface sheet: volts for dBFS, response, clock error, and the noise of the interface.

The sheet is measured with the output looped to the input, so its response is that of both together. A tone that was
sent and came back has passed both. A tone that was only replayed has passed the input alone, whose share of the error
is not known: half of the error is corrected, and half stays in the uncertainty.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from bench.measure.reading import NoReading, Reading, Result
from bench.procedure.model.job import Job
from bench.procedure.model.sheets import Interface

HIDDEN_DB = 10.0
"""Noise less than this above the interface's own noise is partly that of the interface."""


def corrected(reading: Result, job: Job, *, looped: bool) -> Result:
    """A raw reading, corrected for the interface; its uncertainty includes that of the correction.

    Args:
        reading: a reading from a meter.
        job: it names the interface.
        looped: whether the interface also sent what was read.
    """
    sheet = job.interface
    if sheet is None or isinstance(reading, NoReading):
        return reading
    match reading.quantity:
        case "level":
            return _level(reading, sheet, job, looped=looped)
        case "speed_error" if sheet.clock_error_ppm is not None and not looped:
            # a fast clock takes more samples a second, so every frequency reads low
            percent, own = 1e-4 * sheet.clock_error_ppm.value, 1e-4 * sheet.clock_error_ppm.uncertainty
            return _moved(reading, percent, own, interface_clock_percent=percent)
        case "third_harmonic" | "thd" if sheet.distortion_percent is not None:
            own = sheet.distortion_percent
            return _moved(reading, 0.0, own, interface_distortion_percent=own)
        case "noise" | "hum" if sheet.noise_dbfs is not None:
            return _noise(reading, sheet.noise_dbfs)
        case _:
            return reading


def _level(reading: Reading, sheet: Interface, job: Job, *, looped: bool) -> Reading:
    out = reading
    known = loop_db(sheet, reading.frequency_hz, reading.channel) if reading.frequency_hz else None
    if known is not None:
        db, spread = known
        if looped:
            out = _moved(out, -db, spread, interface_db=-db)
        else:
            out = _moved(out, -db / 2, math.hypot(db / 2, spread), interface_db=-db / 2, half_of_loop=True)
    full = sheet.full_scale_input_v
    if full is not None:
        volts = full.value * 10 ** (out.value / 20.0)
        out = replace(out, method=replace(out.method, interface_volts=volts, meter_vu=_vu(out.value, job)))
    return out


def _vu(dbfs: float, job: Job) -> float | None:
    """What the machine's own meters show; None unless they are VU meters."""
    meters = job.machine.meters
    return None if meters is None or meters.kind != "VU" else dbfs - job.replay_dbfs - meters.zero_db


def _noise(reading: Reading, floor_dbfs: float) -> Reading:
    """Turn a noise reading into an upper bound where the noise of the interface may contribute to it."""
    if reading.value - floor_dbfs > HIDDEN_DB:
        return reading
    return replace(reading, bound="at most", method=replace(reading.method, interface_noise_dbfs=floor_dbfs))


def loop_db(sheet: Interface, frequency_hz: float, channel: str) -> tuple[float, float] | None:
    """Response of the loop at a frequency and its uncertainty, dB, interpolated over log frequency.

    None where the sheet has no points for the channel. Outside the points the nearest one applies.
    """
    points = sorted((p for p in sheet.response if p.channel in (channel, "both")), key=lambda p: p.hz)
    if not points:
        return None
    above = next((p for p in points if p.hz >= frequency_hz), points[-1])
    below = next((p for p in reversed(points) if p.hz <= frequency_hz), points[0])
    share = math.log(frequency_hz / below.hz) / math.log(above.hz / below.hz) if above.hz > below.hz else 0.0
    return below.db + share * (above.db - below.db), max(below.uncertainty_db, above.uncertainty_db)


def _moved(reading: Reading, by: float, uncertainty: float, **facts: Any) -> Reading:
    moved = replace(reading, value=reading.value + by, method=replace(reading.method, **facts))
    return moved.widened("interface", uncertainty)
