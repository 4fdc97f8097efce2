"""The mean and the trend of a course whose wander is correlated, when the law of the wander is not known.

A course is reduced to the means of a few blocks. For each of several laws of wander (power spectral densities up to a
factor) the blocks have a known covariance C up to that factor. Given a law, the mean of the machine in the long run has
the estimate of Gauss and Markov, with the standard deviation s / √(1ᵀ C⁻¹ 1), and the same holds for a straight trend;
s and the probability of the law follow from the blocks about that estimate (restricted likelihood: Patterson and
Thompson, Biometrika 58, 1971), and from how much tape wanders at most: a law by which a tone that is steady to 0.1 dB
belongs to a machine that wanders by 2 dB is improbable. The laws are averaged with their probabilities, because a tone
of a few seconds seldom shows which one holds: what is too slow for the tone then counts as far as some law that fits
would have it. Several tones of one machine show more: their likelihoods multiply.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from bench.arrays import Floats

SLOWEST_HZ, FASTEST_HZ = 0.01, 60.0
"""Wander extends from the first (a hundred seconds of tape) to the second, which no block shows."""
BLOCKS = 16
"""Most blocks of a course: they show up to eight cycles within it. With more blocks, how fast the wander falls above
that would decide between the laws, although it says little of wander slower than the course."""
LEAST_SHARE = 0.02
"""The least fraction of the variance of the blocks that counts as wander beside known noise."""
BEYOND = 2.0
"""How improbable unusual wander is: all sizes up to the most that is usual are equally likely, and beyond it they
follow half of a log-normal law with this as its factor of one standard deviation. Our own choice."""
FACTORS = np.linspace(-1.5, 2.5, 41)
"""Natural logarithms of the sizes that are tried, relative to the most likely one."""
HELD = 0.9545
"""Probability of an error up to twice the standard uncertainty of a Gaussian."""

Laws = Callable[[Floats], list[tuple[float, Floats]]]
"""Relative probability and relative density of each law at frequencies in Hz."""


@dataclass(frozen=True, slots=True)
class Estimates:
    """The estimates of one value under several laws."""

    shares: Floats
    """Probability of each law; they add up to 1."""
    values: Floats
    deviations: Floats
    """Standard deviation of each value."""
    slower: Floats
    """Fraction of its variance that is due to wander with less than one cycle within the course."""
    likelihoods: Floats
    """Logarithm of the likelihood of each law, from this course alone."""

    @property
    def mean(self) -> float:
        """The average of the values."""
        return float(self.shares @ self.values)

    @property
    def of_slower(self) -> float:
        """The average fraction of variance due to wander that is too slow to be seen."""
        weights = self.shares * self.deviations**2
        return float(weights @ self.slower / max(float(weights.sum()), 1e-300))

    def about(self, value: float) -> Estimates:
        """The same, with values relative to this one."""
        return replace(self, values=self.values - value)

    def with_evidence(self, likelihoods: Floats) -> Estimates:
        """The same, with further logarithms of the laws' likelihoods, from other courses."""
        return replace(self, shares=_shares(np.log(np.maximum(self.shares, 1e-300)) + likelihoods))

    def uncertainty(self, value: float) -> float:
        """Standard uncertainty of a value: half of what its error stays within with the probability `HELD`."""
        off, sizes = self.values - value, np.sqrt(2.0) * np.maximum(self.deviations, 1e-300)
        laws = list(zip(self.shares.tolist(), off.tolist(), sizes.tolist(), strict=True))
        low, high = 0.0, float(np.max(np.abs(off) + 4.0 * self.deviations))
        while high - low > 1e-3 * high:
            tried = 0.5 * (low + high)
            held = 0.5 * sum(p * (math.erf((tried - o) / s) + math.erf((tried + o) / s)) for p, o, s in laws)
            low, high = (tried, high) if held < HELD else (low, tried)
        return 0.5 * high


def mean_of(course: Floats, rate: float, noise: float, laws: Laws, most: float = np.inf) -> Estimates:
    """The long-run mean of a course.

    Args:
        course: evenly spaced, at least four points.
        rate: points per second.
        noise: two-sided power spectral density of noise, which is not wander, per Hz.
        laws: of its wander.
        most: the most that it usually wanders in the long run, standard deviation.
    """
    return _estimates(course, rate, noise, laws, np.ones((1, min(BLOCKS, len(course)))), most=most)


def change_of(course: Floats, rate: float, laws: Laws, most: float = np.inf) -> Estimates:
    """The change from end to end of a straight trend beneath the wander of a course; arguments as for `mean_of`."""
    count = min(BLOCKS, len(course))
    shape = np.stack([np.ones(count), (np.arange(count) + 0.5) / count - 0.5])
    return _estimates(course, rate, 0.0, laws, shape, most=most)


def deviation_of(own: float, estimates: Estimates, seconds: float, laws: Laws) -> Estimates:
    """The long-run standard deviation of a course.

    Under each law, part of the wander is too slow for the course; and the power of a stretch of Gaussian noise has the
    relative variance Σ S² / (Σ S)², because the lines of a periodogram are independent and each has a standard
    deviation equal to its mean. The root has half the relative deviation.

    Args:
        own: standard deviation of the course itself, corrected for noise.
        estimates: of its mean.
        seconds: its length.
        laws: of its wander.
    """
    whole, spread = _deviations(laws, float(f"{seconds:.2g}"))
    return replace(estimates, values=own * whole, deviations=own * whole * spread)


