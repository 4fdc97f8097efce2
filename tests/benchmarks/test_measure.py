"""What measuring costs, as ratios in one run, how much memory it takes, and how close it comes to the bounds.

The accuracy figures are Monte-Carlo runs with fixed seeds, so that all figures stand in one print; the suite's heavy
checks run more cases of them (`python -m pytest -m long tests/measure`).
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from bench.measure.catalogue import WEIGHTED_RMS
from bench.measure.meters import Options
from bench.measure.quantities.everything import EverythingMeter
from bench.measure.quantities.live_tone import ToneWatch
from bench.measure.signal import kernels
from bench.measure.tone.finding.finder import ToneFinder
from tests.measure.captures import hiss, mono, tone, value
from tests.measure.spoiled import Tone
from tests.measure.tone.test_estimate import SPOILED, trials
from tests.measure.whole_array import flutter

EVERYTHING = """
import bench
import sys, time
import numpy as np
from bench.measure.quantities.everything import EverythingMeter
from bench.measure.signal import kernels

rate, block = 96000.0, 65536
kind, minutes = sys.argv[1], float(sys.argv[2])
rng = np.random.default_rng(0)
tones = np.array([1000.0, 315.0, 3150.0, 6300.0, 10000.0, 40.0, 12500.0, 100.0])

