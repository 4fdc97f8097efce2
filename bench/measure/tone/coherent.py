"""A quantity that is locked to a tone's phase, averaged out of noise, with its uncertainty.

It is averaged in half-overlapped Hann windows of a quarter of a second. Together they weight all of the time equally,
so that a spectral line beside the tone rotates from block to block and averages out. The noise is estimated from the
scatter of the blocks, without a model: the mean of K blocks of variance s² has the standard uncertainty s/√K, and
|mean|² is too high by s²/K, which is subtracted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bench.measure.reading import Source

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

BLOCK = 512
"""Baseband points in a block: about 0.26 s."""
HOP = BLOCK // 2

LOST = 0.1
"""A phase that turns by x from block to block lowers each by about this times x² (Hann window, rounded up)."""

HANN_OVERLAP = 1.056
"""This many half-overlapped Hann segments are worth one independent segment (Welch, 1967)."""

STUDENT_95 = (12.7, 4.30, 3.18, 2.78, 2.57, 2.45, 2.36, 2.31, 2.26, 2.23, 2.20, 2.18, 2.16, 2.14, 2.13)
"""Student's t for 95 % and 1, 2, 3 … degrees of freedom (any statistical table)."""


def coverage(freedom: int) -> float:
    """The factor for 95 % coverage of a standard deviation estimated with `freedom` degrees of freedom."""
    return STUDENT_95[freedom - 1] if freedom <= len(STUDENT_95) else 1.96 + 2.5 / freedom


@lru_cache(maxsize=4)
def window(length: int = BLOCK) -> Floats:
    """A Hann window with a sum of 1. Half overlapped, such windows add up to a constant."""
    w = np.sin(np.pi * (np.arange(length) + 0.5) / length) ** 2
    return np.asarray(w / w.sum())


@dataclass(frozen=True, slots=True)
class Estimate:
    """The magnitude of a complex ratio, and its uncertainty."""

    power: float
    """|ratio|² with the contribution of noise subtracted; may be negative where there is only noise."""
    noise_power: float
    """The contribution of noise to |mean|²."""
    blocks: float
    """Number of independent blocks it was estimated from."""
    share: float = 0.0
    """Any other error of the magnitude, as a fraction of it; and"""
    besides: float = 0.0
    """one that does not depend on it."""

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
        """The parts of the uncertainty: noise and whatever beats with the tone, and other errors of the magnitude."""
        one = coverage(max(1, round(2.0 * (self.blocks - 1.0)))) * np.sqrt(self.noise_power / 2.0)
        return {"noise": float(np.hypot(one, self.besides)), "method": self.share * self.size}

    def within(self, share: float, besides: float = 0.0) -> Estimate:
        """The same with a further error of the magnitude: a fraction of it, and an absolute part."""
        return replace(self, share=self.share + share, besides=besides)

    @property
    def found(self) -> bool:
        """Whether the ratio stands out from the noise: noise alone would do so once in three thousand."""
        return self.power > max(7.0 * self.noise_power, 4.0 * self.besides**2) and self.blocks > 1.0

    @property
    def ceiling(self) -> float:
        """The most that |ratio| can be (95 %)."""
        return float(np.sqrt(max(self.power, 0.0) + 4.0 * self.noise_power)) + self.besides


def estimate(ratios: Complexes, noise: float | None = None) -> Estimate:
    """From the complex ratios of half-overlapped blocks, in order.

    Args:
        ratios: one for each block.
        noise: the noise power in one block, if it is known other than from their scatter. It is limited to what each
            block differs by from the mean of its neighbours. If the blocks scatter more than that, their phase wanders
            (weave between two tracks), and their powers are averaged instead, which phase does not affect.
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
        told = Estimate(power, spread / (2.0 * power) if power > 0.0 else noise, independent)
        return told.within(LOST * turned)
    return Estimate(float(abs(mean) ** 2) - scatter / independent, scatter / independent, independent)


def beside(length: int = BLOCK) -> Complexes:
    """Windowed oscillators 5 to 8 bins to either side of zero, which pick up noise alone. Shape (8, length)."""
    bins = np.array([-8, -7, -6, -5, 5, 6, 7, 8])
    return np.asarray(window(length) * np.exp(-2j * np.pi * np.outer(bins, np.arange(length)) / length))


def _overlap_correlation() -> float:
    w = window()
    return float(np.sum(w[HOP:] * w[:HOP]) / np.sum(w * w))


OVERLAP_CORRELATION = _overlap_correlation()
"""Correlation of the noise of a block with that of the next: a sixth."""
