"""Frequency from a phase: a least-squares straight line, fitted together with flutter lines.

Model: φ(t) = a + 2π f t + π d t² / T + Σ [c cos 2π g t + s sin 2π g t], where g are the rates of the flutter lines
that stand out in the spectrum of the phase. Without flutter this is the least-squares slope, which attains the
Cramér-Rao bound (Kay, IEEE Trans. ASSP-37, 1989); with flutter, the error of a plain slope is far larger than noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bench.arrays import Floats
from bench.measure.tone import wander
from bench.measure.tone.baseband import floor_of, weighted_line
from bench.measure.tone.wander import NONE, Wander

MOST_POINTS = 3000
MOST_RATES = 12
"""The most points and rates of one fit; more take long and add little."""
STANDS_OUT = 14.0
"""The least ratio of the power of a flutter line to the floor of the phase's spectrum; our own choice."""
HIGHEST_HZ = 100.0
"""Faster flutter hardly affects a slope."""
FLAT_HZ = 200.0
"""The power spectral density of phase noise is flat up to here."""
ENDS = 12
"""Points at each end of a stretch through which a straight line gives the phase at the end."""
WANDER_CYCLES = 4.0
"""Flutter with more cycles within the stretch does not count as wander of speed."""
SLOW_TURNS = 1.3
"""Flutter with fewer cycles within the stretch is fitted instead of drift, because the two cannot be separated."""
APART_TURNS = 0.8
"""Two rates nearer than this, in cycles within the stretch, cannot be separated."""
SEARCH_PENALTY, PARTIAL_PENALTY = 0.05, 0.5
"""Relative increase of the standard deviation if rates were searched for, and if one of them has no full cycle, so that
the fit relies on its being a pure sine."""
RAISED_RATIO, WANDER_RATIO = 2.4, 1.8
"""The lowest nine bins of a residual, or those of `WANDER`, exceed its noise by these ratios once in a thousand."""
WANDER = slice(2, 26)
"""The bins, in cycles within the tone, in which wander of speed is detected."""
MOST_FLUTTER = 0.006
"""The largest peak deviation of one rate that counts as flutter, as a fraction of the tone's frequency."""
LOWEST_TURNS, SEARCHED_TURNS = 0.25, 2.2
"""Below the second, in cycles within the stretch, a spectrum is too coarse, so rates down to the first are tried in
turn."""


@dataclass(frozen=True, slots=True)
class Slope:
    """Frequency and drift from a phase; deviations are standard uncertainties."""

    frequency_hz: float
    deviation_hz: float
    drift_hz: float
    """End minus start."""
    drift_deviation_hz: float
    wander_hz: Wander = NONE
    """Uncertainty of the machine's frequency due to wander."""


def fit_rates(phase: Floats, rate: float, reach_hz: float, tone_hz: float) -> list[float]:
    """The rates of the flutter lines in a phase.

    Args:
        phase: unwrapped, radians, evenly spaced.
        rate: points per second.
        reach_hz: bandwidth of the phase noise.
        tone_hz: frequency of the tone, of which flutter is a small fraction.
    """
    t, y, step = _thinned(phase, rate)
    seconds = step * len(y)
    rates: list[float] = []
    if len(y) < 40:
        return rates
    window = np.hanning(len(y) + 2)[1:-1]
    size = 1 << (4 * len(y) - 1).bit_length()
    hz = np.fft.rfftfreq(size, step)
    allowed = (hz > 0.5 / seconds) & (hz < min(0.45 / step, 0.95 * reach_hz, HIGHEST_HZ))
    while len(rates) < MOST_RATES:
        values, design = _solve(t, y, rates)
        power = np.abs(np.fft.rfft((y - design @ values) * window, size)) ** 2
        power[~allowed] = 0.0
        k = int(np.argmax(power))
        if power[k] < STANDS_OUT * floor_of(power[allowed][::4]):
            break
        found = float(hz[k])
        if found * seconds < SEARCHED_TURNS:
            found = _best_slow_rate(t, y, rates)
        more = _refined(t, y, [*rates, found], 2)
        if not _plausible(t, y, more, tone_hz):
            break
        rates = more
    if not rates:
        return rates
    finer = _refined(t, y, rates, 3)
    return finer if _plausible(t, y, finer, tone_hz) else rates


def _plausible(t: Floats, y: Floats, rates: list[float], tone_hz: float) -> bool:
    """Whether a fit is plausible flutter: separate rates, at most one of them slow, and a deviation within limits."""
    seconds = (t[1] - t[0]) * len(t)
    turns = sorted(g * seconds for g in rates)
    if len(turns) > 1 and (min(np.diff(turns)) < APART_TURNS or turns[1] < SLOW_TURNS):
        return False
    values, _ = _solve(t, y, rates)
    most = 2 * np.pi * MOST_FLUTTER * tone_hz
    swings = [2 * np.pi * g * np.hypot(*values[2 + 2 * n : 4 + 2 * n]) for n, g in enumerate(rates)]
    return max(swings, default=0.0) < most and abs(values[1] - np.polyfit(t, y, 1)[0]) < most


