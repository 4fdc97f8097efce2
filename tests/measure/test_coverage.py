"""The stated uncertainty (k = 2) covers the truth in 93 to 98 % of random captures, for each quantity of tones.

Captures: any tone from 60 Hz to 16 kHz, 0.7 to 10 s long, -6 to -40 dBFS, at 44.1 to 96 kHz and 16 bits, speed
within 3 %, flutter of two rates up to 0.3 % together, hum up to 30 dB below the tone, hiss 40 to 60 dB below,
harmonics, direct current, soft edges, channels up to 3 dB apart. Tones within 3 Hz of a mains line are left out: no
method tells them from hum within a second.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from bench.measure.meters import Options
from bench.measure.quantities.azimuth import AzimuthMeter
from bench.measure.quantities.level import LevelMeter
from bench.measure.quantities.response import ResponseMeter
from bench.measure.quantities.speed import SpeedMeter
from bench.measure.reading import Measured, Reading
from tests.measure.captures import reading
from tests.measure.spoiled import Tone, after, hiss, hum, silence, stereo


@dataclass(frozen=True)
class Capture:
    """A random capture and what is true of it."""

    samples: NDArray[np.float64]
    rate: float
    tones: tuple[Tone, ...]


def spoiled(rng: np.random.Generator, tones: tuple[Tone, ...], rate: float) -> Capture:
    parts = [silence(rng.uniform(0.3, 1.0), rate)]
    for tone in tones:
        x = stereo(tone, rate, rng)
        ramp = int(rate * rng.choice([0.0, 0.005, 0.02]))
        if ramp:
            edge = np.sin(np.linspace(0, np.pi / 2, ramp)) ** 2
            x[:ramp] *= edge[:, None]
            x[-ramp:] *= edge[::-1, None]
        parts += [x, silence(rng.uniform(0.3, 1.0), rate)]
    x = after(parts)
    quietest = min(t.dbfs for t in tones)
    x = x + hum(
        len(x), quietest - rng.uniform(30.0, 60.0), rate, rng, rng.choice([50.0, 60.0]) * rng.uniform(0.999, 1.001)
    )
    x = x + hiss(len(x), quietest - rng.uniform(40.0, 60.0), rate, rng) + rng.uniform(-0.01, 0.01, 2)
    return Capture(np.round(x * 32768.0) / 32768.0, rate, tones)


def random_tone(
    rng: np.random.Generator, hz: float, *, seconds: float, speed: float, delay_s: float, dbfs: float
) -> Tone:
    return Tone(
        hz,
        dbfs,
        seconds,
        speed=speed,
        flutter=tuple((rng.uniform(0.5, 12.0), rng.uniform(0.0, 0.0015)) for _ in range(2)),
        delay_s=delay_s,
        right_db=rng.uniform(-3.0, 3.0),
        harmonics=(rng.uniform(0, 0.02), rng.uniform(0, 0.03)) if hz < 7000.0 else (),
    )


def captures(count: int, seed: int, *, most_s: float = 10.0) -> Iterator[Capture]:
    rng = np.random.default_rng(seed)
    done = 0
    while done < count:
        rate = float(rng.choice([44100, 48000, 88200, 96000]))
        hz = float(np.exp(rng.uniform(np.log(60.0), np.log(16000.0))))
        speed = rng.uniform(-0.03, 0.03)
        at = hz * (1.0 + speed)
        if any(abs(at - n * mains) < 3.0 for mains in (50.0, 60.0) for n in range(1, 7)):
            continue
        done += 1
        seconds = float(np.exp(rng.uniform(np.log(0.7), np.log(most_s))))
        delay = rng.uniform(-0.4, 0.4) / max(hz, 4000.0)
        tone = random_tone(rng, hz, seconds=seconds, speed=speed, delay_s=delay, dbfs=rng.uniform(-40.0, -6.0))
        yield spoiled(rng, (tone,), rate)


def covers(r: Reading, truth: float) -> bool:
    return abs(r.value - truth) <= r.uncertainty


def measure(meter: LevelMeter | AzimuthMeter | SpeedMeter | ResponseMeter, x: NDArray[np.float64]) -> Measured:
    meter.feed(x)
    return meter.finish()


def single(count: int, seed: int) -> dict[str, float]:
    """Share of captures of one tone in which level, delay and speed are covered."""
    inside: dict[str, list[bool]] = {"level": [], "azimuth_delay": [], "speed_error": []}
    for capture in captures(count, seed):
        (tone,), x, rate = capture.tones, capture.samples, capture.rate
        level = measure(LevelMeter(rate, 2, Options(frequency=tone.hz)), x)
        inside["level"].append(covers(reading(level, "level", channel="left"), tone.dbfs))
        azimuth = measure(AzimuthMeter(rate, 2), x)
        inside["azimuth_delay"].append(covers(reading(azimuth, "azimuth_delay"), 1e6 * tone.delay_s))
        speed = measure(SpeedMeter(rate, 2, Options(nominal=tone.hz)), x)
        inside["speed_error"].append(covers(reading(speed, "speed_error", channel="left"), 100.0 * tone.speed))
    return {quantity: float(np.mean(hits)) for quantity, hits in inside.items()}


def pairs(count: int, seed: int) -> float:
    """Share of captures of two tones in which the response is covered."""
    rng = np.random.default_rng(seed)
    inside = []
    for _ in range(count):
        rate = float(rng.choice([44100, 48000, 96000]))
        hz = float(rng.choice([80.0, 125.0, 315.0, 3150.0, 6300.0, 10000.0, 12500.0]))
        speed, level = rng.uniform(-0.02, 0.02), rng.uniform(-30.0, -10.0)
        seconds = rng.uniform(0.7, 4.0, 2)
        tones = (
            random_tone(rng, hz, seconds=seconds[0], speed=speed, delay_s=0.0, dbfs=level + rng.uniform(-6, 3)),
            random_tone(rng, 1000.0, seconds=seconds[1], speed=speed, delay_s=0.0, dbfs=level),
        )
        capture = spoiled(rng, tones, rate)
        options = Options(frequencies=(hz, 1000.0), reference_frequency=1000.0)
        told = measure(ResponseMeter(rate, 2, options), capture.samples)
        inside.append(covers(reading(told, "response", channel="left", frequency_hz=hz), tones[0].dbfs - tones[1].dbfs))
    return float(np.mean(inside))


def test_a_few() -> None:
    # Of 12 captures three may miss: with 95 % covered that happens once in 500 times.
    for quantity, share in single(12, 7).items():
        assert share >= 9 / 12, quantity
    assert pairs(6, 7) >= 4 / 6


@pytest.mark.long
def test_five_hundred_of_one_tone() -> None:
    shares = single(500, 1)
    print(shares)
    assert all(0.93 <= share <= 0.98 for share in shares.values()), shares


@pytest.mark.long
def test_five_hundred_of_two_tones() -> None:
    share = pairs(500, 2)
    print(share)
    assert 0.93 <= share <= 0.98
