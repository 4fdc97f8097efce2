"""Speed of practice machine and noise reduction as a multiple of real time, in stereo at 48 kHz."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pytest

from bench.practice import kernels
from bench.practice.facts import Table
from bench.tape import kernels as reduction_kernels
from bench.tape.noise_reduction import NoiseReduction, System
from tests.practice.deck import RATE, deck, tone

SECONDS = 5.0


def times_real_time(work: Callable[[], object]) -> float:
    """Seconds of sound per second of processor time, best of five runs."""
    best = 0.0
    for _ in range(5):
        before = time.process_time()
        work()
        best = max(best, SECONDS / (time.process_time() - before))
    return best


SPOILED = {"grade": "poor", "contour_db": 1.0, "dropouts_per_minute": 60.0, "magnetised": 1.0}
"""All kinds of roughness, and echoes, which read the tape again: the most expensive case."""


@pytest.mark.parametrize(
    ("state", "reduction", "practice"),
    [
        ("stop", "off", {}),
        ("play", "off", {}),
        ("record", "off", {}),
        ("record", "on", {}),
        ("play", "off", SPOILED),
        ("record", "off", SPOILED),
    ],
)
def test_practice_machine(state: str, reduction: str, practice: Table) -> None:
    kernels.warm()
    reduction_kernels.warm()
    machine = deck(practice, seed=1, misadjustment=1.0, noise_reduction="type-b")
    machine.load("work")
    machine.switch("transport", state)
    machine.switch("noise-reduction", reduction)
    sent = tone(1000.0, -20.0, SECONDS)
    ratio = times_real_time(lambda: machine.process(sent))
    spoiled = ", with faults" if practice else ""
    print(f"practice machine, {state}, noise reduction {reduction}{spoiled}: {ratio:.0f} x real time")
    assert ratio >= 20


@pytest.mark.parametrize("system", ["type-b", "type-a"])
@pytest.mark.parametrize("decode", [False, True])
def test_noise_reduction(system: System, decode: bool) -> None:
    reduction_kernels.warm()
    loop = NoiseReduction(system, RATE, 2, decode=decode)
    noise = 0.1 * np.random.default_rng(2).standard_normal((round(SECONDS * RATE), 2))
    ratio = times_real_time(lambda: loop.run(noise))
    print(f"{system} {'decode' if decode else 'encode'}: {ratio:.0f} x real time")
    assert ratio >= 40
