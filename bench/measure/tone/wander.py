"""How level, delay and speed wander while a tone sounds, and what that leaves open about the machine.

A tape is never still: the mean over a tone says what that stretch of tape gave, and what the machine gives in the long
run lies somewhere about it. How far follows from the wander itself. The mean over T seconds of a course with the
one-sided power density S(f) has the variance ∫ S(f) sinc²(fT) df: what is faster than 1/T averages out, and the density
near zero frequency, seen in the lowest lines of the tone's own spectrum, leaves S(0)/(2T). What is slower than the tone
cannot be seen in it, and is taken from a law that the quantity follows on tape.
Source: any text on stationary processes; the budget as in JCGM 100:2008 (GUM), 4.3. The slow laws are common practice,
no source; `tests/rough_tape` draws several alternatives to them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from bench.measure.tone.baseband import Complexes, Floats, median, power_of
from bench.measure.tone.coherent import coverage

COURSE_HZ = 50.0
"""Points a second of a course, about: wander is slower than half of it."""
SLOWEST_HZ, SLOW_HZ, FASTEST_HZ = 0.01, 0.2, 10.0
"""A tape's wander goes on down to the first (a hundred seconds of tape); below the second it is called slow, above the
third it is noise."""
SLOW_LEVEL, SLOW_FALLS = 0.4, 0.7
"""Slow wander of level, in parts of what is seen above `SLOW_HZ`: levels that wander by 0.25 dB move by 0.1 dB slowly
(common practice, no source). Its density falls with this power of the rate, down to `SLOWEST_HZ`."""
SPEED_FALLS = 1.2
"""With what power of the rate the density of a speed's drift falls: between that of drawn-out turning parts, which
is 1/f, and that of a random walk, 1/f²."""
SLOW_DELAY = 0.1
"""The same of the delay between two tracks: weave is mostly faster."""
WEAVE_BAND_HZ, WEAVE_SLOW = (0.3, 5.0), 0.25
"""Where the usual weave falls as 1/f, and how much there is below, in parts of that (common practice, no source)."""
WEIGHED_HZ, MOST_WEIGHTS = 10.0, 200
"""A delay's mean is taken of so many points a second with weights of their own, and of so many at most."""
LEVEL_LINES, DELAY_LINES, SPEED_LINES = (1.0, 2), (0.2, 2), (0.3, 3)
"""The lines of a spectrum that tell its density near zero: up to so many Hz, but at least so many."""
ENDS_S, SPEED_ENDS_S = 0.08, 0.12
"""So much of a tone is left out at either end; the second of its frequency, which needs the whole filter."""
WANDERS_S = 0.5
"""Levels so far apart in time have little to do with each other, slow wander aside."""
CLEAR = 4.0
"""A ratio's wander is looked at where its power is so many times that of its noise."""
DB = 20.0 / float(np.log(10.0))
CHANCE = 4.0
"""Noise exceeds its own mean density by more, in standard deviations, less than once in ten thousand."""


@dataclass(frozen=True, slots=True)
class Wander:
    """What wander leaves open about a mean: standard uncertainties (k = 1), in the unit of the course."""

    within: float = 0.0
    """By what is seen within the tone."""
    slower: float = 0.0
    """By what is slower than the tone is long."""
    ends: float = 0.0
    """About the mean of the very tone, whose ends are left out with their fades."""
    dropouts: float = 0.0
    """About that mean too, by what is left of dropouts."""

    @property
    def together(self) -> float:
        """Root of the sum of squares."""
        return float(np.linalg.norm((self.within, self.slower, self.ends, self.dropouts)))

    def times(self, factor: float) -> Wander:
        """In another unit."""
        return combined([self], [factor])


def combined(wanders: Sequence[Wander], shares: Sequence[float]) -> Wander:
    """Of a sum of courses that wander each by itself, each taken so many times."""

    def spread(sizes: list[float]) -> float:
        return float(np.linalg.norm(np.multiply(shares, sizes)))

    return Wander(*(spread([getattr(w, name) for w in wanders]) for name in Wander.__slots__))


NONE = Wander()


def means(x: Floats, rate: float) -> tuple[Floats, float]:
    """A course of about `COURSE_HZ` points a second, each the mean of a few; and its rate."""
    few = max(1, round(rate / COURSE_HZ))
    count = len(x) // few
    return np.asarray(x[: count * few].reshape(count, few).mean(axis=1)), rate / few


def of_level(course: Floats, rate: float, noise: float) -> Wander:
    """What wander leaves open about a mean level, or another course that wanders alike.

    Args:
        course: evenly spaced, dropouts bridged.
        rate: points a second.
        noise: two-sided density of what is no wander, per Hz.
    """
    found = _by_lines(course, rate, noise, LEVEL_LINES, SLOW_LEVEL)
    few = coverage(2 * _count(len(course) / rate, LEVEL_LINES) + 2) / 2.0  # its slow wander is known besides
    return replace(found, within=few * found.within)


