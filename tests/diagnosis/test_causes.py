"""Causes that are told from others by one law: each test has readings that a simpler law would put down to another."""

from __future__ import annotations

from typing import Any

from bench.diagnosis.answer import Diagnosis, diagnose
from bench.diagnosis.output.contract import case_of
from tests.diagnosis.other_readings import make

Readings = list[dict[str, Any]]
TONES = (40.0, 125.0, 1000.0, 4000.0, 8000.0, 10000.0, 12500.0)
SIDES = ("left", "right")


def of(quantity: str, value: float, unit: str = "dB", **more: Any) -> Readings:
    at = {"stage": "after-cleaning", "source": "record-replay", "quantity": quantity, "unit": unit}
    return [at | {"channel": c, "value": value, "uncertainty": 0.1} | more for c in SIDES]


def responses(source: str, db: float = 0.1) -> Readings:
    return [r for hz in TONES for r in of("response", db, frequency_hz=hz, source=source)]


def said(readings: Readings) -> Diagnosis:
    case = case_of({"machine": {"heads": 3}, "readings": readings}, "case")
    return diagnose(case.machine, case.findings)


def probabilities(readings: Readings) -> dict[str, float]:
    return {s.name: s.probability for s in said(readings).suspects}


def test_a_level_too_high_by_the_same_from_both_tapes_is_the_output_control() -> None:
    high = of("level", 4.0, source="reference-tape") + of("record_replay_level", 4.0)
    one = [r | {"value": 0.0} if r["channel"] == "right" else r for r in high]
    both, alone = (
        probabilities(levels + responses("reference-tape") + responses("record-replay")) for levels in (high, one)
    )
    assert both["output-control"] > 0.5 > alone["output-control"]


def test_one_mistaken_tone_does_not_hide_a_monitor_switch_at_source() -> None:
    heard = of("third_harmonic", 0.03, "%", frequency_hz=400.0) + of("signal_to_noise", 78.0)
    tones = responses("record-replay", 0.02)
    tones[3]["value"] = 1.5
    told = said(heard + of("record_replay_level", 0.02) + tones)
    assert told.suspects[0].name == "monitor-at-source"


def test_a_second_cause_hidden_by_the_first_is_found() -> None:
    """Treble lost only from an aged reference tape, beside noise that no other cause explains."""
    data, truth = make(1300102, ("aged-reference-tape", "amplifier-noise"))
    case = case_of(data, "case")
    assert {s.name for s in diagnose(case.machine, case.findings).suspects[:2]} == set(truth.causes)


def test_what_is_left_of_an_old_recording_is_not_noise_of_the_amplifier() -> None:
    noisy = of("signal_to_noise", 44.0, method="A-weighted rms") + responses("record-replay")
    erased = of("erasure", 38.0, frequency_hz=1000.0)
    alone, told = probabilities(noisy), probabilities(noisy + erased)
    assert next(iter(alone)) == "amplifier-noise"
    assert told["amplifier-noise"] < alone["amplifier-noise"] / 2
    assert told["weak-erasure"] > 0.9
