"""Wow and flutter at the rates of the parts, and weave of the tape."""

from __future__ import annotations

import numpy as np
import pytest

from bench.practice.facts import Table
from tests.practice.deck import QUIET, RATE, deck, phasor, play


def deviation_percent(practice: Table) -> tuple[np.ndarray, float]:
    """Frequency of a tone over time, % from its mean, and the rate of its points."""
    signal = play(deck({**QUIET, **practice}), "response-3150", 1.9)[:, 0]
    step = 96
    turns = signal * np.exp(-2j * np.pi * 3150 / RATE * np.arange(signal.size))
    smooth = np.convolve(turns, np.hanning(482)[1:-1], "valid")[::step]
    hz = np.diff(np.unwrap(np.angle(smooth))) / (2 * np.pi) * RATE / step
    return (hz - hz.mean()) / 3150 * 100, RATE / step


@pytest.mark.parametrize(
    ("practice", "rate"),
    [
        # v/(π d) at 47.625 mm/s, by hand.
        ({"flutter_capstan_percent": 0.2, "capstan_mm": 2.2}, 6.891),
        ({"flutter_pinch_roller_percent": 0.2, "pinch_roller_mm": 6.5}, 2.332),
        ({"flutter_reel_percent": 0.2, "reel_mm": 12.0}, 1.263),
    ],
)
def test_each_part_flutters_at_its_own_rate(practice: dict[str, float], rate: float) -> None:
    course, points = deviation_percent(dict(practice))
    t = np.arange(course.size) / points
    basis = np.stack((np.sin(2 * np.pi * rate * t), np.cos(2 * np.pi * rate * t), np.ones(t.size)), axis=1)
    fit, *_ = np.linalg.lstsq(basis, course, rcond=None)
    assert np.hypot(fit[0], fit[1]) == pytest.approx(0.2, abs=0.01)
    assert np.std(course - basis @ fit) < 0.02


def test_weave_wanders_between_the_channels() -> None:
    heard = play(deck({**QUIET, "azimuth_weave_arcmin": 2.0}), "response-3150", 1.9)
    delays = []
    for start in range(0, heard.shape[0] - 4800, 4800):
        part = heard[start : start + 4800]
        turn = np.angle(phasor(part[:, 0], 3150.0) / phasor(part[:, 1], 3150.0))
        delays.append(turn / (2 * np.pi * 3150) * 1e6)
    # 2 minutes of arc rms, at a tape's start up to 4; a minute is 5.497 µs. It moves, within four times that.
    assert max(np.abs(delays)) < 4 * 4 * 5.497
    assert np.ptp(delays) > 1.0