def of_ratio(ratios: Complexes, every_s: float, noise_power: float) -> Wander:
    """What wander leaves open about the mean size of a ratio of two tones, dB.

    Args:
        ratios: of half-overlapped blocks, in their order; a size that is lost in noise tells of no wander.
        every_s: from one to the next.
        noise_power: in one block, of |ratio|².
    """
    power = float(np.mean(np.abs(ratios) ** 2)) if len(ratios) else 0.0
    if power < CLEAR * noise_power or not power:
        return NONE
    course = DB * np.log(np.maximum(np.abs(ratios), 1e-3 * np.sqrt(power)))
    return of_level(course, 1.0 / every_s, 1.5 * every_s * 0.5 * DB**2 * noise_power / power)


def of_rising(levels: Floats, every_s: float, seconds: float) -> Wander:
    """What wander leaves open about the level at one moment of a tone that rises, steadily or in steps.

    How far a level wanders is told by its differences over half a second, about what most of them are; within one
    wander's time a moment is known no better than that, and a longer stretch as the root of its length.

    Args:
        levels: evenly spaced, dB.
        every_s: from one to the next.
        seconds: how much of the tone tells the moment.
    """
    apart = max(1, round(WANDERS_S / every_s))
    if len(levels) < 3 * apart:
        return NONE
    rise = levels[apart:] - levels[:-apart]
    moves = 1.4826 * median(np.abs(rise - median(rise))) / float(np.sqrt(2.0))
    return Wander(moves / float(np.sqrt(1.0 + seconds / WANDERS_S)), slow_level(moves, seconds))


def slow_level(moves: float, seconds: float) -> float:
    """What wander slower than a tone leaves open about its mean level.

    Args:
        moves: the wander that is seen (standard deviation).
        seconds: length of the tone.
    """
    return SLOW_LEVEL * moves * float(np.sqrt(_slow_left(round(seconds, 1))))


def of_delay(course: Floats, rate: float, noise: float) -> Wander:
    """The same for the delay, or phase, between two channels, of a course re its `mean_delay`.

    What that differs by from the plain mean is open about the mean of the very tone.
    """
    found = _by_lines(course, rate, noise, DELAY_LINES, SLOW_DELAY)
    return replace(found, ends=float(np.hypot(found.ends, course.mean()))) if found.ends else found


