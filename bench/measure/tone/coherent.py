"""Coherent averaging of a quantity that is phase-locked to a tone, with its uncertainty.

The average is over Hann windows of a quarter of a second with 50 % overlap. Together they weight all of the time
equally, and a spectral line near the tone rotates from block to block and averages out. The noise is estimated from
the scatter of the blocks, without a model: the mean of K blocks of variance s² has the standard uncertainty s/√K, and
|mean|² is biased by s²/K, which is subtracted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from bench.arrays import Complexes, Floats
from bench.measure.reading import Source

BLOCK = 512
"""Baseband points per block: about 0.26 s."""
HOP = BLOCK // 2

ROTATION_LOSS = 0.1
"""A phase that rotates by x from block to block lowers each block by about this times x² (Hann window, rounded up)."""

HANN_OVERLAP = 1.056
"""Number of Hann segments with 50 % overlap that are equivalent to one independent segment (Welch, 1967)."""

STUDENT_95 = (12.7, 4.30, 3.18, 2.78, 2.57, 2.45, 2.36, 2.31, 2.26, 2.23, 2.20, 2.18, 2.16, 2.14, 2.13)
"""Student's t for 95 % and 1, 2, 3 … degrees of freedom (any statistical table)."""


def coverage(freedom: int) -> float:
    """Coverage factor for 95 %, for a standard deviation with `freedom` degrees of freedom."""
    return STUDENT_95[freedom - 1] if freedom <= len(STUDENT_95) else 1.96 + 2.5 / freedom


@lru_cache(maxsize=4)
def window(length: int = BLOCK) -> Floats:
    """A Hann window with a sum of 1. With 50 % overlap such windows add up to a constant."""
    w = np.sin(np.pi * (np.arange(length) + 0.5) / length) ** 2
    return np.asarray(w / w.sum())


@dataclass(frozen=True, slots=True)
class Estimate:
    """The magnitude of a complex ratio, and its uncertainty."""

    power: float
    """|ratio|² with the bias of noise subtracted; may be negative if there is only noise."""
    noise_power: float
    """The contribution of noise to |mean|²."""
    blocks: float
    """Equivalent number of independent blocks."""
    relative: float = 0.0
    """Any other error of the magnitude, as a fraction of it."""
    absolute: float = 0.0
    """Any other absolute error of the magnitude."""

    @property
    def size(self) -> float:
        """|ratio|."""
        return float(np.sqrt(max(self.power, 0.0)))

    @property
    def uncertainty(self) -> float:
        """Expanded (k = 2) of `size`."""
        return math.hypot(*self.by_source.values())

    @property
    def by_source(self) -> dict[Source, float]:
        """Components of the uncertainty: noise and anything that beats with the tone, and errors of the magnitude."""
        one = coverage(max(1, round(2.0 * (self.blocks - 1.0)))) * np.sqrt(self.noise_power / 2.0)
        return {"noise": float(np.hypot(one, self.absolute)), "method": self.relative * self.size}

    def within(self, relative: float, absolute: float = 0.0) -> Estimate:
        """The same estimate with a further error of the magnitude: a fraction of it, and an absolute part."""
        return replace(self, relative=self.relative + relative, absolute=absolute)

    @property
    def found(self) -> bool:
        """Whether the ratio stands out from the noise; noise alone does so once in three thousand."""
        return self.power > max(7.0 * self.noise_power, 4.0 * self.absolute**2) and self.blocks > 1.0

    @property
    def ceiling(self) -> float:
        """Upper limit of |ratio| (95 %)."""
        return float(np.sqrt(max(self.power, 0.0) + 4.0 * self.noise_power)) + self.absolute


def estimate(ratios: Complexes, noise: float | None = None) -> Estimate:
    """The estimate from the complex ratios of successive blocks with 50 % overlap.

    Args:
        ratios: one per block.
        noise: the noise power in one block, if it is known independently of their scatter. It is limited to the
            difference between a block and the mean of its neighbours. If the scatter is larger, the phase wanders
            (weave between two tracks), and the powers are averaged instead, which are independent of phase.
    """
    count = len(ratios)
    if count < 2:
        return Estimate(float(np.mean(np.abs(ratios) ** 2)) if count else 0.0, np.inf, float(count))
    independent = count / (1.0 + 2.0 * OVERLAP_CORRELATION)
    mean = ratios.mean()
    scatter = float(np.sum(np.abs(ratios - mean) ** 2)) / (count - 1)
    if noise is not None and count >= 5:
        bent = ratios[2:-2] - 0.5 * (ratios[:-4] + ratios[4:])
        noise = min(noise, float(np.mean(np.abs(bent) ** 2)) / 1.5)
    if noise is not None and count >= 5 and scatter > noise * (1.0 + 6.0 / np.sqrt(independent)):
        powers = np.abs(ratios) ** 2
        power = float(powers.mean()) - noise
        spread = float(powers.var(ddof=1)) / independent
        turned = max(0.0, float(np.mean(np.abs(np.diff(ratios)) ** 2)) - 2.0 * noise) / max(power, noise)
        averaged = Estimate(power, spread / (2.0 * power) if power > 0.0 else noise, independent)
        return averaged.within(ROTATION_LOSS * turned)
    return Estimate(float(abs(mean) ** 2) - scatter / independent, scatter / independent, independent)


def beside(length: int = BLOCK) -> Complexes:
    """Windowed oscillators 5 to 8 bins on either side of zero, which respond only to noise. Shape (8, length)."""
    bins = np.array([-8, -7, -6, -5, 5, 6, 7, 8])
    return np.asarray(window(length) * np.exp(-2j * np.pi * np.outer(bins, np.arange(length)) / length))


def _overlap_correlation() -> float:
    w = window()
    return float(np.sum(w[HOP:] * w[:HOP]) / np.sum(w * w))


OVERLAP_CORRELATION = _overlap_correlation()
"""Correlation of the noise in successive blocks: one sixth."""