def _best_slow_rate(t: Floats, y: Floats, rates: list[float]) -> float:
    """The slow rate that, added to the others, leaves the least residual."""
    seconds = (t[1] - t[0]) * len(t)
    best, least = 0.0, np.inf
    for turns in np.arange(LOWEST_TURNS, SEARCHED_TURNS, 0.07):
        values, design = _solve(t, y, [*rates, turns / seconds])
        left = float(np.sum((y - design @ values) ** 2))
        if left < least:
            best, least = float(turns) / seconds, left
    return best


def modelled(phase: Floats, rate: float, rates: list[float]) -> Floats:
    """The fitted phase at every point: straight line, drift and flutter of these rates, without noise.

    Args:
        phase: unwrapped, radians, evenly spaced.
        rate: points per second.
        rates: of the flutter lines, from `fit_rates`.
    """
    t, y, step = _thinned(phase, rate)
    values, _ = _solve(t, y, rates)
    # A block mean attenuates a line by sinc(rate × block).
    for n, g in enumerate(rates):
        values[2 + 2 * n : 4 + 2 * n] /= np.sinc(g * step)
    first = t[0] - 0.5 * step + 0.5 / rate
    points = first + np.arange(len(phase)) / rate
    design = _columns(points, rates)
    if len(values) > len(design):
        design.append(points * points - np.mean(t * t))
    return np.asarray(values @ np.stack(design))


def slope(phase: Floats, rate: float, rates: list[float], reach_hz: float, oscillator_hz: float) -> Slope:
    """Frequency and drift of a phase.

    Args:
        phase: unwrapped, radians, evenly spaced.
        rate: points per second.
        rates: of the flutter lines, from `fit_rates`.
        reach_hz: bandwidth of the phase noise.
        oscillator_hz: the frequency that was shifted to zero.
    """
    t, y, step = _thinned(phase, rate)
    seconds = step * len(y)
    straight = [g for g in rates if g * seconds >= SLOW_TURNS]
    values, deviations, wandering = _fitted(t, y, rates, reach_hz)
    frequency = values[1], deviations[1]
    if straight != rates:
        values, deviations, _ = _fitted(t, y, straight, reach_hz)
    if wandering:
        wandered = _of_wandering(phase, rate, [g for g in rates if g * seconds >= WANDER_CYCLES], oscillator_hz)
        if wandered is not None:
            return wandered
    drift = values[-1] * seconds / np.pi, deviations[-1] * seconds / np.pi
    return Slope(float(frequency[0] / (2 * np.pi)), float(frequency[1] / (2 * np.pi)), float(drift[0]), float(drift[1]))


def _of_wandering(phase: Floats, rate: float, turning: list[float], oscillator_hz: float) -> Slope | None:
    """Frequency and drift of a wandering speed: its mean over the stretch, from the phases at both ends.

    None if its wander is less than the noise of those phases.

    Args:
        phase: unwrapped, radians, evenly spaced.
        rate: points per second.
        turning: rates of flutter that is subtracted before wander is estimated.
        oscillator_hz: the frequency that was shifted to zero.
    """
    t, y, step = _thinned(phase, rate)
    values, design = _solve(t, y, turning)
    plain = y - design[:, 2 : 2 + 2 * len(turning)] @ values[2 : 2 + 2 * len(turning)]
    course, course_rate = wander.means(np.diff(plain) / (2 * np.pi * step), 1.0 / step)
    seconds = len(course) / course_rate
    at: Floats = (np.arange(len(course), dtype=np.float64) - (len(course) - 1) / 2) / course_rate
    slope_hz, _ = weighted_line(at, course, np.ones(len(course)))
    # Noise of the phase at both ends: that of a line through a few points, half a point outside them.
    rough = phase[1:-1] - 0.5 * (phase[:-2] + phase[2:])
    noise = float(np.sqrt(8.0 / ENDS * np.mean(rough**2) / 1.5)) / (2 * np.pi * seconds)
    if wander.of_lowest(course, course_rate) < noise:
        return None
    hz = mean_hz(phase, rate)
    open_, drift = wander.of_speed(course, course_rate, oscillator_hz + hz)
    return Slope(hz, noise, slope_hz * seconds, drift, open_)


