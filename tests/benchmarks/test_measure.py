"""What measuring costs, as ratios in one run, and how much memory it takes."""

from __future__ import annotations

import subprocess
import sys
import time

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from bench.measure import kernels
from bench.measure.everything import EverythingMeter
from bench.measure.flutter import WEIGHTED, flutter
from bench.measure.meters import Options
from tests.measure.captures import hiss, mono, tone, value

RATE = 96000.0
BLOCK = 65536
SECONDS = 300.0


def sound(kind: str, start: int, frames: int, rate: float) -> NDArray[np.float64]:
    """A stretch of an endless capture."""
    x = 7e-4 * np.random.default_rng(start).standard_normal((frames, 2))
    t = np.arange(start, start + frames) / rate
    if kind == "carrier":
        x += 0.3 * np.sin(2 * np.pi * 3150.0 * t + 0.8 * np.sin(2 * np.pi * 4.0 * t))[:, None]
    if kind == "sequence":
        hz = np.array([1000.0, 315.0, 3150.0, 6300.0, 10000.0, 40.0, 12500.0, 100.0])[(t // 10).astype(int) % 8]
        x += (0.1 * np.sin(2 * np.pi * hz * t) * (t % 10 < 8))[:, None]
    return x


@pytest.mark.parametrize("kind", ["noise", "carrier", "sequence"])
def test_everything_against_one_pass_of_a_filter(kind: str) -> None:
    kernels.warm()
    sections = butter(8, 0.3, output="sos")
    state = np.zeros((4, 2, 2))
    warm = EverythingMeter(RATE, 2, Options())
    warm.feed(sound(kind, 0, 5 * BLOCK, RATE))
    warm.finish()
    meter = EverythingMeter(RATE, 2, Options())
    filtered = measured = 0.0
    for at in range(0, round(SECONDS * RATE), BLOCK):
        x = sound(kind, at, BLOCK, RATE)
        before = time.process_time()
        _, state = sosfilt(sections, x, axis=0, zi=state)
        between = time.process_time()
        meter.feed(x)
        filtered += between - before
        measured += time.process_time() - between
    before = time.process_time()
    meter.finish()
    measured += time.process_time() - before
    print(f"everything, {kind}, stereo {RATE:g} Hz: {measured / filtered:.1f} x a pass of sosfilt with four sections")
    assert measured < 12.0 * filtered


def test_all_meters_live() -> None:
    kernels.warm()
    x = sound("carrier", 0, 30 * 48000, 48000.0)
    meter = EverythingMeter(48000.0, 2, Options(reference_level=-10.0))
    before = time.process_time()
    for at in range(0, len(x), 1024):
        meter.feed(x[at : at + 1024])
    share = (time.process_time() - before) / 30.0
    print(f"all meters, stereo 48 kHz, blocks of 1024: {100 * share:.1f} % of one core")
    assert share < 0.10


MEMORY = """
import resource, sys
import numpy as np
from bench.measure.everything import EverythingMeter
rate, minutes = 96000.0, float(sys.argv[1])
rng = np.random.default_rng(0)
meter, at = EverythingMeter(rate, 2), 0
while at < minutes * 60 * rate:
    t = np.arange(at, at + 65536) / rate
    x = 0.1 * np.sin(2 * np.pi * 3150.0 * t + np.sin(2 * np.pi * 4.0 * t)) + 1e-3 * rng.standard_normal(65536)
    meter.feed(np.stack([x, x], axis=1))
    at += 65536
meter.finish()
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def test_memory_does_not_grow_with_length() -> None:
    short, long = (
        float(subprocess.run([sys.executable, "-c", MEMORY, m], capture_output=True, text=True, check=True).stdout)
        for m in ("5", "45")
    )
    print(f"everything, peak memory: {short:.0f} MB for 5 min, {long:.0f} MB for 45 min, stereo 96 kHz")
    assert long < 300.0
    assert long < 1.1 * short


def test_flutter_floor_over_its_formula() -> None:
    # 40 dB in 20 kHz: 4.06e-4 % weighted rms, the bound of white noise up to 200 Hz.
    told = [
        value(
            flutter(mono(tone(3150.0, -10.0, 20.0)) + hiss(-50.0, 20.0, seed=k), 48000.0),
            "wow_and_flutter",
            method=WEIGHTED,
        )
        for k in range(20)
    ]
    ratio = float(np.sqrt(np.mean(np.square(told)))) / 4.06e-4
    print(f"weighted flutter floor over its formula: {ratio:.3f}")
    assert ratio < 1.02
