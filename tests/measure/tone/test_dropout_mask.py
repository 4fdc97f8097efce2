"""Dropouts in a wandering level are bridged, and nothing else is."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.tone.dropout_mask import bridged, flaws
from tests.rough_tape.grades import GRADES
from tests.rough_tape.holes import drawn
from tests.rough_tape.machine import SLOW_RATE, drawn_machine

RATE, HZ = 2000.0, 10000.0


def off_db(seed: int, a_minute: float) -> float:
    """Error of the mean level of a tone on a poor cassette, relative to the tape without dropouts."""
    rng = np.random.default_rng((5, seed))
    machine, seconds = drawn_machine(rng, GRADES[3]), float(rng.uniform(4.0, 12.0))
    t = np.arange(round(seconds * RATE)) / RATE
    count = int(seconds * SLOW_RATE) + 2
    course = sum((s.noise(rng, count, SLOW_RATE) for s in machine.wanders.level_at(HZ)), np.zeros(count))
    level = 10.0 ** (np.interp(t, np.arange(count) / SLOW_RATE, course) / 20.0)
    lost = sum((h.loss_db(t, 0, HZ) for h in drawn(rng, seconds, a_minute)), np.zeros(len(t)))
    noise = 0.015 * (rng.standard_normal(len(t)) + 1j * rng.standard_normal(len(t)))
    along = np.asarray(level * 10.0 ** (-lost / 20.0) + noise, dtype=np.complex128)
    return 20.0 * float(np.log10(bridged(along.real, ~flaws(along, RATE)).mean() / level.mean()))


@pytest.mark.parametrize("a_minute", [0.0, 30.0])
def test_thirty_dropouts_a_minute_hardly_move_a_level(a_minute: float) -> None:
    # Readings must be within 0.02 dB at thirty a minute; without bridging, they would be 0.05 dB low.
    assert abs(np.median([off_db(seed, a_minute) for seed in range(15)])) < 0.02


def test_a_bridge_runs_from_side_to_side() -> None:
    x = np.linspace(0.0, 1.0, 1001)
    kept = np.ones(len(x), dtype=bool)
    kept[400:600] = False
    holed = np.where(kept, x, -5.0)
    assert bridged(holed, kept) == pytest.approx(x, abs=0.01)
