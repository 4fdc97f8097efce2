"""How level, delay and speed wander during a tone, and the uncertainty that this leaves in the machine's own figure.

Tape is never steady. The mean over a tone is that of one stretch of tape; the machine's long-run value differs from it
by an amount that the wander itself shows. The mean over T seconds of a signal with one-sided power density S(f) has the
variance ∫ S(f) sinc²(fT) df. Whatever is faster than 1/T averages out, and the density near zero frequency, seen in the
lowest lines of the tone's own spectrum, leaves S(0)/(2T). Wander slower than the tone cannot be seen in it; it is
estimated from a law that the quantity follows on tape.
Source: any text on stationary processes; the budget as in JCGM 100:2008 (GUM), 4.3. The slow laws are common practice,
no source; `tests/rough_tape` draws several alternatives to them.
In this module a course is a quantity over time, evenly sampled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from bench.measure.tone.baseband import Complexes, Floats, median, power_of
from bench.measure.tone.coherent import coverage

COURSE_HZ = 50.0
"""Approximate sampling rate of a course: wander is slower than half of it."""
SLOWEST_HZ, SLOW_HZ, FASTEST_HZ = 0.01, 0.2, 10.0
"""Wander of tape extends down to the first (a hundred seconds of tape). Below the second it is called slow; above the
third it is noise."""
SLOW_LEVEL = 0.33
"""Slow wander of level relative to the wander above `SLOW_HZ`. Levels that wander by 0.25 dB also move by 0.1 dB slowly
(common practice, no source), spread over all rates down to `SLOWEST_HZ`."""
SLOW_DELAY = 0.1
"""Likewise for the delay between two tracks: weave is mostly faster."""
LEVEL_LINES, DELAY_LINES, SPEED_LINES = (0.8, 2), (0.2, 2), (0.3, 3)
"""The spectral lines from which the density near zero is estimated: those up to this many Hz, and how many at least."""
ENDS_S = 0.08
"""Time left out at either end of a tone."""
WANDERS_S = 0.5
"""Levels this far apart in time are nearly independent, apart from slow wander."""
CLEAR = 4.0
"""The wander of a ratio is estimated where its power is at least this many times that of its noise."""
DB = 20.0 / float(np.log(10.0))
CHANCE = 4.0
"""Standard deviations by which noise exceeds its own mean density less than once in ten thousand."""


@dataclass(frozen=True, slots=True)
class Wander:
    """Uncertainty of a mean due to wander: standard uncertainties (k = 1), in the unit of the course."""

    within: float = 0.0
    """From wander seen within the tone."""
    slower: float = 0.0
    """From wander slower than the length of the tone."""
    ends: float = 0.0
    """Of the mean of the tone itself, because its ends, with their fades, are left out."""

    @property
    def together(self) -> float:
        """Root of the sum of squares."""
        return float(np.linalg.norm((self.within, self.slower, self.ends)))

    def times(self, factor: float) -> Wander:
        """In another unit."""
        return Wander(self.within * factor, self.slower * factor, self.ends * factor)


def combined(wanders: Sequence[Wander], shares: Sequence[float]) -> Wander:
    """The wander of a weighted sum of courses that wander independently."""

    def spread(sizes: list[float]) -> float:
        return float(np.linalg.norm(np.multiply(shares, sizes)))

    return Wander(*(spread([getattr(w, name) for w in wanders]) for name in ("within", "slower", "ends")))


NONE = Wander()


def means(x: Floats, rate: float) -> tuple[Floats, float]:
    """The course reduced to about `COURSE_HZ` by averaging neighbouring points, and its new rate."""
    few = max(1, round(rate / COURSE_HZ))
    count = len(x) // few
    return np.asarray(x[: count * few].reshape(count, few).mean(axis=1)), rate / few


def of_level(course: Floats, rate: float, noise: float) -> Wander:
    """The wander of a mean level, or of another quantity that wanders like one.

    Args:
        course: evenly spaced, dropouts bridged.
        rate: points a second.
        noise: two-sided density of everything that is not wander, per Hz.
    """
    found = _by_lines(course, rate, noise, LEVEL_LINES, SLOW_LEVEL)
    few = coverage(2 * _count(len(course) / rate, LEVEL_LINES) + 2) / 2.0  # slow wander is estimated apart from this
    return replace(found, within=few * found.within)


def of_ratio(ratios: Complexes, every_s: float, noise_power: float) -> Wander:
    """The wander of the mean size of a ratio of two tones, dB.

    Args:
        ratios: of half-overlapped blocks, in order; where noise hides the size, no wander is found.
        every_s: time from one block to the next.
        noise_power: noise in |ratio|² of one block.
    """
    power = float(np.mean(np.abs(ratios) ** 2)) if len(ratios) else 0.0
    if power < CLEAR * noise_power or not power:
        return NONE
    course = DB * np.log(np.maximum(np.abs(ratios), 1e-3 * np.sqrt(power)))
    return of_level(course, 1.0 / every_s, 1.5 * every_s * 0.5 * DB**2 * noise_power / power)


def of_rising(levels: Floats, every_s: float, seconds: float) -> Wander:
    """The wander of the level at one moment of a tone that rises, steadily or in steps.

    Its size follows from level differences over half a second, relative to their median. The level at one moment is
    uncertain by that much; averaged over longer, it improves with the square root of the time.

    Args:
        levels: evenly spaced, dB.
        every_s: time from one to the next.
        seconds: how much of the tone the level is taken from.
    """
    apart = max(1, round(WANDERS_S / every_s))
    if len(levels) < 3 * apart:
        return NONE
    rise = levels[apart:] - levels[:-apart]
    moves = 1.4826 * median(np.abs(rise - median(rise))) / float(np.sqrt(2.0))
    return Wander(moves / float(np.sqrt(1.0 + seconds / WANDERS_S)), slow_level(moves, seconds))


def slow_level(moves: float, seconds: float) -> float:
    """Uncertainty of a mean level due to wander slower than the tone.

    Args:
        moves: the wander seen within the tone (standard deviation).
        seconds: length of the tone.
    """
    return SLOW_LEVEL * moves * float(np.sqrt(_slow_left(round(seconds, 1))))


def of_delay(course: Floats, rate: float, noise: float) -> Wander:
    """The wander of a mean delay, or phase, between two channels; arguments as for `of_level`."""
    return _by_lines(course, rate, noise, DELAY_LINES, SLOW_DELAY)


def of_speed(course: Floats, rate: float) -> tuple[Wander, float]:
    """The wander of a mean speed, and the standard uncertainty of its drift from end to end.

    Below the rates of the rotating parts, tape speed drifts with a density that falls as 1/f (common practice, no
    source): S(f) = a/f down to `SLOWEST_HZ`, with a from the lowest lines.
    """
    power, hz, seconds = _spectrum(course, rate)
    count = _count(seconds, SPEED_LINES)
    lines, lowest = slice(1, 1 + count), round(SLOWEST_HZ * seconds, 3)
    within, slower, drift = _of_falling(lowest)
    a = 2.0 * float(np.mean(power[lines] * hz[lines]))
    few = coverage(2 * count) / 2.0
    mean = Wander(few * float(np.sqrt(a * within)), few * float(np.sqrt(a * slower)))
    # Drift is not wander: the residue about its straight line shows how steep a line chance alone could draw.
    rest, _, _ = _spectrum(_without_line(course), rate)
    a = 2.0 * float(np.mean(rest[lines] * hz[lines] / _beside_line(lowest, count)))
    few = coverage(2 * count - 1) / 2.0
    return replace(mean, ends=_ends(course, seconds)), few * float(np.sqrt(a * drift))


def _without_line(course: Floats) -> Floats:
    """A course minus the straight line fitted to it."""
    t = np.arange(len(course)) - 0.5 * (len(course) - 1)
    level = course - course.mean()
    return np.asarray(level - t * (level @ t) / (t @ t))


def of_power(course: Floats, rate: float) -> float:
    """Relative standard uncertainty of a mean power due to chance, from a course of powers."""
    if len(course) < 4 or not course.any():
        return 0.0
    power, _, seconds = _spectrum(course, rate)
    count = min(_count(seconds, SPEED_LINES), len(power) - 1)
    few = coverage(2 * count) / 2.0
    return few * float(np.sqrt(np.mean(power[1 : 1 + count]) / seconds) / course.mean())


def wanders(course: Floats, rate: float, noise: float) -> bool:
    """Whether a course moves by more than its noise."""
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
    return Wander(within, float(np.sqrt(left)), _ends(course, seconds))


def _ends(course: Floats, seconds: float) -> float:
    """How far the mean of a whole tone may be from the mean without its ends."""
    return float(np.std(course) * np.sqrt(2.0) * ENDS_S / seconds)


def _spectrum(course: Floats, rate: float) -> tuple[Floats, Floats, float]:
    """Two-sided power density of a course without its mean, the frequencies, and the length in seconds."""
    power = power_of(np.fft.rfft(course - course.mean())) / (len(course) * rate)
    return power, np.asarray(np.fft.rfftfreq(len(course), 1.0 / rate), dtype=np.float64), len(course) / rate


def _count(seconds: float, lines: tuple[float, int]) -> int:
    highest, least = lines
    return max(least, int(highest * seconds))


@lru_cache(maxsize=64)
def _slow_left(seconds: float) -> float:
    """The fraction of the power of slow wander that remains in the mean of a tone; its density falls as 1/√f."""
    hz = np.geomspace(SLOWEST_HZ, SLOW_HZ, 200)
    shape = hz**-0.5
    return float(np.trapezoid(shape * np.sinc(hz * seconds) ** 2, hz) / np.trapezoid(shape, hz))


@lru_cache(maxsize=64)
def _of_falling(lowest: float) -> tuple[float, float, float]:
    """Variances due to a density of 1/f.

    Those of the mean, from rates that complete a cycle within the tone and from slower ones; and that of the change
    from end to end of the straight line fitted to it.

    Args:
        lowest: cycles of the slowest rate within the tone.
    """
    turns = np.geomspace(min(lowest, 0.5), 200.0, 4000)
    mean = np.sinc(turns) ** 2
    # The least-squares slope times the length is 12/T² ∫ t s(t) dt; its response to x cycles within T:
    line = 6.0 / (np.pi * turns) * (np.sinc(turns) - np.cos(np.pi * turns))
    steps = np.log(turns)
    slow = turns < 1.0
    slower = float(np.trapezoid(np.where(slow, mean, 0.0), steps))
    return float(np.trapezoid(mean, steps)) - slower, slower, float(np.trapezoid(line**2, steps))


@lru_cache(maxsize=64)
def _beside_line(lowest: float, count: int) -> Floats:
    """The fraction of a density of 1/f that remains in lines 1, 2, … once the fitted straight line is removed.

    Line k of a course with x cycles within its length is sinc(x − k); the straight line fitted to it removes a part.

    Args:
        lowest: cycles of the slowest rate within the tone.
        count: how many lines.
    """
    turns = np.geomspace(min(lowest, 0.5), 200.0, 4000)
    line = 6.0 / (np.pi * turns) * (np.sinc(turns) - np.cos(np.pi * turns))
    kept = []
    for k in range(1, count + 1):
        taken = (-1) ** k * line / (2.0 * np.pi * k)
        both = (np.sinc(turns - k) + taken) ** 2 + (np.sinc(turns + k) - taken) ** 2
        kept.append(k * float(np.trapezoid(both, np.log(turns))))
    return np.array(kept)
