"""How many times faster than the sound itself the practice machine and noise reduction are, in stereo at 48 kHz."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pytest

from bench.practice import kernels
from bench.tape import kernels as reduction_kernels
from bench.tape.noise_reduction import NoiseReduction, System
from tests.practice.deck import RATE, deck, tone

SECONDS = 5.0


def times_real_time(work: Callable[[], object]) -> float:
    """Seconds of sound for a second of processor time, the best of five runs."""
    best = 0.0
    for _ in range(5):
        before = time.process_time()
        work()
        best = max(best, SECONDS / (time.process_time() - before))
    return best


@pytest.mark.parametrize("state", ["stop", "play", "record"])
def test_practice_machine(state: str) -> None:
    kernels.warm()
    machine = deck(seed=1, misadjustment=1.0)
    machine.load("work")
    machine.switch("transport", state)
    sent = tone(1000.0, -20.0, SECONDS)
    ratio = times_real_time(lambda: machine.process(sent))
    print(f"practice machine, {state}: {ratio:.0f} x real time")
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
