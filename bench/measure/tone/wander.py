"""Wander of level, delay and speed during a tone, and the resulting uncertainty for the machine.

The mean over a tone is exact only for that stretch of tape. The machine's long-run mean differs from it because of
wander that the tone has not averaged out, most of which is slower than the tone. How far follows from the wander seen
in the tone and the laws that level, delay and speed follow on tape (`wander_laws`).
Source: any text on stationary processes; the budget as in JCGM 100:2008 (GUM), 4.3. The laws are common practice, no
source; `tests/rough_tape` draws from several alternatives to them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product

import numpy as np

from bench.arrays import Complexes, Floats
from bench.measure.tone.baseband import median, power_of
from bench.measure.tone.coherent import coverage
from bench.measure.tone.wander_laws import SLOWEST_HZ, Estimates, Laws, change_of, deviation_of, mean_of

COURSE_HZ = 50.0
"""Approximate points per second of a course; wander is slower than half of this."""
SLOW_HZ, FASTEST_HZ = 0.2, 10.0
"""Wander below the first is called slow; above the second it is noise."""
SLOW_LEVEL, SLOW_EXPONENT = 0.4, 0.7
"""Slow wander of level relative to the wander above `SLOW_HZ`: levels that wander by 0.25 dB have 0.1 dB of slow wander
(common practice, no source). Its density falls with this power of frequency, down to `SLOWEST_HZ`."""
LOWEST_LINES = (0.3, 3)
"""The spectral lines that show the density near zero frequency: highest frequency, and least number."""
WEAVE_BAND_HZ, WEAVE_SLOW = (0.3, 5.0), (0.2, 0.4)
"""The band in which typical weave falls as 1/f, and the relative weave below it (common practice, no source)."""
REEL_HZ = 0.7
"""About how often a reel turns in a second."""
DRIFT_HZ = 0.3
"""Below the rates of rotating parts."""
USUAL, UNUSUAL, USUAL_SPEED = 0.75, 0.12, 0.4
"""Probability that level or delay follows one of its usual laws; that it has slow wander as 1/f or 1/f² of another
strength; and that speed follows one of its usual laws. Our own choice."""
STRENGTHS = (0.4, 1.0, 3.0)
"""Such wander relative to the rest."""
MOST_LEVEL_DB, MOST_WEAVE_S, MOST_SPEED = 0.3, 3e-6, 1.5e-3
"""Wander in the long run beyond which it is less and less likely: that of an average cassette (common practice, no
source). Of level; of the delay between the channels, seconds; of speed, as a fraction."""
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
    laws: Estimates | None = None
    """The estimates under each law, relative to the mean; None without wander, or if it is not of a single course."""

    @property
    def sizes(self) -> tuple[float, float, float, float]:
        """The uncertainties."""
        return self.within, self.slower, self.ends, self.dropouts

    @property
    def total(self) -> float:
        """Root of the sum of squares."""
        return float(np.linalg.norm(self.sizes))

    def times(self, factor: float) -> Wander:
        """The same, scaled to another unit."""
        return combined([self], [factor])


def combined(wanders: Sequence[Wander], shares: Sequence[float]) -> Wander:
    """The wander of a weighted sum of independent courses."""
    sizes = [share * np.array(w.sizes) for w, share in zip(wanders, shares, strict=True)]
    return Wander(*np.linalg.norm(sizes, axis=0).tolist())


NONE = Wander()


def evidence(wanders: Sequence[Wander]) -> Floats:
    """The logarithm of the likelihood of each law that several courses show together; 0 if none of them wanders.

    Args:
        wanders: of courses that share much of their wander, so that all of them count as one.
    """
    shown = [w.laws.likelihoods for w in wanders if w.laws is not None]
    return np.asarray(np.mean(shown, axis=0) if shown else np.zeros(1))


def with_evidence(found: Wander, likelihoods: Floats, *, plain: bool = True) -> tuple[float, Wander]:
    """The wander of a mean after other courses have shown the law of the machine.

    Args:
        found: from the course of this mean alone.
        likelihoods: further logarithms of the laws' likelihoods.
        plain: whether the mean stays as it is, instead of becoming the best.

    Returns:
        The change of the mean, and its wander.
    """
    if found.laws is None:
        return 0.0, found
    laws = found.laws.with_evidence(likelihoods)
    off = 0.0 if plain else laws.mean
    wander = _split(laws.about(off), float(np.hypot(found.ends, off)))
    return off, replace(wander, dropouts=found.dropouts)


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
    return _of_mean(course, rate, noise, level_laws, MOST_LEVEL_DB)


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


def of_delay(course: Floats, rate: float, noise: float, unit_s: float) -> tuple[float, Wander]:
    """The long-run mean of the delay, or phase, between two channels, relative to the plain mean, and its uncertainty.

    The difference between the two is an uncertainty of the mean of this tone itself. Arguments as for `of_level`, and
    `unit_s`, the delay in seconds of which the course counts the multiples.
    """
    return with_evidence(_of_mean(course, rate, noise, delay_laws, MOST_WEAVE_S / unit_s), np.zeros(1), plain=False)


def of_weave(own: float, found: Wander, seconds: float) -> float:
    """Standard uncertainty of the standard deviation of a delay, as that of the machine in the long run.

    Args:
        own: standard deviation in one stretch, corrected for noise.
        found: wander of the mean delay of that stretch.
        seconds: its length.
    """
    return 0.0 if found.laws is None else deviation_of(own, found.laws, seconds, delay_laws).uncertainty(own)


def of_speed(course: Floats, rate: float, nominal: float) -> tuple[Wander, float]:
    """Uncertainty of a mean speed due to wander, and standard uncertainty of its drift from end to end.

    The drift is that of the least-squares straight line through the course.

    Args:
        course: evenly spaced, in the unit of `nominal`.
        rate: points per second.
        nominal: what the course would be at nominal speed, were it not counted from there.
    """
    most = MOST_SPEED * nominal
    estimates = mean_of(course, rate, 0.0, speed_laws, most)
    t = (np.arange(len(course)) - 0.5 * (len(course) - 1)) / len(course)
    drift = float(course @ t / (t @ t))
    ends = _ends(course, len(course) / rate, SPEED_ENDS_S)
    return _split(estimates.about(float(course.mean())), ends), change_of(course, rate, speed_laws, most).uncertainty(
        drift
    )


def of_power(course: Floats, rate: float) -> float:
    """Relative standard uncertainty of the mean of a course of powers."""
    if len(course) < 4 or not course.any():
        return 0.0
    count = min(_count(len(course) / rate, LOWEST_LINES), len(course) // 2)
    return coverage(2 * count) / 2.0 * of_lowest(course, rate) / float(course.mean())


def of_lowest(course: Floats, rate: float) -> float:
    """Standard deviation of the mean of a course whose density near zero frequency is that of its lowest lines."""
    power, _, seconds = _spectrum(course, rate)
    return float(np.sqrt(np.mean(power[1 : 1 + _count(seconds, LOWEST_LINES)]) / seconds))


def wanders(course: Floats, rate: float, noise: float) -> bool:
    """Whether a course moves significantly more than its noise."""
    power, hz, _ = _spectrum(course, rate)
    low = power[1:][hz[1:] < FASTEST_HZ]
    few = low[:6]
    return any(float(x.mean()) > noise * (1.0 + SIGNIFICANT / np.sqrt(len(x))) for x in (low, few) if len(x))


def _of_mean(course: Floats, rate: float, noise: float, laws: Laws, most: float) -> Wander:
    """The uncertainty of the plain mean of a course due to wander; arguments as for `mean_of`."""
    if len(course) < 8 or not wanders(course, rate, noise):
        return NONE
    estimates = mean_of(course, rate, noise, laws, most).about(float(course.mean()))
    return _split(estimates, _ends(course, len(course) / rate, ENDS_S))


def _split(laws: Estimates, ends: float) -> Wander:
    """The uncertainty of a mean, divided into that due to wander seen within the tone and to slower wander.

    Args:
        laws: the estimates under each law, relative to the mean.
        ends: uncertainty from the ends of the tone.
    """
    total, slower = laws.uncertainty(0.0), laws.of_slower
    return Wander(total * float(np.sqrt(1.0 - slower)), total * float(np.sqrt(slower)), ends, laws=laws)


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


def level_laws(hz: Floats) -> list[tuple[float, Floats]]:
    """Level: low-pass noise with its corner at 0.5 to 3 Hz, and slower wander; or, less often, other slow wander."""
    usual = []
    for corner_hz, steepness, exponent in product((0.5, 1.2, 3.0), (2.0, 3.5), (0.0, 1.0)):
        fast = _of_power(hz, _knee(hz, corner_hz, steepness) * ((hz > SLOW_HZ) & (hz < FASTEST_HZ)), 1.0)
        usual.append(fast + _of_power(hz, hz**-exponent * (hz <= SLOW_HZ), SLOW_LEVEL))
    return _mostly(usual, _of_power(hz, _knee(hz, 1.2, 2.0) * (hz < FASTEST_HZ), 1.0), hz)


def delay_laws(hz: Floats) -> list[tuple[float, Floats]]:
    """Delay between two tracks: weave as 1/f from 0.3 to 5 Hz, or with the turns of a reel; or other slow wander."""
    low, high = WEAVE_BAND_HZ
    fast = _of_power(hz, ((hz > low) & (hz < high)) / hz, 1.0)
    below = np.asarray(hz <= low, dtype=np.float64)
    usual = [fast + _of_power(hz, below, slow) for slow in WEAVE_SLOW]
    turn = _of_power(hz, np.exp(-((np.log2(hz / REEL_HZ)) ** 2)), 1.0) + 0.01 * usual[0]
    return _mostly([*usual, _knee(hz, low, 1.2), turn], fast, hz)


def speed_laws(hz: Floats) -> list[tuple[float, Floats]]:
    """Speed: about 1/f, with more, less or steeper drift below the rates of rotating parts; or 1/f⁰ to 1/f²."""
    usual = [hz**-p * np.where(hz < DRIFT_HZ, more, 1.0) for p, more in product((0.8, 1.2), (0.3, 1.0, 3.0))]
    usual += [np.where(hz < DRIFT_HZ, more * DRIFT_HZ / hz**2, 1.0 / hz) for more in (0.1, 1.0)]
    return [*_equally(USUAL_SPEED, usual), *_equally(1.0 - USUAL_SPEED, [hz**-p for p in (0.0, 0.5, 1.6, 2.0)])]


def _mostly(usual: list[Floats], fast: Floats, hz: Floats) -> list[tuple[float, Floats]]:
    """Usual laws; fast wander with slower wander of any strength; and laws that are flat up to a corner."""
    slower = [fast + _of_power(hz, hz**-p * (hz < FASTEST_HZ), rms) for p, rms in product((1.0, 2.0), STRENGTHS)]
    corners = [_knee(hz, corner_hz, 2.0) for corner_hz in (0.02, 0.06, 0.2, 0.6)]
    shares = _equally(USUAL, usual), _equally(UNUSUAL, slower), _equally(1.0 - USUAL - UNUSUAL, corners)
    return [law for laws in shares for law in laws]


def _equally(probability: float, laws: list[Floats]) -> list[tuple[float, Floats]]:
    """Laws that together have this probability."""
    return [(probability / len(laws), x) for x in laws]


def _knee(hz: Floats, corner_hz: float, steepness: float) -> Floats:
    return np.asarray(1.0 / (1.0 + (hz / corner_hz) ** steepness))


def _of_power(hz: Floats, density: Floats, rms: float) -> Floats:
    """A density scaled to this rms."""
    return np.asarray(density * rms**2 / np.trapezoid(density, hz))