@lru_cache(maxsize=64)
def _deviations(laws: Laws, seconds: float) -> tuple[Floats, Floats]:
    """Long-run standard deviation relative to that of a course of this length, and relative deviation of the latter."""
    hz = np.geomspace(SLOWEST_HZ, FASTEST_HZ, 700)
    densities = np.array([density for _, density in laws(hz)])
    powers = densities * np.gradient(hz)
    whole = np.sqrt(powers.sum(axis=1) / (powers * (1.0 - np.sinc(hz * seconds) ** 2)).sum(axis=1))
    lines = np.arange(1, max(1, int(FASTEST_HZ * seconds)) + 1) / seconds
    power = np.maximum([np.interp(lines, hz, density) for density in densities], np.finfo(float).tiny)
    return whole, 0.5 * np.linalg.norm(power, axis=1) / power.sum(axis=1)


def _estimates(course: Floats, rate: float, noise: float, laws: Laws, shape: Floats, *, most: float) -> Estimates:
    """The last coefficient of the rows of `shape` that, with wander, make up a course."""
    known, count = shape.shape
    edges = np.round(np.linspace(0, len(course), count + 1)).astype(int)[:-1]
    sizes = np.diff(edges, append=len(course))
    blocks = np.add.reduceat(course, edges) / sizes
    seconds = len(course) / rate
    turned, powers, prior, slower, sizes = _covariances(laws, float(f"{seconds:.2g}"), count)
    moved = float(np.var(blocks))
    own = noise * count / seconds
    if not moved > 0.0:
        none = np.zeros(len(prior))
        return Estimates(np.exp(prior), none + blocks[0], none, none, none)
    wander = max(moved - own, LEAST_SHARE * moved)
    powers = wander * powers + own
    # In the eigenvectors of each law's covariance, the blocks are independent, with or without white noise.
    seen = np.einsum("lkn,n->lk", turned, blocks)
    rows = np.einsum("lkn,pn->lkp", turned, shape)
    normal = np.einsum("lkp,lk,lkq->lpq", rows, 1.0 / powers, rows)
    values = np.linalg.solve(normal, np.einsum("lkp,lk->lp", rows, seen / powers)[..., None])[..., 0]
    rest = np.sum((seen - np.einsum("lkp,lp->lk", rows, values)) ** 2 / powers, axis=1)
    free = count - known
    likelihoods = -0.5 * (
        np.log(powers).sum(axis=1) + np.linalg.slogdet(normal)[1] + free * np.log(np.maximum(rest, 1e-300))
    )
    sure, variance = _of_size(rest / free, free, np.sqrt(wander) * sizes / most)
    spread = np.sqrt(variance * np.linalg.inv(normal)[:, -1, -1])
    return Estimates(_shares(prior + likelihoods + sure), values[:, -1], spread, slower, likelihoods)


def _of_size(likeliest: Floats, free: int, sizes: Floats) -> tuple[Floats, Floats]:
    """The factor by which the variance of the blocks exceeds the expected one, as far as usual sizes allow.

    Args:
        likeliest: the most likely factor under each law, by the blocks alone.
        free: its degrees of freedom.
        sizes: wander of the long run, with a factor of 1, relative to the most that is usual.

    Returns:
        The logarithm of the probability of each law by its size, and the mean factor.
    """
    tried = np.log(np.maximum(likeliest, 1e-300))[:, None] / 2.0 + FACTORS
    beyond = np.maximum(0.0, np.log(np.maximum(sizes, 1e-300))[:, None] + tried) / np.log(BEYOND)
    seen = np.exp(-free * FACTORS - 0.5 * free * np.expm1(-2.0 * FACTORS))
    weights = seen * np.exp(-0.5 * beyond**2)
    whole = np.maximum(weights.sum(axis=1), 1e-300)
    factors = (weights * np.exp(2.0 * tried)).sum(axis=1) / whole
    return np.log(whole / seen.sum()), factors


def _shares(logarithms: Floats) -> Floats:
    """Probabilities that add up to 1."""
    shares = np.exp(logarithms - logarithms.max())
    return np.asarray(shares / shares.sum())


@lru_cache(maxsize=64)
def _covariances(laws: Laws, seconds: float, count: int) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """The covariance of the blocks under each law, with an expected sample variance of 1.

    Returns:
        Its eigenvectors, (laws, vectors, blocks), and eigenvalues; the logarithms of the laws' probabilities; the
        fraction of the variance of the mean that is due to less than one cycle; the standard deviation in the long run.
    """
    hz = np.geomspace(SLOWEST_HZ, FASTEST_HZ, 700)
    prior, densities = (np.array(x) for x in zip(*laws(hz), strict=True))
    every_s, width = seconds / count, np.gradient(hz)
    lags = np.arange(count)
    turns = np.cos(2 * np.pi * every_s * np.outer(hz, lags)) * (np.sinc(hz * every_s) ** 2 * width)[:, None]
    covariances = (densities @ turns)[:, np.abs(lags[:, None] - lags)]
    scale = covariances[:, 0, 0] - covariances.mean(axis=(1, 2))
    powers, vectors = np.linalg.eigh(covariances / scale[:, None, None])
    of_mean = densities * np.sinc(hz * seconds) ** 2 * width
    slower = of_mean[:, hz * seconds < 1.0].sum(axis=1) / of_mean.sum(axis=1)
    sizes = np.sqrt((densities @ width) / scale)
    return np.ascontiguousarray(vectors.transpose(0, 2, 1)), np.maximum(powers, 1e-6), np.log(prior), slower, sizes