def mean_hz(phase: Floats, rate: float) -> float:
    """The mean frequency over a stretch, from half a point before its first point to half a point after its last.

    Args:
        phase: unwrapped, radians, evenly spaced.
        rate: points per second.
    """
    few = min(ENDS, len(phase) // 4)
    t: Floats = np.arange(few, dtype=np.float64) + 0.5
    evenly = np.ones(few)
    _, start = weighted_line(t, phase[:few], evenly)
    _, end = weighted_line(t, phase[-1 : -few - 1 : -1], evenly)
    return (end - start) / (2 * np.pi * len(phase) / rate)


def _fitted(t: Floats, y: Floats, rates: list[float], reach_hz: float) -> tuple[Floats, Floats, bool]:
    """The values of the fit, their standard deviations from the noise density, and whether the speed wanders."""
    seconds = (t[1] - t[0]) * len(t)
    design = _design(t, rates)
    values, cofactors = _least_squares(design, y)
    residual = y - design @ values
    if rates:
        cofactors = _least_squares(_full_design(t, values, design, rates), residual)[1][: len(values)]
    power = np.abs(np.fft.rfft(residual)) ** 2 / len(y)
    floor = floor_of(power[1 : max(8, int(min(0.95 * reach_hz, FLAT_HZ) * seconds))])
    # Flutter without distinct lines raises the lowest part of the spectrum, which affects the slope.
    taken = 2 + 2 * sum(g * seconds < 10 for g in rates)
    lowest = power[1:10]
    near = float(lowest.sum()) / max(1.0, len(lowest) - taken / 2)
    raised = near > RAISED_RATIO * floor
    doubt = 1.0 + SEARCH_PENALTY * bool(rates) + PARTIAL_PENALTY * any(g * seconds < SLOW_TURNS for g in rates)
    return values, np.asarray(doubt * np.sqrt(floor * cofactors)), raised or _wanders(power, floor)


def _wanders(power: Floats, floor: float) -> bool:
    """Whether the low end of a residual's spectrum exceeds its noise."""
    return float(power[WANDER].mean()) > WANDER_RATIO * floor


def rough_slope(phase: Floats, rate: float, reach_hz: float) -> Slope:
    """An approximate slope: a straight line without fitting flutter."""
    t, y, step = _thinned(phase, rate)
    power = float(np.sum(t * t))
    turn = float(np.sum(t * y)) / power
    rest = y - y.mean() - turn * t
    spectrum = np.abs(np.fft.rfft(rest)) ** 2 / len(y)
    noise = float(np.mean(spectrum[1 : max(4, int(min(0.95 * reach_hz, FLAT_HZ) * step * len(y)))]))
    return Slope(turn / (2 * np.pi), float(np.sqrt(noise / power)) / (2 * np.pi), 0.0, 0.0)


def _thinned(phase: Floats, rate: float) -> tuple[Floats, Floats, float]:
    """Block means, with time counted from the middle, and their interval."""
    block = max(8, -(-len(phase) // MOST_POINTS))
    count = len(phase) // block
    y = phase[: count * block].reshape(count, block).mean(axis=1)
    step = block / rate
    return np.asarray(step * (np.arange(count) - (count - 1) / 2), dtype=np.float64), y, step


def _columns(t: Floats, rates: list[float]) -> list[Floats]:
    """Constant, slope, and cosine and sine of each rate."""
    columns = [np.ones_like(t), t]
    for g in rates:
        columns += [np.cos(2 * np.pi * g * t), np.sin(2 * np.pi * g * t)]
    return columns


def _design(t: Floats, rates: list[float]) -> Floats:
    """Those columns, and drift unless a rate is slow."""
    columns = _columns(t, rates)
    if all(g * (t[1] - t[0]) * len(t) >= SLOW_TURNS for g in rates):
        columns.append(t * t - np.mean(t * t))
    return np.stack(columns, axis=1)


def _solve(t: Floats, y: Floats, rates: list[float]) -> tuple[Floats, Floats]:
    """Values and design matrix of the linear part."""
    design = _design(t, rates)
    return _least_squares(design, y)[0], design


def _least_squares(design: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Values, and the diagonal of the cofactor matrix, from the normal equations of normalised columns."""
    norm = np.linalg.norm(design, axis=0) + 1e-300
    scaled = design / norm
    inverse = np.linalg.pinv(scaled.T @ scaled, rcond=1e-11, hermitian=True)
    return np.asarray(inverse @ (scaled.T @ y) / norm), np.asarray(np.diag(inverse) / norm**2)


def _full_design(t: Floats, values: Floats, design: Floats, rates: list[float]) -> Floats:
    """The design matrix with the derivatives by each rate, since the rates are unknowns too."""
    if not rates:
        return design
    columns = []
    for n, g in enumerate(rates):
        c, s = values[2 + 2 * n], values[3 + 2 * n]
        angle = 2 * np.pi * g * t
        columns.append(2 * np.pi * t * (s * np.cos(angle) - c * np.sin(angle)))
    return np.concatenate([design, np.stack(columns, axis=1)], axis=1)


def _refined(t: Floats, y: Floats, rates: list[float], turns: int) -> list[float]:
    """The rates after some Gauss-Newton steps."""
    seconds = (t[1] - t[0]) * len(t)
    for _ in range(turns if rates else 0):
        values, design = _solve(t, y, rates)
        step, _ = _least_squares(_full_design(t, values, design, rates), y - design @ values)
        moves = np.clip(step[design.shape[1] :], -0.3 / seconds, 0.3 / seconds)
        rates = [max(LOWEST_TURNS / seconds, g + float(m)) for g, m in zip(rates, moves, strict=True)]
    return rates
