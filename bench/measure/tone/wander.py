"""Wander of level, delay and speed during a tone, and the resulting uncertainty for the machine.

The mean over a tone is exact only for that stretch of tape; the machine's long-run mean differs from it by an amount
that follows from the wander itself. The mean over T seconds of a course with the one-sided power spectral density S(f)
has the variance ∫ S(f) sinc²(fT) df: components faster than 1/T average out, and the density near zero frequency,
estimated from the lowest lines of the tone's own spectrum, leaves S(0)/(2T). Wander slower than the tone cannot be seen
in it, and is taken from a model of the quantity on tape.
Source: any text on stationary processes; the budget as in JCGM 100:2008 (GUM), 4.3. The models of slow wander are
common practice, no source; `tests/rough_tape` draws from several alternatives to them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from bench.measure.tone.baseband import Complexes, Floats, median, power_of
from bench.measure.tone.coherent import coverage

COURSE_HZ = 50.0
"""Approximate points per second of a course; wander is slower than half of this."""
SLOWEST_HZ, SLOW_HZ, FASTEST_HZ = 0.01, 0.2, 10.0
"""Wander extends down to the first (a hundred seconds of tape); below the second it is called slow, above the third it
is noise."""
SLOW_LEVEL, SLOW_EXPONENT = 0.4, 0.7
"""Slow wander of level relative to the wander above `SLOW_HZ`: levels that wander by 0.25 dB have 0.1 dB of slow wander
(common practice, no source). Its density falls with this power of frequency, down to `SLOWEST_HZ`."""
SPEED_EXPONENT = 1.2
"""The density of speed drift falls with this power of frequency: between 1/f and that of a random walk, 1/f²."""
SLOW_DELAY = 0.1
"""The same for the delay between two tracks: weave is mostly faster."""
WEAVE_BAND_HZ, WEAVE_SLOW = (0.3, 5.0), 0.25
"""The band in which typical weave falls as 1/f, and the relative weave below it (common practice, no source)."""
WEIGHTS_HZ, MOST_WEIGHTS = 10.0, 200
"""Points per second of a delay for its weighted mean, and the most points."""
LEVEL_LINES, DELAY_LINES, SPEED_LINES = (1.0, 2), (0.2, 2), (0.3, 3)
"""The spectral lines from which the density near zero frequency is estimated: highest frequency, and least number."""
ENDS_S, SPEED_ENDS_S = 0.08, 0.12
"""Length excluded at each end of a tone; the second for its frequency, which is measured only where the tone fills the
whole filter."""
UNCORRELATED_S = 0.5
"""Levels this far apart in time are nearly uncorrelated, apart from slow wander."""
LEAST_SNR = 4.0
"""Least power of a ratio, relative to its noise, for an estimate of its wander."""
DB = 20.0 / float(np.log(10.0))
SIGNIFICANT = 4.0
"""Noise exceeds its own mean density by this many standard deviations less than once in ten thousand."""


@dataclass(frozen=True, slots=True)
class Wander:
    """Standard uncertainties (k = 1) of a mean due to wander, in the unit of the course."""

    within: float = 0.0
    """From wander seen within the tone."""
    slower: float = 0.0
    """From wander too slow to be seen within the tone."""
    ends: float = 0.0
    """Of the mean of this tone itself, because its ends are excluded with their fades."""
    dropouts: float = 0.0
    """Of that mean, from bridged dropouts."""

    @property
    def total(self) -> float:
        """Root of the sum of squares."""
        return float(np.linalg.norm((self.within, self.slower, self.ends, self.dropouts)))

    def times(self, factor: float) -> Wander:
        """The same, scaled to another unit."""
        return combined([self], [factor])


def combined(wanders: Sequence[Wander], shares: Sequence[float]) -> Wander:
    """The wander of a weighted sum of independent courses."""

    def spread(sizes: list[float]) -> float:
        return float(np.linalg.norm(np.multiply(shares, sizes)))

    return Wander(*(spread([getattr(w, name) for w in wanders]) for name in Wander.__slots__))


NONE = Wander()


def means(x: Floats, rate: float) -> tuple[Floats, float]:
    """A course decimated by block means to about `COURSE_HZ` points per second, and its rate."""
    few = max(1, round(rate / COURSE_HZ))
    count = len(x) // few
    return np.asarray(x[: count * few].reshape(count, few).mean(axis=1)), rate / few


def of_level(course: Floats, rate: float, noise: float) -> Wander:
    """Uncertainty of a mean level due to wander, or of another quantity that wanders in the same way.

    Args:
        course: evenly spaced, dropouts bridged.
        rate: points per second.
        noise: two-sided power spectral density of noise, which is not wander, per Hz.
    """
    found = _by_lines(course, rate, noise, LEVEL_LINES, SLOW_LEVEL)
    # The known share of slow wander counts as two more degrees of freedom.
    few = coverage(2 * _count(len(course) / rate, LEVEL_LINES) + 2) / 2.0
    return replace(found, within=few * found.within)


def of_ratio(ratios: Complexes, every_s: float, noise_power: float) -> Wander:
    """Uncertainty of the mean magnitude of a ratio of two tones due to wander, dB.

    Args:
        ratios: of successive blocks with 50 % overlap; no wander can be seen in a ratio that is lost in noise.
        every_s: hop, seconds.
        noise_power: noise in |ratio|² of one block.
    """
    power = float(np.mean(np.abs(ratios) ** 2)) if len(ratios) else 0.0
    if power < LEAST_SNR * noise_power or not power:
        return NONE
    course = DB * np.log(np.maximum(np.abs(ratios), 1e-3 * np.sqrt(power)))
    return of_level(course, 1.0 / every_s, 1.5 * every_s * 0.5 * DB**2 * noise_power / power)


def of_rising(levels: Floats, every_s: float, seconds: float) -> Wander:
    """Uncertainty of the level at one moment of a tone that rises, steadily or in steps.

    The wander is estimated from the differences over half a second, relative to their median. Within that time it does
    not average out; over a longer stretch it falls as the root of its length.

    Args:
        levels: evenly spaced, dB.
        every_s: interval, seconds.
        seconds: length of the tone from which that level is estimated.
    """
    apart = max(1, round(UNCORRELATED_S / every_s))
    if len(levels) < 3 * apart:
        return NONE
    rise = levels[apart:] - levels[:-apart]
    moves = 1.4826 * median(np.abs(rise - median(rise))) / float(np.sqrt(2.0))
    return Wander(moves / float(np.sqrt(1.0 + seconds / UNCORRELATED_S)), slow_level(moves, seconds))


def slow_level(moves: float, seconds: float) -> float:
    """Standard uncertainty of the mean level of a tone due to wander slower than the tone.

    Args:
        moves: standard deviation of the visible wander.
        seconds: length of the tone.
    """
    return SLOW_LEVEL * moves * float(np.sqrt(_slow_left(round(seconds, 1))))


def of_delay(course: Floats, rate: float, noise: float) -> Wander:
    """The same for the delay, or phase, between two channels, given relative to its `mean_delay`.

    The difference between that and the plain mean is an uncertainty of the mean of this tone itself.
    """
    found = _by_lines(course, rate, noise, DELAY_LINES, SLOW_DELAY)
    return replace(found, ends=float(np.hypot(found.ends, course.mean()))) if found.ends else found


def mean_delay(course: Floats, rate: float) -> float:
    """The weighted mean of a delay between two tracks that best estimates the long-run mean.

    The weights C⁻¹1 / 1ᵀC⁻¹1 (Gauss-Markov), with the covariance C of typical weave, have the least variance.
    """
    few = max(1, round(rate / WEIGHTS_HZ), -(-len(course) // MOST_WEIGHTS))
    count = len(course) // few
    if count < 8:
        return float(course.mean())
    return float(_weights(count, round(few / rate, 4)) @ course[: count * few].reshape(count, few).mean(axis=1))


def of_speed(course: Floats, rate: float) -> tuple[Wander, float]:
    """Uncertainty of a mean speed due to wander, and standard uncertainty of its drift from end to end.

    Below the rates of rotating parts, tape speed drifts with a density that falls approximately as 1/f (common
    practice, no source): at x cycles within the tone it is a x⁻ᵖ, with a from the lowest lines, down to `SLOWEST_HZ`.
    """
    power, hz, seconds = _spectrum(course, rate)
    count = _count(seconds, SPEED_LINES)
    lines, lowest = slice(1, 1 + count), round(SLOWEST_HZ * seconds, 3)
    within, slower, drift = _of_falling(lowest)
    turns = (hz[lines] * seconds) ** SPEED_EXPONENT
    a = 2.0 * float(np.mean(power[lines] * turns)) / seconds
    few = coverage(2 * count) / 2.0
    mean = Wander(few * float(np.sqrt(a * within)), few * float(np.sqrt(a * slower)))
    # Drift itself is not wander: the uncertainty of the straight line comes from the residual about it.
    rest, _, _ = _spectrum(_without_line(course), rate)
    a = 2.0 * float(np.mean(rest[lines] * turns / _beside_line(lowest, count))) / seconds
    few = coverage(2 * count - 1) / 2.0
    return replace(mean, ends=_ends(course, seconds, SPEED_ENDS_S)), few * float(np.sqrt(a * drift))


def _without_line(course: Floats) -> Floats:
    """The course minus its least-squares straight line."""
    t = np.arange(len(course)) - 0.5 * (len(course) - 1)
    level = course - course.mean()
    return np.asarray(level - t * (level @ t) / (t @ t))


def of_power(course: Floats, rate: float) -> float:
    """Relative standard uncertainty of the mean of a course of powers."""
    if len(course) < 4 or not course.any():
        return 0.0
    power, _, seconds = _spectrum(course, rate)
    count = min(_count(seconds, SPEED_LINES), len(power) - 1)
    few = coverage(2 * count) / 2.0
    return few * float(np.sqrt(np.mean(power[1 : 1 + count]) / seconds) / course.mean())


def wanders(course: Floats, rate: float, noise: float) -> bool:
    """Whether a course moves significantly more than its noise."""
    power, hz, _ = _spectrum(course, rate)
    low = power[1:][hz[1:] < FASTEST_HZ]
    few = low[:6]
    return any(float(x.mean()) > noise * (1.0 + SIGNIFICANT / np.sqrt(len(x))) for x in (low, few) if len(x))


def _by_lines(course: Floats, rate: float, noise: float, lines: tuple[float, int], slow: float) -> Wander:
    if len(course) < 8 or not wanders(course, rate, noise):
        return NONE
    power, hz, seconds = _spectrum(course, rate)
    near_zero = float(np.mean(power[1 : 1 + _count(seconds, lines)]))
    seen = 2.0 / seconds * float(np.sum(np.maximum(power[(hz >= SLOW_HZ) & (hz < FASTEST_HZ)] - noise, 0.0)))
    left = slow**2 * seen * _slow_left(round(seconds, 1))
    within = float(np.sqrt(max(0.0, near_zero - noise) / seconds))
    return Wander(within, float(np.sqrt(left)), _ends(course, seconds, ENDS_S))


def _ends(course: Floats, seconds: float, excluded_s: float) -> float:
    """Standard uncertainty of the mean of a tone because its ends are excluded."""
    return float(np.std(course) * np.sqrt(2.0) * excluded_s / seconds)


def _spectrum(course: Floats, rate: float) -> tuple[Floats, Floats, float]:
    """Two-sided power spectral density of a course without its mean, its frequencies, and the length of the course."""
    power = power_of(np.fft.rfft(course - course.mean())) / (len(course) * rate)
    return power, np.asarray(np.fft.rfftfreq(len(course), 1.0 / rate), dtype=np.float64), len(course) / rate


def _count(seconds: float, lines: tuple[float, int]) -> int:
    highest, least = lines
    return max(least, int(highest * seconds))


@lru_cache(maxsize=64)
def _slow_left(seconds: float) -> float:
    """Fraction of the power of slow wander that remains in the mean of a tone."""
    hz = np.geomspace(SLOWEST_HZ, SLOW_HZ, 200)
    shape = hz**-SLOW_EXPONENT
    return float(np.trapezoid(shape * np.sinc(hz * seconds) ** 2, hz) / np.trapezoid(shape, hz))


@lru_cache(maxsize=64)
def _weights(count: int, every_s: float) -> Floats:
    """Weights for the mean of `count` points, each the mean over `every_s`, of a delay with typical weave."""
    low, high = WEAVE_BAND_HZ
    hz = np.concatenate([np.geomspace(SLOWEST_HZ, low, 60), np.geomspace(low, high, 200)])
    slow = WEAVE_SLOW**2 / (low - SLOWEST_HZ)
    density = np.where(np.arange(len(hz)) < 60, slow, 1.0 / (hz * np.log(high / low))) * np.sinc(hz * every_s) ** 2
    lags = np.arange(count)
    covariance = np.trapezoid(np.cos(2 * np.pi * every_s * np.outer(lags, hz)) * density, hz, axis=1)
    covariance[0] *= 1.001
    weights = np.linalg.solve(covariance[np.abs(lags[:, None] - lags)], np.ones(count))
    return np.asarray(weights / weights.sum())


@lru_cache(maxsize=64)
def _of_falling(lowest: float) -> tuple[float, float, float]:
    """Variances due to the density of speed drift.

    Those of a mean, from rates with a full cycle within the tone and from slower ones, and that of the change from end
    to end of the straight line through the course.

    Args:
        lowest: cycles of the slowest rate within the tone.
    """
    turns = np.geomspace(min(lowest, 0.5), 200.0, 4000)
    mean = np.sinc(turns) ** 2
    # The least-squares slope times the length is 12/T² ∫ t s(t) dt; its response to x cycles within T:
    line = 6.0 / (np.pi * turns) * (np.sinc(turns) - np.cos(np.pi * turns))
    density = turns**-SPEED_EXPONENT
    slower = float(np.trapezoid(np.where(turns < 1.0, mean * density, 0.0), turns))
    return float(np.trapezoid(mean * density, turns)) - slower, slower, float(np.trapezoid(line**2 * density, turns))


@lru_cache(maxsize=64)
def _beside_line(lowest: float, count: int) -> Floats:
    """Fraction of the density of drift that remains in lines 1, 2, … when the straight line is subtracted.

    A course with x cycles within its length has sinc(x − k) in line k; the straight line through it removes a part.

    Args:
        lowest: cycles of the slowest rate within the tone.
        count: number of lines.
    """
    turns = np.geomspace(min(lowest, 0.5), 200.0, 4000)
    line = 6.0 / (np.pi * turns) * (np.sinc(turns) - np.cos(np.pi * turns))
    kept = []
    for k in range(1, count + 1):
        taken = (-1) ** k * line / (2.0 * np.pi * k)
        both = (np.sinc(turns - k) + taken) ** 2 + (np.sinc(turns + k) - taken) ** 2
        kept.append(k**SPEED_EXPONENT * float(np.trapezoid(both * turns**-SPEED_EXPONENT, turns)))
    return np.array(kept)
