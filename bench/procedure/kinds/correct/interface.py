"""What an interface sheet does to readings: volts for dBFS, its response and clock taken out, its floors told.

The sheet is measured with the output looped to the input, so its response is that of both together. A tone that was
sent and came back has passed both; one that was only replayed has passed the input alone, of which no more is known
than that it takes some part of the loop's error: half is taken out, and half stays as uncertainty.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from bench.measure.reading import NoReading, Reading, Result
from bench.procedure.model.job import Job
from bench.procedure.model.sheets import Interface

HIDDEN_DB = 10.0
"""Noise that is no more than this above the interface's own is partly the interface's."""


def replay_dbfs(job: Job) -> float:
    """What the interface should read at the machine's reference level.

    By the machine sheet; or, where that names a test point in mV and the interface's full scale is known in volts, by
    these two.
    """
    point, sheet = job.machine.output_test_point, job.interface
    if point is None or sheet is None or sheet.full_scale_input_v is None:
        return job.machine.reference.replay_dbfs
    volts = point.mv / 1000.0 * 10 ** (-point.attenuator_db / 20.0)
    return 20.0 * math.log10(volts / sheet.full_scale_input_v.value)


def corrected(reading: Result, job: Job, *, looped: bool) -> Result:
    """A raw reading with what the interface does to it taken out, its uncertainty included and said.

    Args:
        reading: as a meter gave it, of what came in.
        job: whose interface.
        looped: what was read was also sent by the interface.
    """
    sheet = job.interface
    if sheet is None or isinstance(reading, NoReading):
        return reading
    match reading.quantity:
        case "level":
            return _level(reading, sheet, looped=looped)
        case "speed_error" if sheet.clock_error_ppm is not None and not looped:
            # A clock that runs fast takes more samples a second, and reads every frequency low.
            percent, own = 1e-4 * sheet.clock_error_ppm.value, 1e-4 * sheet.clock_error_ppm.uncertainty
            return _moved(reading, percent, own, interface_clock_percent=percent)
        case "third_harmonic" | "thd" if sheet.distortion_percent is not None:
            own = sheet.distortion_percent
            return _moved(reading, 0.0, own, interface_distortion_percent=own)
        case "noise" | "hum" if sheet.noise_dbfs is not None:
            return _noise(reading, sheet.noise_dbfs)
        case _:
            return reading


def _level(reading: Reading, sheet: Interface, *, looped: bool) -> Reading:
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
        out = replace(out, method=replace(out.method, interface_volts=volts))
    return out


def _noise(reading: Reading, floor_dbfs: float) -> Reading:
    """Noise of the interface is part of what is read: where it may matter, the reading is a limit."""
    if reading.value - floor_dbfs > HIDDEN_DB:
        return reading
    return replace(reading, bound="at most", method=replace(reading.method, interface_noise_dbfs=floor_dbfs))


def loop_db(sheet: Interface, frequency_hz: float, channel: str) -> tuple[float, float] | None:
    """What the loop does at a frequency and its uncertainty, dB: between the sheet's points by log frequency.

    None where the sheet has no points for the channel; beyond its first and last point those hold.
    """
    points = sorted((p for p in sheet.response if p.channel in (channel, "both")), key=lambda p: p.hz)
    if not points:
        return None
    above = next((p for p in points if p.hz >= frequency_hz), points[-1])
    below = next((p for p in reversed(points) if p.hz <= frequency_hz), points[0])
    share = math.log(frequency_hz / below.hz) / math.log(above.hz / below.hz) if above.hz > below.hz else 0.0
    return below.db + share * (above.db - below.db), max(below.uncertainty_db, above.uncertainty_db)


def _moved(reading: Reading, by: float, uncertainty: float, **facts: Any) -> Reading:
    return replace(
        reading,
        value=reading.value + by,
        uncertainty=math.hypot(reading.uncertainty, uncertainty),
        method=replace(reading.method, **facts),
    )