def sound(at):
    x = 7e-4 * rng.standard_normal((block, 2), dtype=np.float32).astype(float)
    t = np.arange(at, at + block) / rate
    turns = t + 4e-5 * np.sin(2 * np.pi * 4.0 * t) + 4e-6 * np.sin(2 * np.pi * 20.0 * t)
    if kind == "carrier":
        x += 0.3 * np.sin(2 * np.pi * 3150.0 * turns)[:, None]
    if kind == "sequence":
        hz = tones[(t // 10).astype(int) % 8]
        x += (0.1 * np.sin(2 * np.pi * hz * turns) * (t % 10 < 8))[:, None]
    return np.rint(x * 2.0**23) / 2.0**23

kernels.warm()
warm = EverythingMeter(rate, 2)
for n in range(5):
    warm.feed(sound(n * block))
warm.finish()
meter, measured, filtered = EverythingMeter(rate, 2), 0.0, 0.0
if len(sys.argv) > 3:
    from scipy.signal import butter, sosfilt
    sections, state = butter(8, 0.3, output="sos"), np.zeros((4, 2, 2))
for at in range(0, round(minutes * 60 * rate), block):
    x = sound(at)
    before = time.process_time()
    meter.feed(x)
    measured += time.process_time() - before
    if len(sys.argv) > 3:
        before = time.process_time()
        _, state = sosfilt(sections, x, axis=0, zi=state)
        filtered += time.process_time() - before
before = time.process_time()
meter.finish()
measured += time.process_time() - before
status = open("/proc/self/status").read()  # getrusage would include the memory of the process that started this one
print(measured / max(filtered, 1e-9), int(status.split("VmHWM:")[1].split()[0]) / 1024)
"""
"""Prints the cost as a multiple of a pass of sosfilt, if asked, and the peak memory in MB. A process of its own: ours
sets numpy's own threads to one, which a process that has loaded numpy before can't."""


def everything(kind: str, minutes: float, *, against_a_filter: bool) -> tuple[float, float]:
    """Ratio and megabytes of a run over so many minutes of stereo sound at 96 kHz and 24 bits."""
    more = ["ratio"] if against_a_filter else []
    done = subprocess.run(
        [sys.executable, "-c", EVERYTHING, kind, str(minutes), *more], capture_output=True, text=True, check=True
    )
    ratio, megabytes = map(float, done.stdout.split())
    return ratio, megabytes


@pytest.mark.parametrize(("kind", "minutes"), [("noise", 5), ("carrier", 5), ("sequence", 45)])
def test_everything_against_one_pass_of_a_filter(kind: str, minutes: float) -> None:
    ratio, _ = everything(kind, minutes, against_a_filter=True)
    print(f"everything, {minutes:g} min of {kind}, stereo 96 kHz 24 bits: {ratio:.1f} x a pass of sosfilt (reach 12)")
    assert ratio < 12.0


def test_memory_does_not_grow_with_length() -> None:
    short, long = (everything("sequence", minutes, against_a_filter=False)[1] for minutes in (5, 45))
    print(f"everything, peak memory: {short:.0f} MB for 5 min, {long:.0f} MB for 45 min, stereo 96 kHz (reach 300)")
    assert long < 300.0
    assert long < 1.1 * short


def carrier(seconds: float, rate: float) -> NDArray[np.float64]:
    """A fluttering carrier in two channels."""
    x = tone(3150.0, -10.0, seconds, rate, flutter=((4.0, 1e-3),))
    return np.asarray(np.stack([x, x], axis=1) + hiss(-60.0, seconds, rate, channels=2))


def test_all_meters_live() -> None:
    kernels.warm()
    x = carrier(30.0, 48000.0)
    meter = EverythingMeter(48000.0, 2, Options(reference_level=-10.0))
    finder = ToneFinder(48000.0, 2)
    watches = [ToneWatch(48000.0, 2, hz) for hz in (400.0, 3150.0, 10000.0)]
    before = time.process_time()
    for at in range(0, len(x), 1024):
        block = x[at : at + 1024]
        meter.feed(block)
        finder.feed(block)
        assert finder.current is None or finder.current.frequency_hz > 0.0
        for watch in watches:
            watch.feed(block)
            watch.now()
    share = (time.process_time() - before) / 30.0
    print(f"all live meters, read with each block of 1024, stereo 48 kHz: {100 * share:.1f} % of one core (reach 10)")
    assert share < 0.10


NEEDED = (
    "import bench, argparse, json, numpy, soundfile, bench.cli, bench.commands.measure, bench.measure.quantities.level"
)
"""What one level needs: the file (soundfile), samples (numpy), the command line and the modules that measure tones.
Neither scipy nor numba: `scipy.signal` alone takes eight times as long to load as numpy, and numba five."""


def test_one_level_as_a_whole_process(tmp_path: Path) -> None:
    t = np.arange(480000) / 48000.0
    x = np.stack([0.1 * np.sin(2 * np.pi * 1000.0 * t)] * 2, axis=1) + hiss(-70.0, 10.0, channels=2)
    soundfile.write(tmp_path / "ten.wav", x, 48000, subtype="PCM_24")
    # Compiled modules of its own, as an installed copy has them.
    where = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    where["PYTHONPYCACHEPREFIX"] = str(tmp_path / "compiled")

    def cost(*command: str) -> float:
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, *command], env=where, capture_output=True, check=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime

    ours, bare = ("-m", "bench", "measure", "level", str(tmp_path / "ten.wav")), ("-c", NEEDED)
    costs = [(cost(*ours), cost(*bare)) for _ in range(12)][2:]
    ratio = min(c for c, _ in costs) / min(b for _, b in costs)
    print(f"measure level on 10 s, whole process: {ratio:.2f} x a Python that only imports what it needs (reach 1.3)")
    assert ratio < 1.3


TRIALS = 250
"""This number gives a standard deviation to within 5 %, and a bias to within 0.06."""


@pytest.mark.parametrize("spoiled", [False, True])
def test_steady_tones_over_their_bounds(spoiled: bool) -> None:
    for hz, seconds in ((1000.0, 1.0), (10000.0, 1.0), (3150.0, 4.0)):
        one = Tone(hz, -10.0, seconds, delay_s=7e-6, **(SPOILED if spoiled else {}))  # type: ignore[arg-type]
        e = trials(one, 50.0, TRIALS, with_hum=spoiled)
        told = ", ".join(
            f"{what} {np.std(x):.2f} (bias {np.mean(x):+.2f})"
            for what, x in (("level", e.level), ("frequency", e.frequency), ("delay", e.delay))
        )
        how = "spoiled" if spoiled else "plain"
        print(f"over the bound, {hz:g} Hz, 50 dB, {how}, {TRIALS} trials: {told} (reach 1.1, bias 0.2)")
        for x in (e.level, e.frequency, e.delay):
            assert np.std(x) < 1.1
            assert abs(np.mean(x)) < 0.2


def test_flutter_takes_nothing_off_the_level() -> None:
    one = Tone(10000.0, -10.0, 2.0, flutter=((4.0, 0.001),))
    off = trials(one, 50.0, 20, with_hum=False).level * 8.686 / np.sqrt(2.0 * 20000.0 * 2.0 * 1e5)
    print(f"level of 10 kHz under 0.1 % at 4 Hz, 50 dB: within {np.max(np.abs(off)):.5f} dB of 20 trials (reach 0.001)")
    assert np.max(np.abs(off)) < 0.001


def test_flutter_floor_over_its_formula() -> None:
    # 40 dB in 20 kHz: 4.06e-4 % weighted rms, the bound of white noise up to 200 Hz.
    told = [
        value(
            flutter(mono(tone(3150.0, -10.0, 20.0)) + hiss(-50.0, 20.0, seed=k), 48000.0),
            "wow_and_flutter",
            method=WEIGHTED_RMS,
        )
        for k in range(20)
    ]
    ratio = float(np.sqrt(np.mean(np.square(told)))) / 4.06e-4
    print(f"weighted flutter floor over its formula: {ratio:.3f} (reach 1.02)")
    assert ratio < 1.02
