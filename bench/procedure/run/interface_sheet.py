"""The interface sheet: written from the readings of `calibrate-interface`, and found again by device."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from bench.measure.reading import Reading
from bench.procedure.load.reader import read_sheet
from bench.procedure.model.job import JobStep
from bench.procedure.model.sheets import Interface
from bench.procedure.model.steps import InterfaceStep
from bench.procedure.state.journal import ReadingRecord
from bench.workspace import write_new

OLD_DAYS = 365
"""Age from which the report points out the age of a sheet: common practice, no source."""

REPEATS_DB = 0.01
"""How well plugs, and controls set to their marks, repeat on another day: common practice, no source."""

Found = dict[str, list[tuple[Reading, float | None]]]
"""By what a step finds: its readings, each with the level at which its tone was sent, dBFS."""


def sheet_text(
    steps: Iterable[JobStep], records: Sequence[ReadingRecord], device: str, day: date, rate: int
) -> str | None:
    """The sheet as TOML; None where the steps measured no interface.

    Args:
        steps: the steps of the job.
        records: readings of the last attempts.
        device: name of the interface in the sound system.
        day: when it was measured.
        rate: frames a second.
    """
    finds = {s.id: s.finds for s in steps if isinstance(s, InterfaceStep)}
    found: Found = {}
    for r in records:
        if r.step in finds and r.measured is not None:
            found.setdefault(finds[r.step], []).append((r.measured, r.sent_db))
    if not found:
        return None
    import tomli_w

    sheet: dict[str, Any] = {
        "format": 1,
        "sheet": "interface",
        "name": f"{device}, measured {day.isoformat()}",
        "notes": "Written by calibrate-interface. It holds for the knobs as they were marked then.",
        "device": device,
        "date": day,
        "sample_rate": rate,
        **_channels(found),
        **_floors(found),
        **_volts(found),
        "response": [{"hz": r.frequency_hz, **_point(r)} for r, _ in found.get("response", ())],
        "linearity": [{"sent_dbfs": sent, **_point(r)} for r, sent in found.get("linearity", ())],
    }
    return tomli_w.dumps({k: v for k, v in sheet.items() if v not in ([], None)})


def _point(reading: Reading) -> dict[str, Any]:
    channel = reading.channel if reading.channel in ("left", "right") else "both"
    spread = math.hypot(reading.uncertainty, REPEATS_DB)
    return {"db": round(reading.value, 3), "channel": channel, "uncertainty_db": round(spread, 3)}


def _channels(found: Found) -> dict[str, Any]:
    separate = [r.value for r, _ in found.get("channels", ())]
    if not separate:
        return {}
    return {"channel_order": "straight" if min(separate) > 0 else "swapped" if max(separate) < 0 else None}


def _floors(found: Found) -> dict[str, Any]:
    """Noise and distortion, each of the worse channel."""
    out = {}
    for key, of in (("noise_dbfs", "noise"), ("distortion_percent", "distortion")):
        values = [r.value for r, _ in found.get(of, ())]
        out[key] = _rounded(max(values)) if values else None
    return out


def _volts(found: Found) -> dict[str, Any]:
    """Full scale in volts. That of the input is the mean of its channels; the uncertainty covers their difference."""
    out: dict[str, Any] = {}
    for r, _ in found.get("full-scale", ()):
        if r.quantity == "full_scale_output":
            out["full_scale_output_v"] = _uncertain(r.value, r.uncertainty)
    inputs = [r for r, _ in found.get("full-scale", ()) if r.quantity == "full_scale_input"]
    if inputs:
        mean = sum(r.value for r in inputs) / len(inputs)
        spread = max(abs(r.value - mean) + r.uncertainty for r in inputs)
        out["full_scale_input_v"] = _uncertain(mean, spread)
    for r, _ in found.get("clock", ()):
        out["clock_error_ppm"] = _uncertain(r.value, r.uncertainty)
    return out


def _uncertain(value: float, uncertainty: float) -> dict[str, float]:
    return {"value": _rounded(value), "uncertainty": max(_rounded(uncertainty), 1e-6)}


def _rounded(value: float) -> float:
    return float(f"{value:.5g}")


def write_sheet(folder: Path, text: str, device: str, day: date) -> Path:
    """Write a sheet under a new name; existing sheets are never changed.

    Raises:
        Problem: it cannot be written.
    """
    stem = re.sub(r"[^a-z0-9]+", "-", device.casefold()).strip("-") or "interface"
    return write_new(folder, f"{stem}-{day.isoformat()}", text)


def newest_of(folder: Path, device: str) -> Path | None:
    """The newest sheet of a device by date; broken ones are ignored."""
    read = [(read_sheet(p, "interface").model, p) for p in sorted(folder.glob("*.toml"))]
    mine = [(s.date, p.stem, p) for s, p in read if isinstance(s, Interface) and s.device == device]
    return max(mine, key=lambda m: m[:2])[2] if mine else None


def calibration(sheet: Interface | None, device: str, today: date) -> str:
    """For the report: the sheet on which the levels rest, its age, and whether it belongs to another device."""
    if sheet is None:
        return "levels in dBFS: no interface sheet"
    said = f"by the interface sheet of {sheet.date.isoformat()}"
    days = (today - sheet.date).days
    if sheet.device != device:
        said += f", which is of another device ({sheet.device})"
    if days > OLD_DAYS:
        said += f", {days} days old: calibrate the interface again"
    if sheet.channel_order == "swapped":
        said += "; its channels were swapped then"
    return said
