"""The effect of bias on level, treble, distortion and headroom, read by the meters; common practice, no source.

Tape data sheets draw these curves over bias: 10 kHz peaks below the right bias and falls past it, long wavelengths
peak about it, third harmonic falls with bias, the maximum output level is best at or past the right bias, and the
saturated output level at 10 kHz falls all the way.
"""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.meters import Options
from bench.measure.reading import Measured
from bench.practice.machine import PracticeMachine
from tests.measure.whole_array import distortion, headroom, level
from tests.practice.deck import RATE, tone
from tests.practice.test_shipped import recorded, shipped
from tests.results import a_reading

SENT = -12.0
CASSETTES = ("three-head-cassette", "three-head-cassette-chrome", "three-head-cassette-metal")
LONG_HZ = {"open-reel-190-iec": 1000.0, "open-reel-381-iec": 1000.0}


def biased(name: str, db: float) -> PracticeMachine:
    machine, _, _ = shipped(name)
    for side in ("left", "right"):
        trimmer = machine._trimmers[f"bias {side}"]
        trimmer.shift(db - trimmer.error)
    return machine


def value(measured: Measured, quantity: str) -> float:
    found = a_reading(next(r for r in measured.readings if r.quantity == quantity and r.channel == "left")).value
    assert found is not None
    return found


def at(name: str, db: float, hz: float) -> float:
    """Replay level of a tone sent at -20 dB, dB re what was sent."""
    heard = recorded(biased(name, db), 3, tone(hz, SENT - 20, 1.5))
    return value(level(heard, RATE, Options(frequency=hz)), "level") - (SENT - 20)


def rising(hz: float) -> np.ndarray:
    n = 10 * RATE
    gain = 10 ** (np.linspace(-8.0, 11.9, n) / 20)
    return np.asarray(10 ** (SENT / 20) * (gain * np.sin(2 * np.pi * hz / RATE * np.arange(n)))[:, None].repeat(2, 1))


def most(name: str, db: float, hz: float, quantity: str) -> float:
    return value(headroom(recorded(biased(name, db), 3, rising(hz)), RATE, Options(reference_level=SENT)), quantity)


@pytest.mark.parametrize("name", [CASSETTES[0], *(pytest.param(n, marks=pytest.mark.long) for n in CASSETTES[1:])])
def test_treble_peaks_below_the_right_bias_and_falls_past_it(name: str) -> None:
    curve = {db: at(name, db, 10000.0) for db in (-6.0, -4.0, -2.0, 0.0, 1.0, 4.0)}
    assert max(curve, key=lambda db: curve[db]) == -2.0
    # As on the tapes' sheets: about 1.6 dB for each dB of extra bias.
    assert curve[1.0] - curve[0.0] == pytest.approx(-1.6, abs=0.3)
    assert curve[4.0] < -7.0
    assert curve[-6.0] < curve[-4.0]


@pytest.mark.parametrize("name", [CASSETTES[0], *(pytest.param(n, marks=pytest.mark.long) for n in LONG_HZ)])
def test_long_wavelengths_have_a_flat_peak_about_the_right_bias(name: str) -> None:
    hz = LONG_HZ.get(name, 315.0)
    curve = {db: at(name, db, hz) for db in (-4.0, 0.0, 2.0, 4.0)}
    assert curve[-4.0] < -2.0
    assert -1.2 < curve[2.0] - curve[0.0] < 0.0
    assert curve[4.0] < curve[2.0]


@pytest.mark.parametrize("name", [CASSETTES[0], "open-reel-381-iec"])
def test_distortion_falls_with_bias(name: str) -> None:
    hz = LONG_HZ.get(name, 315.0)
    third = [
        value(
            distortion(recorded(biased(name, db), 3, tone(hz, SENT, 2.0)), RATE, Options(fundamental=hz)),
            "third_harmonic",
        )
        for db in (-4.0, -2.0, 0.0, 1.0)
    ]
    assert third == sorted(third, reverse=True)
    assert third[0] > 2 * third[2]
    # At the reference level and the right bias: under 1 to 2 % on cassette, at most 1 % on open reel.
    assert third[2] < 1.0


@pytest.mark.long
@pytest.mark.parametrize("name", [CASSETTES[0], CASSETTES[2]])
def test_headroom_over_bias(name: str) -> None:
    mol = {db: most(name, db, 315.0, "maximum_output_level") for db in (-2.0, 0.0, 2.0)}
    assert mol[-2.0] < mol[0.0] - 1.0
    assert mol[2.0] == pytest.approx(mol[0.0], abs=0.6)
    sol = {db: most(name, db, 10000.0, "saturated_output_level") for db in (-2.0, 0.0, 2.0)}
    assert sol[-2.0] > sol[0.0] > sol[2.0] + 2.0
    assert sol[0.0] < mol[0.0] - 5.0


@pytest.mark.long
def test_metal_bears_more_treble_than_ferric_and_chrome() -> None:
    # SOL re 250 nWb/m: about -5 to -3 dB on types I and II, -2 to +2 dB on type IV.
    ferric, chrome, metal = (most(name, 0.0, 10000.0, "saturated_output_level") for name in CASSETTES)
    assert -6.0 < ferric < -3.0
    assert -6.0 < chrome < -3.0
    assert -2.0 < metal < 2.0
