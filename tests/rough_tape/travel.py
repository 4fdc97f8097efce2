"""The travel of a tape: its speed over time, as a fraction of nominal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.rough_tape.flutter_detectors import weighting
from tests.rough_tape.grades import Grade
from tests.rough_tape.spectra import LONGEST_S, Spectrum, falling, gaussian

Floats = NDArray[np.float64]

RATE = 1000.0
"""Points a second of a course of speed; scrape flutter is faster and is generated separately."""


@dataclass(frozen=True)
class Line:
    """Flutter of one rotating part, whose depth and rate vary slowly."""

    hz: float
    peak: float
    phase: float


@dataclass(frozen=True)
class Travel:
    """The long-run properties of a machine's speed."""

    mean: float
    """Mean speed error, as a fraction; positive for fast."""
    trend: float
    """Change of the speed error per second, as the reels fill."""
    lines: tuple[Line, ...]
    breathing: float
    continuum: Spectrum
    drift: Spectrum
    scrape: Spectrum

    def wander(self, rng: np.random.Generator, seconds: float) -> Floats:
        """A course of `speed - mean - trend`, at `RATE`."""
        count = int(seconds * RATE) + 2
        size = max(count + 500, int(LONGEST_S * RATE) + 1)
        t = np.arange(count) / RATE
        out = gaussian(rng, [self.continuum, self.drift], size, RATE)[:count]
        for line in self.lines:
            slow = Spectrum(falling(0.0), 0.02, 0.4, 1.0)
            depth = 1.0 + self.breathing * slow.noise(rng, count, RATE)
            rate = line.hz * (1.0 + 0.02 * self.breathing * slow.noise(rng, count, RATE))
            out += line.peak * depth * np.sin(line.phase + 2 * np.pi * np.cumsum(rate) / RATE + 0.0 * t)
        return np.asarray(out)

    def slow_spectra(self) -> list[Spectrum]:
        """The spectra that affect the mean of the speed, without the lines."""
        return [self.continuum, self.drift]


def drawn(rng: np.random.Generator, grade: Grade) -> Travel:
    """Draw a machine's travel: three to five lines and a continuum that make up the weighted flutter, and drift."""
    rates = [rng.uniform(0.4, 1.2), rng.uniform(1.5, 5.0), rng.uniform(6.0, 14.0), rng.uniform(18.0, 60.0)]
    rates = rates[: rng.integers(2, 5)]
    sizes = rng.uniform(0.3, 1.0, len(rates)) * np.sqrt(np.array(rates)) ** rng.uniform(-0.5, 0.5)
    exponent = rng.uniform(0.7, 1.3)
    share = rng.uniform(0.35, 0.6)
    rms = grade.flutter_percent / 100.0 / 1.96
    own = float(np.sqrt(np.sum((sizes * weighting(np.array(rates))) ** 2) / 2.0))
    sizes *= rms * np.sqrt(1.0 - share) / own
    grid = np.geomspace(0.3, 250.0, 3000)
    flat = falling(exponent)(grid)
    weighted = np.trapezoid(flat * weighting(grid) ** 2, grid) / np.trapezoid(flat, grid)
    return Travel(
        mean=rng.uniform(-0.01, 0.01) + rng.uniform(-1e-4, 1e-4),
        trend=rng.normal(0.0, 1e-5 * grade.drift_percent / 0.05),
        lines=tuple(
            Line(float(hz), float(peak), rng.uniform(0, 2 * np.pi)) for hz, peak in zip(rates, sizes, strict=True)
        ),
        breathing=0.25,
        continuum=Spectrum(falling(exponent), 0.3, 250.0, rms * float(np.sqrt(share / weighted))),
        drift=Spectrum(falling(rng.uniform(0.7, 1.3)), 0.01, 0.3, grade.drift_percent / 100.0),
        scrape=Spectrum(falling(0.0), 1500.0, 4500.0, grade.scrape_percent / 100.0),
    )
