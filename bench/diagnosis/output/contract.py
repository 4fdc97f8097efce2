"""Reads readings from a JSON file and writes a diagnosis as JSON, for `tapebench diagnose --readings`."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bench.diagnosis.answer import Diagnosis
from bench.diagnosis.machine import Machine, machine_of
from bench.diagnosis.readings.finding import SOURCES, STAGES, Finding, Source, Stage
from bench.diagnosis.readings.records import AIMED, CIRCUITS
from bench.diagnosis.settings import RUNS, Setting
from bench.figures import hertz
from bench.measure.catalogue import QUANTITIES
from bench.problem import Problem

STAGE_WORDS: dict[str, Stage] = {s: s for s in STAGES} | {
    "found-dirty": "before-cleaning",
    "found-clean": "after-cleaning",
    "left": "as-left",
    "as-found": "after-cleaning",
    "before": "before-cleaning",
    "after": "after-cleaning",
}
SOURCE_WORDS: dict[str, Source] = {s: s for s in SOURCES} | {"reference": "reference-tape", "machine": "tape-stopped"}
LIMITS: dict[str, tuple[float | None, float]] = {
    "signal_to_noise": (25.0, 50.0),
    "noise": (None, -62.0),
    "hum": (None, -62.0),
    "erasure": (3.0, 60.0),
    "separation": (10.0, 35.0),
    "third_harmonic": (0.0, 2.0),
    "second_harmonic": (0.0, 1.0),
    "wow_and_flutter": (0.0, 0.2),
    "dropout_rate": (0.0, 5.0),
}
"""By quantity: the lowest plausible value, and the usual limit. Common practice, no source."""
CHANNELS = ("left", "right", "both", "left-right", "right-left", "mono")
OTHER_SPELLINGS = {"us": "µs", "\u03bcs": "µs", "deg": "degrees", "°": "degrees", "'": "arcmin", "dBFS": "dB"}
"""Units with the same meaning here; one has the Greek letter mu. A difference in dBFS is one in dB."""
FURTHEST = {"dB": 200.0, "%": 200.0, "µs": 20e3, "arcmin": 600.0, "degrees": 36e3, "per minute": 6e3}
"""By unit, the largest figure of any machine; a larger one is a typing error. Common practice, no source."""
LOWEST_HZ, HIGHEST_HZ = 0.01, 400e3
"""Lowest and highest frequency that a reading can have: from the rate of a slow reel to that of the bias."""


@dataclass(frozen=True, slots=True)
class Case:
    """The contents of a file."""

    machine: Machine
    findings: tuple[Finding, ...]
    answers: dict[str, str]
    ignored: tuple[str, ...]
    """A sentence for each item that is not understood."""


def read_case(path: Path) -> Case:
    """Read machine, readings and answers from a file.

    Raises:
        Problem: not JSON, not an object, or not a number where one is needed; names file and place.
    """
    try:
        data = json.loads(path.read_text(encoding="utf-8"), parse_constant=_no_number)
    except FileNotFoundError:
        raise Problem(f"{path}: no such file; give one with machine, readings and answers") from None
    except OSError as why:
        raise Problem(f"{path}: can't be read ({why.strerror}); give a JSON file") from None
    except (ValueError, RecursionError) as why:
        raise Problem(f"{path}: not JSON ({why}); see tapebench diagnose --help") from None
    if not isinstance(data, dict):
        raise Problem(f"{path}: not a JSON object; it holds machine, readings and answers")
    return case_of(data, str(path))


def case_of(data: Mapping[str, Any], where: str) -> Case:
    """Read machine, readings and answers from a JSON object."""
    facts = data.get("machine", {})
    readings, answers = data.get("readings", []), data.get("answers") or {}
    if not isinstance(facts, Mapping):
        raise Problem(f"{where}: machine must be an object of facts such as heads and speed_mm_per_s")
    if not isinstance(readings, list):
        raise Problem(f"{where}: readings must be a list")
    if not isinstance(answers, Mapping):
        raise Problem(f'{where}: answers must be an object such as {{"swab": "brown"}}')
    ignored: list[str] = []
    machines = {str(r["machine"]) for r in readings if isinstance(r, Mapping) and r.get("machine")}
    if len(machines) > 1:
        raise Problem(f"{where}: readings of {len(machines)} machines; give those of one")
    found = []
    for n, item in enumerate(readings):
        finding = _finding(item, n, where, ignored)
        if finding:
            found.append(finding)
    told = {str(k): str(v) for k, v in answers.items() if isinstance(v, str | int | float | bool)}
    ignored += [f"answers.{k}: an answer is a word" for k in answers if str(k) not in told]
    return Case(machine_of(facts, where), tuple(found), told, tuple(ignored))


def _no_number(name: str) -> float:
    raise ValueError(f"{name} is no figure")


def _finding(item: Any, n: int, where: str, ignored: list[str]) -> Finding | None:
    place = f"{where}: readings[{n}]"
    if not isinstance(item, Mapping):
        raise Problem(f"{place} must be an object with quantity, channel and value")
    quantity = item.get("quantity")
    if not isinstance(quantity, str):
        raise Problem(f"{place} has no quantity")
    source = SOURCE_WORDS.get(_word(item.get("source")), "record-replay")
    if quantity not in QUANTITIES:
        ignored.append(f"readings[{n}]: {quantity} is no quantity that is known here")
        return None
    stage = STAGE_WORDS.get(_word(item.get("stage")) or "after-cleaning")
    if stage is None:
        ignored.append(f"readings[{n}]: stage {item.get('stage')} is none of {', '.join(STAGES)}")
        return None
    if item.get("source") is not None and _word(item.get("source")) not in SOURCE_WORDS:
        ignored.append(f"readings[{n}]: source {item.get('source')} is none of {', '.join(SOURCES)}")
        return None
    if item.get("source") is None or quantity in CIRCUITS:
        source = _usual_source(quantity)
    channel = _word(item.get("channel")) or "both"
    if channel not in CHANNELS:
        ignored.append(f"readings[{n}]: channel {channel} is none of {', '.join(CHANNELS)}")
        return None
    value, target = _number(item, "value", place), _number(item, "target", place)
    unit = str(item.get("unit") or QUANTITIES[quantity].unit)
    unit = "dBFS" if unit == "dBFS" else OTHER_SPELLINGS.get(unit, unit)
    hz = _number(item, "frequency_hz", place)
    wrong = _impossible(quantity, value, unit, hz)
    if wrong:
        ignored.append(f"readings[{n}]: {wrong}")
        return None
    if value is not None:
        value = value - target if target is not None and quantity in AIMED else _figure(quantity, value, unit)
    uncertainty = _number(item, "uncertainty", place)
    return Finding(
        id=str(item.get("id", n)),
        stage=stage,
        source=source,
        quantity=quantity,
        channel=channel,
        value=value,
        unit=unit,
        uncertainty=abs(uncertainty or 0.0),
        frequency_hz=hz,
        reference_hz=_positive(_number(item, "reference_hz", place)),
        sent_db=_first(_number(item, "level_db", place), _number(item, "sent_db", place)),
        method=str(item.get("method") or ""),
        part=str(item.get("part") or ""),
        driven=_word(item.get("driven")),
        from_target=bool(target) and quantity in AIMED,
        at_least=_word(item.get("bound")) == "at-least",
    )


def _impossible(quantity: str, value: float | None, unit: str, hz: float | None) -> str:
    """Why no machine can give such a reading; "" if one can."""
    usual = QUANTITIES[quantity].unit
    if OTHER_SPELLINGS.get(unit, unit) != OTHER_SPELLINGS.get(usual, usual):
        return f"{quantity} is in {usual}, not in {unit}"
    if value is not None and abs(value) > FURTHEST.get(OTHER_SPELLINGS.get(unit, unit), math.inf):
        return f"{quantity} of {value:g} {unit} is beyond any machine"
    if hz is not None and not LOWEST_HZ <= hz <= HIGHEST_HZ:
        return f"no reading has a frequency of {hertz(hz)}"
    return ""


def _figure(quantity: str, value: float, unit: str) -> float:
    """The value of a quantity that has a limit, if its distance from the limit may have been given instead.

    A value is implausible as such: a signal 5 dB above the noise, negative erasure, a separation of 5 dB.
    """
    least, limit = LIMITS.get(quantity, (None, 0.0))
    if quantity in ("noise", "hum") and unit == "dBFS":
        return value if value < -25.0 else value + limit
    if least is None or value >= least or (quantity == "separation" and value < -20.0):
        return value
    return value + limit


def _usual_source(quantity: str) -> Source:
    if quantity in ("level", "azimuth_delay", "azimuth_angle", "azimuth_phase", "speed_error", "speed_drift"):
        return "reference-tape"
    return CIRCUITS.get(quantity, "record-replay")


def _word(value: Any) -> str:
    return str(value).strip().lower().replace("_", "-").replace(" ", "-") if value is not None else ""


def _first(*values: float | None) -> float | None:
    return next((v for v in values if v is not None), None)


def _positive(value: float | None) -> float | None:
    return value if value is not None and value > 0 else None


def _number(item: Mapping[str, Any], key: str, place: str) -> float | None:
    value = item.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value) or abs(value) > 1e9:
        raise Problem(f"{place}.{key} must be a number, not {value!r}")
    return float(value)


def as_json(diagnosis: Diagnosis, case_ignored: tuple[str, ...] = (), assumed: tuple[str, ...] = ()) -> dict[str, Any]:
    """The diagnosis as a JSON object."""
    return {
        "causes": [
            {
                "cause": s.name,
                "channel": s.channel,
                "probability": round(s.probability, 4),
                "severity": None
                if s.severity is None
                else {
                    "value": _short(s.severity.value),
                    "unit": s.severity.unit,
                    "uncertainty": _short(s.severity.uncertainty),
                },
                **({"kind": s.kind} if s.kind else {}),
                "for": [_id(f) for f in s.speaks_for],
                "against": [_id(f) for f in s.speaks_against],
                "like": list(s.like),
                "mended_by": s.mended_by,
                "gone": s.gone,
            }
            for s in diagnosis.suspects
            if s.probability >= 0.0005
        ],
        "sets": [{"causes": list(s.causes), "probability": round(s.probability, 4)} for s in diagnosis.sets[:12]],
        "nothing": round(diagnosis.nothing, 4),
        "not_in_list": round(diagnosis.not_in_list, 4),
        "settings": [_setting(s) for s in diagnosis.settings if s.run == RUNS[0]],
        "settings_as_left": [_setting(s) for s in diagnosis.settings if s.run == RUNS[1]],
        "next_test": diagnosis.next_test.as_json() if diagnosis.next_test else None,
        "not_looked_at": list(diagnosis.not_looked_at),
        "contradictions": list(diagnosis.contradictions),
        "outliers": [_id(f) for f in diagnosis.outliers],
        "ignored": [
            *case_ignored,
            *(f"readings[{u.finding.id}]: {u.finding.quantity}: {u.why}" for u in diagnosis.unused),
            *(f"answers.{a}: bears on no cause in the list" for a in diagnosis.unknown_answers),
        ],
        "assumed": list(assumed),
    }


def _setting(setting: Setting) -> dict[str, Any]:
    return {
        "setting": setting.name.replace(" ", "-"),
        "channel": setting.channel,
        "value": _short(setting.value),
        "unit": setting.unit,
        "uncertainty": _short(setting.uncertainty),
    }


def _id(finding: Finding) -> int | str:
    return int(finding.id) if finding.id.isdigit() else finding.id


def _short(value: float) -> float:
    return float(f"{value:.4g}")
