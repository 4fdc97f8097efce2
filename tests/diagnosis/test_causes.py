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


def test_the_output_control_moves_the_source_and_the_reference_tape_and_no_recording() -> None:
    """The recording is compared with the source, so no control moves it; a tape of another flux moves no source."""
    low = of("level", -4.0, source="reference-tape") + of("record_replay_level", 0.1)
    tones = responses("reference-tape") + responses("record-replay")
    with_source, without = (probabilities(low + of("source_level", db) + tones) for db in (-4.0, 0.05))
    assert with_source["output-control"] > 0.9
    assert without["reference-tape-of-another-kind"] > without.get("output-control", 0.0)


def test_a_limiter_shows_in_the_compression_of_a_loud_tone() -> None:
    """At reference level a tape compresses by 0.3 to 0.5 dB (common practice)."""
    heard = responses("record-replay") + of("record_replay_level", 0.1)
    third = of("third_harmonic", 1.0, "%", frequency_hz=400.0, level_db=0.0)
    pressed, usual = (
        probabilities(heard + third + of("compression", db, frequency_hz=400.0, level_db=0.0)) for db in (-4.0, -0.4)
    )
    assert pressed["limiter-left-in"] > 0.9
    assert usual.get("limiter-left-in", 0.0) < 0.1


def test_a_recording_read_by_a_tilted_replay_head_has_its_delay() -> None:
    """20 µs from the reference tape and from a recording: the record head is right, and only the replay head is not."""
    delays = [
        r
        for source in ("reference-tape", "record-replay")
        for hz in (1000.0, 3150.0, 10000.0)
        for r in of("azimuth_delay", 20.0, "µs", frequency_hz=hz, source=source)[:1]
    ]
    for r in delays:
        r["channel"] = "left-right"
    told = said(delays + responses("reference-tape") + responses("record-replay"))
    azimuth = {s.name: s for s in told.settings if "azimuth" in s.name}
    assert azimuth["replay azimuth"].value > 3.0
    assert abs(azimuth["record azimuth"].value) < 0.3


def test_a_decoder_left_in_dulls_the_reference_tape_alone() -> None:
    """Type B takes off 4 dB about 1 to 2 kHz at −20 dB, less above, and 9 dB of hiss (a component data sheet)."""
    off = dict(zip(TONES, (0, -0.1, -3.6, -3.4, -2.1, -1.6, -1.3), strict=True))
    dull = [
        r for hz in TONES for r in of("response", off[hz], frequency_hz=hz, source="reference-tape", level_db=-20.0)
    ]
    noise = of("signal_to_noise", 62.0, method="A-weighted rms")
    told = probabilities(dull + responses("record-replay") + noise + of("level", -0.7, source="reference-tape"))
    assert max(told, key=lambda name: told[name]) == "noise-reduction-left-in"


def test_a_full_track_reference_tape_that_fringes_is_no_fault() -> None:
    """It reads 1 to 3 dB high at low frequencies on a narrower head (McKnight, JAES 26(4), 1978); recordings do not."""
    rise = {40.0: 1.6, 63.0: 1.5, 125.0: 1.1, 250.0: 0.6}
    high = [r for hz in TONES for r in of("response", rise.get(hz, 0.0), frequency_hz=hz, source="reference-tape")]
    reel = {"heads": 3, "speed_mm_per_s": 381.0, "track_width_mm": 2.75, "equalisation_us": [35, 0]}
    case = case_of({"machine": reel, "readings": high + responses("record-replay")}, "case")
    assert all(s.probability < 0.1 for s in diagnose(case.machine, case.findings).suspects)


def test_tones_that_equal_the_source_exactly_are_the_source() -> None:
    same = responses("record-replay", 0.01) + of("record_replay_level", -0.02)
    assert said(same).suspects[0].name == "monitor-at-source"


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
