"""A quantity locked to a tone's phase, out of noise: means of windowed blocks, and what they are worth.

The blocks are Hann windows of a quarter of a second, half overlapped: together they weigh all the time
alike, so that a line beside the tone turns from block to block and averages out, wherever it lies. The noise is read
from the scatter of the blocks, so that no model of it is needed: the mean of K blocks of variance s² is uncertain by
s/√K, and |mean|² is high by s²/K, which is taken off.
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
"""A block whose phase turns by x to its neighbour's is less by about so much of x² (a Hann window; with room)."""

HANN_OVERLAP = 1.056
"""Half-overlapped Hann segments tell as much as this part of so many independent ones (Welch, 1967)."""

STUDENT_95 = (12.7, 4.30, 3.18, 2.78, 2.57, 2.45, 2.36, 2.31, 2.26, 2.23, 2.20, 2.18, 2.16, 2.14, 2.13)
"""Student's t for 95 % and 1, 2, 3 … degrees of freedom (any statistical table)."""


def coverage(freedom: int) -> float:
    """By what to multiply a standard deviation that `freedom` degrees of freedom told, to cover 95 %."""
    return STUDENT_95[freedom - 1] if freedom <= len(STUDENT_95) else 1.96 + 2.5 / freedom


@lru_cache(maxsize=4)
def window(length: int = BLOCK) -> Floats:
    """A Hann window with a sum of 1. Half overlapped it adds up to a constant, so that the mean of blocks is flat."""
    w = np.sin(np.pi * (np.arange(length) + 0.5) / length) ** 2
    return np.asarray(w / w.sum())


@dataclass(frozen=True, slots=True)
class Estimate:
    """A complex ratio's size, with what the noise does to it."""

    power: float
    """|ratio|², the noise's share taken off; may be negative when there is nothing but noise."""
    noise_power: float
    """What noise alone would add to |mean|²."""
    blocks: float
    """How many independent blocks told it."""
    share: float = 0.0
    """What else may be wrong with the size, as a part of it; and"""
    besides: float = 0.0
    """whatever its size."""

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
        """That by noise and what beats with it, and by what else may be wrong with the size."""
        one = coverage(max(1, round(2.0 * (self.blocks - 1.0)))) * np.sqrt(self.noise_power / 2.0)
        return {"noise": float(np.hypot(one, self.besides)), "method": self.share * self.size}

    def within(self, share: float, besides: float = 0.0) -> Estimate:
        """The same, its size known no better than to within this part of it, and this besides."""
        return replace(self, share=self.share + share, besides=besides)

    @property
    def found(self) -> bool:
        """Whether the ratio stands out of the noise: noise alone would do this once in three thousand."""
        return self.power > max(7.0 * self.noise_power, 4.0 * self.besides**2) and self.blocks > 1.0

    @property
    def ceiling(self) -> float:
        """The most that |ratio| can be (95 %)."""
        return float(np.sqrt(max(self.power, 0.0) + 4.0 * self.noise_power)) + self.besides


def estimate(ratios: Complexes, noise: float | None = None) -> Estimate:
    """From the complex ratios of half-overlapped blocks, in their order.

    Args:
        ratios: one for each block.
        noise: the noise power in one block, if it is known apart from their scatter; at most what each differs by from
            the mean of those before and after it. Blocks that scatter more have a phase that wanders (weave between two
            tracks), which the mean of the powers does not mind.
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
    """Windowed oscillators 5 to 8 bins either side of zero: what they pick up is noise. Shape (8, length)."""
    bins = np.array([-8, -7, -6, -5, 5, 6, 7, 8])
    return np.asarray(window(length) * np.exp(-2j * np.pi * np.outer(bins, np.arange(length)) / length))


def _overlap_correlation() -> float:
    w = window()
    return float(np.sum(w[HOP:] * w[:HOP]) / np.sum(w * w))


OVERLAP_CORRELATION = _overlap_correlation()
"""How much the noise of a block is that of its neighbour: a sixth."""
