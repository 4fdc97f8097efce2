"""Mistracking as a reading, against an encoder and a decoder that run sample by sample."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.quantities.mistracking import errors_of, mistracking
from bench.measure.reading import Channel, NoReading, Reading
from bench.tape.noise_reduction import decode, encode
from tests.results import a_reading

RATE = 48000


def level(db: float, channel: Channel = "left", uncertainty: float = 0.05) -> Reading:
    return Reading("record_replay_level", channel, db, uncertainty, frequency_hz=400.0)


def response(hz: float, db: float, channel: Channel = "left") -> Reading:
    return Reading("response", channel, db, 0.05, frequency_hz=hz)


def by_the_loops(hz: float, db: float, error_db: float) -> float:
    """What a decoder adds to an error: a tone is encoded, given the error, decoded, and measured by its transform."""
    n = RATE
    sent = 10 ** (db / 20) * np.sin(2 * np.pi * hz / RATE * np.arange(2 * n))[:, None]
    came = decode(encode(sent, RATE, "type-b") * 10 ** (error_db / 20), RATE, "type-b")
    line = round(hz * n / RATE)
    before, after = (np.abs(np.fft.rfft(x[n:, 0] * np.hanning(n)))[line] for x in (sent, came))
    return 20 * float(np.log10(after / before)) - error_db


@pytest.mark.parametrize("low_db", [-2.0, -6.0, 3.0])
def test_the_worst_point_is_what_the_loops_make_of_a_tone_there(low_db: float) -> None:
    heard, reading = mistracking([level(low_db)]).readings
    assert (heard.quantity, reading.quantity) == ("heard_error", "mistracking")
    assert a_reading(heard).value == a_reading(reading).value  # level alone is no response error
    assert reading.frequency_hz is not None
    at_db = reading.method.worst_level_db
    assert at_db is not None
    assert a_reading(reading).value == pytest.approx(by_the_loops(reading.frequency_hz, at_db, low_db), abs=0.3)
    assert reading.unit == "dB"


def test_each_channel_has_its_own() -> None:
    found = mistracking([level(-0.5), level(-5.0, "right"), response(10000.0, 1.0), response(8000.0, -2.0, "right")])
    left, right = (a_reading(r) for r in found.readings if r.quantity == "heard_error")
    assert (left.channel, right.channel) == ("left", "right")
    assert left.value > 0 > right.value
    assert {c: m.errors.level_db for c, m in found.maps.items()} == {"left": -0.5, "right": -5.0}


def test_the_uncertainty_covers_what_the_errors_may_be() -> None:
    """Draws errors about the readings by their uncertainties: 95 % of the results lie within that of the worst."""
    told = mistracking([level(-3.0, uncertainty=0.4), response(10000.0, -1.0)]).readings[0]
    rng = np.random.default_rng(5)
    drawn = [
        a_reading(mistracking([level(-3.0 + 0.2 * a), response(10000.0, -1.0 + 0.025 * b)]).readings[0]).value
        for a, b in rng.standard_normal((24, 2))
    ]
    off = np.abs(np.array(drawn) - a_reading(told).value)
    assert (off <= a_reading(told).uncertainty).mean() >= 0.9
    # It is also not far too wide: at most one and a half times two standard deviations of the draws.
    assert a_reading(told).uncertainty < 1.5 * 2 * np.std(drawn)


def test_what_it_is_made_of() -> None:
    found = errors_of(
        [
            level(-9.0),
            response(400.0, 0.0),
            response(10000.0, -9.0),
            Reading("level", "left", -12.0, 0.1, frequency_hz=1000.0),
            NoReading("response", "left", "the tone was not heard", frequency_hz=63.0),
            level(-1.0),
            response(10000.0, -2.0),
        ]
    )
    assert list(found) == ["left"]
    assert (found["left"].level_db, found["left"].treble) == (-1.0, ((10000.0, -2.0),))
    assert found["left"].uncertainty_db == pytest.approx(np.sqrt(2) * 0.05)


def test_no_reading_says_why() -> None:
    nothing = mistracking([response(10000.0, -1.0)]).readings[0]
    assert isinstance(nothing, NoReading)
    assert nothing.reason == "no level was read from record to replay"
    dead = mistracking([level(-70.0)]).readings[0]
    assert isinstance(dead, NoReading)
    assert "−70 dB is no machine's" in dead.reason
