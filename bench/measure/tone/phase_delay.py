"""The delay between the channels that fits the phases of several tones.

A single tone leaves the number of whole cycles ambiguous. Several tones resolve it together, from the lowest frequency
upwards: of all delays that they allow, the most probable is chosen. Short delays are more likely than long ones, and
unequal equalisation of the channels shifts their phases by some fraction of the minimum phase of their difference in
level over frequency. A difference caused by spacing, gap or gain shifts no phase.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bench.arrays import Floats
from bench.measure.tone.coherent import coverage
from bench.measure.tone.estimate import PhasePair
from bench.tape.minimum_phase import phase_of_levels

PLAUSIBLE_S = 400e-6
"""The longest delay considered: more than a degree of azimuth on a cassette."""
CIRCUIT_RAD = 0.15
"""Standard deviation of the phase difference that heads and amplifiers add at one tone; common practice, no source."""
LARGEST_MISFIT_RAD = 4 * CIRCUIT_RAD
"""The largest phase error with which a delay still fits a tone."""
UNLIKE_DB = 1.0
"""If the level difference of the channels varies by less than this over the tones, they count as equally equalised. It
shifts the phase by 3° at most."""
SAME_TONE = 0.03
"""Tones that differ in frequency by a smaller fraction count as one."""
TURN_SHARE, TURN_ERROR = 0.5, 0.25
"""Standard deviations: of the fraction of the minimum-phase shift that is present; and of the error of what is present
at each tone, relative to it, because levels are known only at the tones. Common practice, no source."""
USUAL_S = 150e-6
"""Standard deviation of the delays found before azimuth is set; common practice, no source."""
INVERTED_COST = 6.0
"""Prior cost of inverted polarity, in squared standard deviations."""
ALTERNATIVE_COST = 4.0
"""A delay counts as an alternative if its cost exceeds that of the best one by less, in squared standard deviations."""


@dataclass(frozen=True, slots=True)
class Delay:
    """The delay that fits all tones."""

    seconds: float
    uncertainty: float
    inverted: bool
    """Whether one channel's polarity is inverted."""
    suits: bool
    """Whether one delay fits all tones."""
    others: tuple[float, ...]
    """Other plausible delays that fit, seconds, not counting those with inverted polarity."""
    unequal: float = 0.0
    """Contribution of unequal equalisation of the channels to the uncertainty, seconds."""


def resolve(
    pairs: Sequence[PhasePair], *, balance_db: Sequence[float] | None = None, inverted: bool | None = None
) -> Delay:
    """Resolve the number of whole cycles and the polarity, then combine the tones.

    Args:
        pairs: one for each tone, at least one.
        balance_db: level of the right channel re the left at each tone; None if not known.
        inverted: whether one channel is inverted, if that is known already.
    """
    order = sorted(range(len(pairs)), key=lambda n: pairs[n].frequency_hz)
    pairs = [pairs[n] for n in order]
    turns = np.array([2 * np.pi * p.frequency_hz for p in pairs])
    lags = np.array([p.lag_rad for p in pairs])
    spread = np.array([max(p.uncertainty_rad, 1e-9) for p in pairs])
    own = unequal_lag(turns, np.array([balance_db[n] for n in order])) if balance_db else np.zeros(len(pairs))
    far = max(PLAUSIBLE_S, 1.5 * 2 * np.pi / turns[0])
    found: list[tuple[float, float, float, bool]] = []
    for turned_round in (False, True) if inverted is None else (inverted,):
        turned = lags - np.pi if turned_round else lags
        for known in _delays(turned, turns, (turns / np.hypot(spread, 2 * CIRCUIT_RAD)) ** 2, far):
            off = turned - known * turns
            off -= 2 * np.pi * np.round(off / (2 * np.pi))
            cost, worst = _misfit(off, own, spread)
            cost += (known / USUAL_S) ** 2 + turned_round * INVERTED_COST
            found.append((cost, known, worst, turned_round))
    near = [f for f in found if abs(f[1]) <= PLAUSIBLE_S]
    good = sorted(f for f in near if f[2] < LARGEST_MISFIT_RAD)
    least, seconds, _, round_the_wrong_way = good[0] if good else min(near or found)
    off = lags - np.pi * round_the_wrong_way - seconds * turns
    off -= 2 * np.pi * np.round(off / (2 * np.pi))
    seconds, off, uncertainty = _averaged(seconds, off, turns, spread)
    unequal = 0.0
    chi, unlikely = _chi(off, spread), _unlikely(max(1, len(pairs) - 1))
    if own.any() and chi > unlikely:
        alike = uncertainty
        for _ in range(2):
            late, share, uncertainty = _with_share(off, turns, own, spread)
            spread = np.hypot(spread, 2 * TURN_ERROR * share * own)
        seconds, off = seconds + late, off - late * turns - share * own
        unequal = float(np.sqrt(max(0.0, uncertainty**2 - alike**2)))
        chi = _chi(off, spread)
    if len(pairs) > 1 and chi > unlikely:
        spread = np.hypot(spread, 2 * _scatter(off, turns, spread))
        seconds, off, alike = _averaged(seconds, off, turns, spread)
        uncertainty = float(np.hypot(alike * coverage(len(pairs) - 1) / 2.0, unequal))
    others = tuple(f[1] for f in good[1:] if len(pairs) == 1 or f[0] < least + ALTERNATIVE_COST)
    return Delay(seconds, uncertainty, round_the_wrong_way, bool(good), others, unequal)


