"""What applies to every quantity: any split into blocks, bad input, only finite values."""

from __future__ import annotations

import itertools
import json
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from bench.measure.catalogue import METERS, QUANTITIES
from bench.measure.meters import Options, make_meter
from bench.measure.reading import Measured, NoReading, Reading
from tests.cases import cases
from tests.measure.captures import hiss, mono, tone
from tests.results import no_reading

ASKED = {
    "level": Options(frequency=3150.0),
    "response": Options(frequencies=(1000.0, 3150.0), reference_frequency=3150.0),
    "azimuth": Options(speed=47.625, track_spacing=0.9),
    "speed": Options(nominal=3150.0),
    "flutter": Options(nominal=3150.0),
    "noise": Options(reference_level=-10.0),
    "distortion": Options(fundamental=3150.0),
    "headroom": Options(reference_level=-10.0),
    "separation": Options(driven="left", frequency=3150.0),
    "erasure": Options(frequency=3150.0, reference_level=-10.0),
    "mono_sum": Options(),
    "programme_azimuth": Options(),
    "programme_speed": Options(nominal=3150.0),
    "programme_treble": Options(),
    "dropouts": Options(frequency=3150.0),
    "everything": Options(reference_level=-10.0),
}
RATE = 16000.0


def measure(quantity: str, x: NDArray[np.float64], rate: float = RATE, options: Options | None = None) -> Measured:
    meter = make_meter(quantity, rate, x.shape[1], options or ASKED[quantity])
    meter.feed(x)
    return meter.finish()


@lru_cache
def sound(seconds: float, rate: float) -> NDArray[np.float64]:
    x = np.stack([tone(3150.0, -10.0, seconds, rate, flutter=((4.0, 1e-3),), harmonics=(0.02,))] * 2, axis=1)
    x[:, 1] *= 0.01
    x[round(1.7 * rate) : round(1.72 * rate)] *= 0.1
    return np.asarray(x + hiss(-60.0, seconds, rate, channels=2))


SOUND = sound(4.0, RATE)


@lru_cache
def whole(quantity: str, rate: float) -> Measured:
    return measure(quantity, sound(4.0, rate), rate)


def test_every_meter_is_asked() -> None:
    assert set(ASKED) == set(METERS)


@pytest.mark.parametrize("meter", ASKED)
def test_readings_are_as_the_catalogue_has_them(meter: str) -> None:
    for r in whole(meter, RATE).readings:
        facts = QUANTITIES[r.quantity]
        assert meter in (facts.meter, facts.of_programme, "everything")
        if isinstance(r, Reading):
            assert r.method.name.startswith(facts.methods or "")
            assert r.bound in {None, facts.bound}
            assert (r.time_s is not None) == (facts.event and r.quantity != "flutter_component")


@pytest.mark.parametrize("quantity", ASKED)
@cases(6)
@given(
    blocks=st.lists(st.one_of(st.integers(1, 700), st.integers(700, 40000)), min_size=1, max_size=5),
    rate=st.sampled_from([8000.0, 11025.0, RATE, 22050.0]),
)
def test_any_split_into_blocks_gives_the_same_at_any_rate(quantity: str, blocks: list[int], rate: float) -> None:
    x = sound(4.0, rate)
    meter = make_meter(quantity, rate, 2, ASKED[quantity])
    at, sizes = 0, itertools.cycle([*blocks, 500])
    while at < len(x):
        block = next(sizes)
        meter.feed(x[at : at + block])
        at += block
    assert meter.finish() == whole(quantity, rate)


@pytest.mark.parametrize("rate", [8000.0, 11025.0, 44100.0, 88200.0, 192000.0])
@pytest.mark.parametrize("quantity", ASKED)
def test_any_rate_gives_a_finite_answer(quantity: str, rate: float) -> None:
    x = np.repeat(tone(2000.0, -10.0, 2.5, rate)[:, None], 2, axis=1) + hiss(-60.0, 2.5, rate, channels=2)
    told = measure(
        quantity, x, rate, Options(frequency=2000.0, nominal=2000.0, fundamental=2000.0, reference_level=0.0)
    )
    json.dumps([r.as_json() for r in told.readings], allow_nan=False)
    assert told.readings


BAD = {
    "silence": np.zeros((round(3 * RATE), 2)),
    "silence of one channel": np.zeros((round(3 * RATE), 1)),
    "nothing": np.zeros((0, 2)),
    "one sample": np.full((1, 2), 0.1),
    "too short": hiss(-20.0, 0.05, RATE, channels=2),
    "a brief tone": mono(tone(3150.0, -10.0, 0.15, RATE)),
    "noise": hiss(-20.0, 3.0, RATE, channels=2),
    "direct current": np.full((round(2 * RATE), 2), 0.3),
    "a full-scale square": np.where(mono(tone(440.0, 0.0, 3.0, RATE)) >= 0.0, 1.0, -1.0),
    "a click": np.eye(1, round(3 * RATE), 9999).T,
}


@pytest.mark.parametrize("what", BAD)
@pytest.mark.parametrize("quantity", ASKED)
def test_bad_input_never_raises_and_always_says_why(quantity: str, what: str) -> None:
    x = BAD[what]
    told = measure(quantity, x)
    json.dumps([r.as_json() for r in told.readings], allow_nan=False)
    for r in told.readings:
        assert isinstance(r, Reading) or r.reason
    if not np.any(x):
        assert all(isinstance(r, NoReading) for r in told.readings)
    assert told.readings or told.warnings


@pytest.mark.parametrize("quantity", ["level", "speed", "flutter", "distortion", "separation", "erasure", "dropouts"])
def test_a_tone_above_half_the_rate_has_no_reading(quantity: str) -> None:
    high = Options(frequency=9000.0, nominal=9000.0, fundamental=9000.0, reference_level=-10.0)
    told = measure(quantity, SOUND, RATE, high)
    assert told.readings
    for r in told.readings:
        assert isinstance(r, NoReading)
        assert "above half the sample rate" in r.reason


def test_one_channel_where_two_are_needed() -> None:
    told = measure("separation", mono(SOUND[:, 0]))
    (one,) = told.readings
    assert "two" in no_reading(one).reason


@pytest.mark.parametrize("quantity", ["level", "speed", "flutter", "distortion", "separation", "dropouts"])
def test_a_tone_that_is_not_there_is_named(quantity: str) -> None:
    told = measure(quantity, SOUND, RATE, Options(frequency=1000.0, nominal=1000.0, fundamental=1000.0))
    for r in told.readings:
        assert isinstance(r, NoReading)
        assert "1 kHz" in r.reason


@pytest.mark.parametrize("quantity", ["flutter", "distortion", "noise"])
def test_clipping_is_said(quantity: str) -> None:
    told = measure(quantity, np.clip(50.0 * SOUND, -1.0, 1.0))
    assert not any("clipped" in w for w in measure(quantity, SOUND).warnings)
    assert any("clipped" in w for w in told.warnings)
