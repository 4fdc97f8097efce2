"""The practice machine as the program measures it, against closed formulas computed elsewhere."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.meters import Options
from bench.measure.reading import Reading
from bench.practice.facts import Table
from bench.practice.machine import PracticeMachine
from tests.measure.whole_array import azimuth, flutter, level
from tests.practice.deck import QUIET, RATE, TONES, deck, play
from tests.results import a_reading

# Equalisations of IEC 60094-1 in use at these speeds.
EQUALISATION = {47.625: (120.0, 3180.0), 95.25: (90.0, 3180.0), 190.5: (70.0, 0.0), 381.0: (35.0, 0.0)}

# Wallace 1951: -54.575·d/λ, at the six tones, computed; µm at mm/s.
SPACING = {
    (47.625, 1.0): [-1.146, -3.610, -7.219, -9.167, -11.459, -14.324],
    (95.25, 2.0): [-1.146, -3.610, -7.219, -9.167, -11.459, -14.324],
    (190.5, 4.0): [-1.146, -3.610, -7.219, -9.167, -11.459, -14.324],
    (381.0, 6.0): [-0.859, -2.707, -5.415, -6.876, -8.594, -10.743],
}
# 20 lg|sin x/x|, x = π·1.11·g/λ (Eargle's factor), computed.
GAP = {
    (47.625, 1.5): [-0.017, -0.174, -0.705, -1.148, -1.822, -2.924],
    (95.25, 3.0): [-0.017, -0.174, -0.705, -1.148, -1.822, -2.924],
    (190.5, 5.0): [-0.012, -0.121, -0.487, -0.791, -1.249, -1.985],
    (381.0, 8.0): [-0.008, -0.077, -0.310, -0.503, -0.791, -1.249],
}
# 20 lg|sin x/x|, x = π·w·tan α/λ, 6 minutes of arc, computed; w in mm.
AZIMUTH = {
    (47.625, 0.6): [-0.007, -0.069, -0.276, -0.447, -0.702, -1.108],
    (95.25, 1.0): [-0.005, -0.048, -0.191, -0.309, -0.485, -0.763],
    (190.5, 2.0): [-0.005, -0.048, -0.191, -0.309, -0.485, -0.763],
    (381.0, 2.75): [-0.002, -0.023, -0.090, -0.146, -0.228, -0.357],
}
LAST_DIGIT = 0.001
"""Rounding of the literals and accuracy of the machine itself, dB."""


def machine(speed_mm_s: float, practice: Table, **more: float) -> PracticeMachine:
    return deck(
        {**QUIET, "head_distance_mm": speed_mm_s / 10, **practice},
        speed_mm_s=speed_mm_s,
        equalisation_us=EQUALISATION[speed_mm_s],
        **more,  # type: ignore[arg-type]
    )


def levels(of: PracticeMachine) -> list[Reading]:
    """The six tones of the reference tape, left."""
    return [a_reading(level(play(of, f"response-{hz:g}"), RATE, Options(frequency=hz)).readings[0]) for hz in TONES]


def agree(readings: list[Reading], expected: list[float]) -> None:
    """Each covers the literal within its own stated uncertainty (k = 2); one of the six may be off by twice that."""
    outside = 0
    for reading, literal in zip(readings, expected, strict=True):
        assert reading.uncertainty < 0.05
        off = abs(reading.value + 32.0 - literal)
        outside += off > reading.uncertainty + LAST_DIGIT
        assert off < 2 * reading.uncertainty + LAST_DIGIT, (reading, literal)
    assert outside <= 1


@pytest.mark.parametrize(("made", "expected"), SPACING.items())
def test_spacing(made: tuple[float, float], expected: list[float]) -> None:
    speed, um = made
    agree(levels(machine(speed, {"replay_dirt_left_um": um})), expected)


@pytest.mark.parametrize(("made", "expected"), GAP.items())
def test_gap(made: tuple[float, float], expected: list[float]) -> None:
    speed, um = made
    agree(levels(machine(speed, {"replay_gap_um": um, "replay_gap_made_good_um": 0.0})), expected)


@pytest.mark.parametrize(("made", "expected"), AZIMUTH.items())
def test_azimuth(made: tuple[float, float], expected: list[float]) -> None:
    speed, mm = made
    agree(levels(machine(speed, {"replay_azimuth_arcmin": 6.0, "track_width_mm": mm})), expected)


def mismatch(of: PracticeMachine, base_hz: float, expected: dict[float, float]) -> None:
    """Levels relative to that of one frequency cover the literals within their own stated uncertainty (k = 2)."""

    def at(hz: float) -> Reading:
        return a_reading(level(play(of, f"response-{hz:g}", 1.9), RATE, Options(frequency=hz)).readings[0])

    base = at(base_hz)
    for hz, literal in expected.items():
        there = at(hz)
        uncertainty = float(np.hypot(there.uncertainty, base.uncertainty))
        assert uncertainty < 0.05
        assert there.value - base.value == pytest.approx(literal, abs=2 * uncertainty + 2 * LAST_DIGIT), hz


def test_a_nab_tape_on_an_iec_replay_at_381() -> None:
    # IEC 60094-1 clause 15: 50 + 3180 µs on 35 µs, re 1 kHz, computed.
    of = deck(
        {**QUIET, "head_distance_mm": 30.0}, speed_mm_s=381.0, equalisation_us=(35.0, 0.0), tape_us=(50.0, 3180.0)
    )
    mismatch(of, 1000.0, {31.5: 5.663, 100.0: 1.161, 3150.0: -1.069, 10000.0: -2.508, 20000.0: -2.795})


def test_a_120_us_tape_on_a_70_us_replay() -> None:
    # The same clause, re 315 Hz, computed.
    of = deck(QUIET, equalisation_us=(70.0, 3180.0), tape_us=(120.0, 3180.0))
    mismatch(of, 315.0, {1000.0: -1.031, 3150.0: -3.413, 10000.0: -4.383, 16000.0: -4.469})


@pytest.mark.parametrize(
    ("speed", "spacing", "us"),
    # Δt = s·tan α/v for one minute of arc, computed; 3.40 and 3.96 mm from memory.
    [(47.625, 0.90, 5.497), (95.25, 3.40, 10.383), (190.5, 3.96, 6.047), (381.0, 3.96, 3.023), (381.0, 3.50, 2.672)],
)
def test_delay_of_three_minutes_of_arc(speed: float, spacing: float, us: float) -> None:
    of = machine(speed, {"replay_azimuth_arcmin": 3.0}, track_spacing_mm=spacing)
    heard = np.concatenate([play(of, f"response-{hz:g}") for hz in TONES[:4]])
    reading = next(r for r in azimuth(heard, RATE, Options()).readings if r.quantity == "azimuth_delay")
    assert a_reading(reading).value == pytest.approx(3 * us, abs=2 * a_reading(reading).uncertainty + 0.002)


def test_the_capstan_is_found_by_its_rate() -> None:
    # 2.2 mm at 47.625 mm/s: v/(π d) = 6.891 turns a second.
    of = deck({**QUIET, "flutter_capstan_percent": 0.1, "capstan_mm": 2.2})
    found = flutter(play(of, "response-3150", 1.9), RATE, Options(nominal=3150.0))
    parts = [
        r for r in found.readings if r.quantity == "flutter_component" and r.channel == "left" and a_reading(r).value
    ]
    largest = max(parts, key=lambda r: a_reading(r).value)
    assert largest.frequency_hz == pytest.approx(6.891, abs=0.02)
    assert a_reading(largest).value == pytest.approx(0.1, abs=0.005)