def unequal_lag(turns: Floats, balance_db: Floats) -> Floats:
    """Lag of the right channel due to unequal equalisation, radians; 0 if the channels are alike.

    Args:
        turns: angular frequencies, radians per second, rising, shape (n,).
        balance_db: level of the right channel re the left, same shape.
    """
    if np.ptp(balance_db) < UNLIKE_DB:
        return np.zeros(turns.size)
    hz = turns / (2 * np.pi)
    first = np.flatnonzero(np.diff(hz, prepend=0.0) > SAME_TONE * hz)
    count = np.diff([*first, hz.size])
    return -phase_of_levels(hz, np.add.reduceat(hz, first) / count, np.add.reduceat(balance_db, first) / count)


def _averaged(seconds: float, off: Floats, turns: Floats, spread: Floats) -> tuple[float, Floats, float]:
    """A delay corrected by the weighted mean of its residual phases, what it leaves of them, and its uncertainty."""
    weights = (turns / spread) ** 2
    late = float(np.sum(weights * off / turns) / weights.sum())
    return seconds + late, off - late * turns, 1.0 / float(np.sqrt(weights.sum()))


def _scatter(off: Floats, turns: Floats, spread: Floats) -> float:
    """Standard deviation, radians, of what heads and amplifiers add to each phase, so that χ² is as expected."""
    low, high = 0.0, float(np.max(np.abs(off)))
    for _ in range(30):
        middle = (low + high) / 2
        wider = np.hypot(spread, 2 * middle)
        low, high = (middle, high) if _chi(_averaged(0.0, off, turns, wider)[1], wider) > 1.0 else (low, middle)
    return high


def _misfit(off: Floats, own: Floats, spread: Floats) -> tuple[float, float]:
    """Cost of the residual phases of a delay in squared standard deviations, and the largest of them, radians.

    The fraction of `own` that is present is not known beforehand; it is the most probable one.

    Args:
        off: the residual phases, radians.
        own: lag due to unequal equalisation.
        spread: expanded uncertainty of each phase.
    """
    precision = 1.0 / (CIRCUIT_RAD**2 + (spread / 2) ** 2)
    share = float(np.sum(own * precision * off) / (np.sum(own**2 * precision) + TURN_SHARE**-2))
    left = off - share * own
    return float(np.sum(left**2 * precision)) + (share / TURN_SHARE) ** 2, float(np.max(np.abs(left) - 1.5 * spread))


def _with_share(off: Floats, turns: Floats, own: Floats, spread: Floats) -> tuple[float, float, float]:
    """Correction of the delay, with the fraction of `own` fitted too.

    Args:
        off: the residual phases of a delay, radians.
        turns: angular frequencies, radians per second.
        own: lag due to unequal equalisation.
        spread: expanded uncertainty of each phase.

    Returns:
        The further delay, seconds; the share; the expanded uncertainty of the delay.
    """
    design = np.stack((turns, own), axis=1)
    weighted = design / (spread[:, None] / 2) ** 2
    covariance = np.linalg.inv(design.T @ weighted + np.diag([0.0, TURN_SHARE**-2]))
    late, share = covariance @ weighted.T @ off
    return float(late), float(share), 2 * float(np.sqrt(covariance[0, 0]))


def _chi(off: Floats, spread: Floats) -> float:
    """Reduced χ² of what a delay leaves of the phases."""
    return float(np.sum((2.0 * off / spread) ** 2)) / max(1, off.size - 1)


def _delays(lags: Floats, turns: Floats, weights: Floats, far: float) -> list[float]:
    """The delays that the tones allow, from the lowest frequency upwards, with every number of cycles still possible.

    Args:
        lags: phase lag of each tone, radians.
        turns: angular frequencies, radians per second, rising.
        weights: inverse square of the expanded uncertainty of each tone's delay.
        far: the longest delay, seconds.
    """
    cycles = int(np.ceil(far * turns[0] / (2 * np.pi))) + 1
    ways = [((lags[0] + 2 * np.pi * m) / turns[0], weights[0]) for m in range(-cycles, cycles + 1)]
    for i in range(1, len(lags)):
        more = []
        for known, w in ways:
            reach = LARGEST_MISFIT_RAD + 3.0 * turns[i] * np.hypot(0.5 / np.sqrt(w), CIRCUIT_RAD / turns[i - 1])
            off = known * turns[i] - lags[i]
            low, high = np.ceil((off - reach) / (2 * np.pi)), np.floor((off + reach) / (2 * np.pi))
            for n in range(int(low), int(high) + 1) if high >= low else [round(off / (2 * np.pi))]:
                here = (lags[i] + 2 * np.pi * n) / turns[i]
                if abs(here) <= far:
                    more.append(((known * w + here * weights[i]) / (w + weights[i]), w + weights[i]))
        ways = more or ways
    # Candidates that arrive at the same delay differ only by rounding.
    return list({round(1e9 * known): float(known) for known, _ in ways if abs(known) <= far}.values())


def _unlikely(freedom: int) -> float:
    """Reduced χ² that is exceeded by chance once in a thousand (Wilson and Hilferty's approximation)."""
    a = 2.0 / (9.0 * freedom)
    return float((1.0 - a + 3.09 * np.sqrt(a)) ** 3)
