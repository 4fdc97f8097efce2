"""Azimuth over insertions of a cassette."""

from __future__ import annotations

import numpy as np
import pytest

from bench.procedure.kinds.adjust.seatings import MOST, Seatings

USUAL_US = 6.6
"""1.2 minutes of arc on a cassette."""


def read(rng: np.random.Generator, arcmin: float, tolerance: float) -> Seatings:
    seatings = Seatings(tolerance, USUAL_US)
    while seatings.more:
        seatings.add(5.5 * arcmin * rng.standard_normal())
    return seatings


@pytest.mark.parametrize(("arcmin", "tolerance"), [(0.5, 6.0), (1.5, 12.0)])
def test_the_mean_is_known_within_the_tolerance(arcmin: float, tolerance: float) -> None:
    # Seating of a good and of an average deck: common practice, no source.
    rng = np.random.default_rng(4)
    drawn = [read(rng, arcmin, tolerance) for _ in range(300)]
    means = [s.offset + s._delays[-1] for s in drawn]
    covered = np.mean([abs(m) <= s.uncertainty for m, s in zip(means, drawn, strict=True)])
    assert covered > 0.9
    assert np.mean(np.abs(means) < tolerance) > 0.97
    assert np.mean([s.count for s in drawn]) < 5
    assert max(s.count for s in drawn) <= MOST


def test_what_is_done_with_the_cassette_is_said_with_its_reason() -> None:
    seatings = Seatings(6.0, USUAL_US)
    seatings.add(1.0)
    assert seatings.stage == "out"
    assert seatings.prompt == (
        "Take the cassette out, put it in again and play the same section, then go on: insertion 2. It sits a little "
        "differently each time, by more than ± 6.0 µs allows"
    )
