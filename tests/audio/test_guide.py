"""The audible guide: its pitch, and that it never sounds where the machine is connected."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from bench.audio.devices import Device
from bench.audio.guide import FADE_S, GAP_S, READING_S, TARGET_HZ, TARGET_S, GuideSound, guide_device, pitch_hz
from bench.problem import Problem
from tests.live_audio import PrivateSound, missing

RATE = 48000.0
SCENARIOS = Path(__file__).with_name("guide_scenario.py")


def measured_hz(tone: NDArray[np.float32]) -> float:
    """Frequency from the rising zero crossings."""
    rises = np.flatnonzero((tone[:-1] < 0) & (tone[1:] >= 0))
    at = rises - tone[rises] / (tone[rises + 1] - tone[rises])
    return float((len(at) - 1) * RATE / (at[-1] - at[0]))


@pytest.mark.parametrize(
    ("off", "ratio"), [(0.0, 1.0), (8.0, 2.0), (-8.0, 0.5), (16.0, 2.0), (1.0, 2.0 ** (1.5 / 12.0)), (-4.0, 0.5**0.5)]
)
def test_the_pitch_closes_in_on_that_of_the_target(off: float, ratio: float) -> None:
    # Equal temperament: a semitone is the twelfth root of two (ISO 16 names the pitch, 440 Hz and so 880 Hz).
    sound = GuideSound(RATE)
    sound.off = off
    cycle = round((TARGET_S + GAP_S + READING_S + GAP_S) * RATE)
    heard = np.concatenate([sound.frames(700) for _ in range(cycle // 700 + 1)])
    margin = round(2 * FADE_S * RATE)
    first = heard[margin : round(TARGET_S * RATE) - margin]
    begins = round((TARGET_S + GAP_S) * RATE)
    second = heard[begins + margin : begins + round(READING_S * RATE) - margin]
    assert measured_hz(first) == pytest.approx(TARGET_HZ, rel=1e-4)
    assert measured_hz(second) / measured_hz(first) == pytest.approx(ratio, rel=1e-4)
    assert np.abs(heard).max() < 0.0317  # −30 dBFS
    # No click: nothing steeper than the tone itself.
    assert np.abs(np.diff(heard)).max() < 1.1 * 0.03 * 2 * np.pi * max(pitch_hz(off), TARGET_HZ) / RATE


def test_it_is_silent_at_once_where_nothing_is_turned() -> None:
    sound = GuideSound(RATE)
    assert not sound.frames(5000).any()
    sound.off = 1.0
    assert sound.frames(5000).any()
    sound.off = None
    assert not sound.frames(5000).any()


def device(name: str, *, default: bool = False, outputs: int = 2) -> Device:
    return Device(0, name, "any", 2, outputs, 48000, default_input=default, default_output=default)


BENCH = device("Bench interface: line (hw:1,0)", default=True)
LAPTOP = device("Laptop: loudspeakers (hw:0,0)")


@pytest.mark.parametrize(
    ("listed", "used", "on"),
    [
        ((BENCH, LAPTOP), (BENCH, BENCH), LAPTOP),
        ((BENCH, device("Bench interface: phones (hw:1,1)"), LAPTOP), (BENCH,), LAPTOP),
        ((LAPTOP, BENCH), (), BENCH),  # the practice machine uses no device, so this is the system's default
        (
            (device("Line out (Bench interface)"), device("Speakers (Laptop sound)")),
            (device("Line in (Bench interface)"),),
            device("Speakers (Laptop sound)"),
        ),
    ],
)
def test_it_sounds_on_an_output_of_its_own(listed: tuple[Device, ...], used: tuple[Device, ...], on: Device) -> None:
    assert guide_device(listed, used) == on


@pytest.mark.parametrize(
    ("listed", "used", "because"),
    [
        ((BENCH,), (BENCH, BENCH), "the only output of this computer leads to the machine"),
        ((BENCH, device("default"), device("pulse")), (BENCH,), "the only output"),
        ((BENCH, device("Laptop", outputs=0)), (BENCH,), "the only output"),
        # It is unknown where a sound server sends the sound.
        ((device("pulse", default=True), LAPTOP), (device("pulse"),), "may be any output"),
        ((device("Speakers (Bench interface wi"),), (device("Line in (Bench interface with a name)"),), "the only"),
        ((), (), "there is no sound device"),
    ],
)
def test_where_the_machine_may_hear_it_it_stays_silent(
    listed: tuple[Device, ...], used: tuple[Device, ...], because: str
) -> None:
    with pytest.raises(Problem, match=because):
        guide_device(listed, used)


@pytest.fixture(name="sound")
def _sound() -> Iterator[PrivateSound]:
    if why := missing():
        pytest.skip(why)
    with PrivateSound("loop") as sound:
        yield sound


@pytest.mark.live
def test_it_is_heard_on_a_real_output_and_refused_where_that_feeds_the_machine(sound: PrivateSound) -> None:
    done = sound.python("-m", "tests.audio.guide_scenario")
    assert done.returncode == 0, done.stderr
    heard = json.loads(done.stdout)
    assert heard["hz"] == pytest.approx(TARGET_HZ, abs=5.0)
    assert -36.0 < heard["peak_dbfs"] < -29.0
    assert heard["silent_dbfs"] < -120.0
    assert "stays silent" in heard["beside_the_machine"]