def mean_delay(course: Floats, rate: float) -> float:
    """The mean of a delay between two tracks, its ends weighted so that it is nearest to the long run's.

    Weights C⁻¹1 / 1ᵀC⁻¹1 (Gauss and Markov) with the covariance C of the usual weave, of which least leaks into them.
    """
    few = max(1, round(rate / WEIGHED_HZ), -(-len(course) // MOST_WEIGHTS))
    count = len(course) // few
    if count < 8:
        return float(course.mean())
    return float(_weights(count, round(few / rate, 4)) @ course[: count * few].reshape(count, few).mean(axis=1))


def of_speed(course: Floats, rate: float) -> tuple[Wander, float]:
    """What wander leaves open about a mean speed, and about its drift from end to end (standard uncertainty).

    Below the rates of what turns, a tape's speed drifts with a density that falls about as 1/f (common practice, no
    source): that of x turns within the tone is a x⁻ᵖ, with a from the lowest lines, down to `SLOWEST_HZ`.
    """
    power, hz, seconds = _spectrum(course, rate)
    count = _count(seconds, SPEED_LINES)
    lines, lowest = slice(1, 1 + count), round(SLOWEST_HZ * seconds, 3)
    within, slower, drift = _of_falling(lowest)
    turns = (hz[lines] * seconds) ** SPEED_FALLS
    a = 2.0 * float(np.mean(power[lines] * turns)) / seconds
    few = coverage(2 * count) / 2.0
    mean = Wander(few * float(np.sqrt(a * within)), few * float(np.sqrt(a * slower)))
    # The drift itself is no wander: what is left beside its straight line says how far a line may be drawn by chance.
    rest, _, _ = _spectrum(_without_line(course), rate)
    a = 2.0 * float(np.mean(rest[lines] * turns / _beside_line(lowest, count))) / seconds
    few = coverage(2 * count - 1) / 2.0
    return replace(mean, ends=_ends(course, seconds, SPEED_ENDS_S)), few * float(np.sqrt(a * drift))


def _without_line(course: Floats) -> Floats:
    """A course less the straight line through it."""
    t = np.arange(len(course)) - 0.5 * (len(course) - 1)
    level = course - course.mean()
    return np.asarray(level - t * (level @ t) / (t @ t))


def of_power(course: Floats, rate: float) -> float:
    """What chance leaves open about a mean power, in parts of it (standard uncertainty): of a course of powers."""
    if len(course) < 4 or not course.any():
        return 0.0
    power, _, seconds = _spectrum(course, rate)
    count = min(_count(seconds, SPEED_LINES), len(power) - 1)
    few = coverage(2 * count) / 2.0
    return few * float(np.sqrt(np.mean(power[1 : 1 + count]) / seconds) / course.mean())


def wanders(course: Floats, rate: float, noise: float) -> bool:
    """Whether a course moves more than its noise does."""
    power, hz, _ = _spectrum(course, rate)
    low = power[1:][hz[1:] < FASTEST_HZ]
    few = low[:6]
    return any(float(x.mean()) > noise * (1.0 + CHANCE / np.sqrt(len(x))) for x in (low, few) if len(x))


def _by_lines(course: Floats, rate: float, noise: float, lines: tuple[float, int], slow: float) -> Wander:
    if len(course) < 8 or not wanders(course, rate, noise):
        return NONE
    power, hz, seconds = _spectrum(course, rate)
    near_zero = float(np.mean(power[1 : 1 + _count(seconds, lines)]))
    seen = 2.0 / seconds * float(np.sum(np.maximum(power[(hz >= SLOW_HZ) & (hz < FASTEST_HZ)] - noise, 0.0)))
    left = slow**2 * seen * _slow_left(round(seconds, 1))
    within = float(np.sqrt(max(0.0, near_zero - noise) / seconds))
    return Wander(within, float(np.sqrt(left)), _ends(course, seconds, ENDS_S))


def _ends(course: Floats, seconds: float, left_out_s: float) -> float:
    """By how much the mean of a tone may differ from that of a stretch that leaves out a little at both its ends."""
    return float(np.std(course) * np.sqrt(2.0) * left_out_s / seconds)


def _spectrum(course: Floats, rate: float) -> tuple[Floats, Floats, float]:
    """Two-sided density of a course less its mean, the rates, and how long it is."""
    power = power_of(np.fft.rfft(course - course.mean())) / (len(course) * rate)
    return power, np.asarray(np.fft.rfftfreq(len(course), 1.0 / rate), dtype=np.float64), len(course) / rate


def _count(seconds: float, lines: tuple[float, int]) -> int:
    highest, least = lines
    return max(least, int(highest * seconds))


@lru_cache(maxsize=64)
def _slow_left(seconds: float) -> float:
    """The part of the slow wander's power that the mean of a tone keeps."""
    hz = np.geomspace(SLOWEST_HZ, SLOW_HZ, 200)
    shape = hz**-SLOW_FALLS
    return float(np.trapezoid(shape * np.sinc(hz * seconds) ** 2, hz) / np.trapezoid(shape, hz))


@lru_cache(maxsize=64)
def _weights(count: int, every_s: float) -> Floats:
    """Of the mean of so many points, each the mean over `every_s`, of a delay that weaves as usual."""
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
    """What a density that falls as a drift's leaves open.

    Of a mean, by rates that turn within the tone and by slower ones; of the change from end to end of the straight line
    through it. Variances.

    Args:
        lowest: turns within the tone of the slowest rate.
    """
    turns = np.geomspace(min(lowest, 0.5), 200.0, 4000)
    mean = np.sinc(turns) ** 2
    # The slope of least squares times the length is 12/T² ∫ t s(t) dt; its response to a turn of x within T:
    line = 6.0 / (np.pi * turns) * (np.sinc(turns) - np.cos(np.pi * turns))
    density = turns**-SPEED_FALLS
    slower = float(np.trapezoid(np.where(turns < 1.0, mean * density, 0.0), turns))
    return float(np.trapezoid(mean * density, turns)) - slower, slower, float(np.trapezoid(line**2 * density, turns))


@lru_cache(maxsize=64)
def _beside_line(lowest: float, count: int) -> Floats:
    """The part of a drift's density that lines 1, 2, … keep when the straight line is taken out of the course.

    Line k of a course that turns x times within its length has sinc(x − k); the straight line through it takes a part.

    Args:
        lowest: turns within the tone of the slowest rate.
        count: how many lines.
    """
    turns = np.geomspace(min(lowest, 0.5), 200.0, 4000)
    line = 6.0 / (np.pi * turns) * (np.sinc(turns) - np.cos(np.pi * turns))
    kept = []
    for k in range(1, count + 1):
        taken = (-1) ** k * line / (2.0 * np.pi * k)
        both = (np.sinc(turns - k) + taken) ** 2 + (np.sinc(turns + k) - taken) ** 2
        kept.append(k**SPEED_FALLS * float(np.trapezoid(both * turns**-SPEED_FALLS, turns)))
    return np.array(kept)
