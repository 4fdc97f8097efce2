"""Azimuth from programme: the delay between the channels, from music or speech without a tone.

Formula
    Cross-spectrum S(f) = <conj(L) R> over segments with 50 % overlap under a Hann window; coherence
    γ² = |S|² / (<|L|²><|R|²>). The common component of the channels has the phase −2πfτ, where τ is the delay of the
    right channel. τ maximises |Σ w cos(arg S + 2πfτ)|, w = γ²/(1−γ²): first on a grid, then by a weighted straight line
    through the phases. A negative sum shows that one channel is inverted, which is taken out. If the phases agree
    with no delay, or with two almost as well, there is no reading. Components that the channels do not share (a wide
    stereo image) have low coherence and little weight. Unequal equalisation of the channels shifts the phase too, by
    the minimum phase of their difference in level. A panned instrument makes a difference in level without a phase
    shift. So the fraction of that shift is fitted together with τ, and its remaining uncertainty is included.
Unit and reference
    µs, positive when the right channel is late.
Source
    Delay from the phase of the cross-spectrum, weighted by coherence: textbook practice (Knapp and Carter, IEEE
    Trans. ASSP-24, 1976, the maximum-likelihood weighting; from memory).
Accuracy
    Variance of a phase (1−γ²)/(2Kγ²) for K independent segments, increased by the actual scatter of the phases about
    the line, so that stereo effects that delay one channel contribute to the uncertainty.
"""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from itertools import pairwise

import numpy as np

from bench.arrays import Complexes, Floats
from bench.measure.meters import Options
from bench.measure.method import Method
from bench.measure.reading import Measured, NoReading, Reading, Result, budget_of
from bench.measure.signal.blocks import Samples
from bench.tape.minimum_phase import phase_of_levels

LOWEST_HZ, HIGHEST_HZ = 300.0, 12500.0
"""Below this range the phase of a few µs is too small; above it there is mainly hiss, which is independent in the
channels."""
LONGEST_US = 400.0
"""The longest delay in the search range: about 70 minutes of arc on a cassette."""
SHARED = 0.2
"""Least coherence of a spectral line that is used."""
LEAST_LINES = 40
MOST_WEIGHT = 3.0
"""Greatest weight of a spectral line: a held note may be out of phase on purpose."""
AGREED = 0.5
"""Least |Σ w cos| / Σ w: with one octave of programme, a wrong delay reaches 0.49. A choice."""
SECOND = 0.8
"""Another delay that agrees this well, compared with the best, is as possible. A choice."""
NEAR_RAD = 1.5
"""A phase further than this from the straight line is due to the stereo image, not to the head."""
INDEPENDENT = 0.53
"""Equivalent fraction of independent segments for Hann windows with 50 % overlap (Welch 1967, from memory)."""
SEGMENT_S = 0.085
START_S = 0.25
"""The first sound is left out: a machine that starts clicks, and the end of what played before may still be heard."""
BANDS_HZ = tuple(np.geomspace(LOWEST_HZ, HIGHEST_HZ, 12).tolist())
"""Edges of the bands, about half an octave wide, in which the channels' levels are compared."""
LIKELY_SHARE, SHARE_SPREAD = 0.75, 0.5
"""Prior of the fraction of the minimum-phase shift that is present, and its standard deviation: all of it if amplifiers
differ, none if music or spacing does. Common practice, no source."""
METHOD = Method("phase of the cross-spectrum of programme, weighted by coherence")


class ProgrammeMeter:
    """`azimuth_delay` of any programme. Options: none.

    Args:
        sample_rate: frames per second.
        channels: 1 or 2.
        options: not used.
        last_s: length of the most recent input that counts, seconds; None for all.
    """

    def __init__(
        self, sample_rate: float, channels: int, options: Options | None = None, *, last_s: float | None = None
    ) -> None:
        self._rate, self._channels = sample_rate, channels
        self._size = 1 << round(np.log2(SEGMENT_S * sample_rate))
        self._keep = None if last_s is None else max(4, round(last_s * sample_rate / (self._size // 2)))
        self._window = np.hanning(self._size)
        self._rest = np.zeros((0, channels))
        self._left_out = round(START_S * sample_rate)
        hz = np.fft.rfftfreq(self._size, 1.0 / sample_rate)
        self._lines = (hz >= LOWEST_HZ) & (hz <= min(HIGHEST_HZ, 0.45 * sample_rate))
        self._hz: Floats = np.asarray(hz[self._lines], dtype=float)
        self._segments: deque[tuple[Complexes, Floats]] = deque()
        """Cross-spectrum, and power spectra of both channels: of each segment that counts, or summed if all do."""
        self._count = 0

    def feed(self, samples: Samples) -> None:
        """Process samples of shape (frames, channels)."""
        if self._channels < 2:
            return
        skipped = min(self._left_out, len(samples))
        self._left_out -= skipped
        have = np.concatenate([self._rest, samples[skipped:]])
        step = self._size // 2
        at = 0
        while at + self._size <= len(have):
            spectra = np.fft.rfft(have[at : at + self._size, :2].T * self._window)[:, self._lines]
            self._add(np.conj(spectra[0]) * spectra[1], spectra.real**2 + spectra.imag**2)
            at += step
        self._rest = have[at:]

    def _add(self, cross: Complexes, powers: Floats) -> None:
        self._count += 1
        if self._keep is None and self._segments:
            before = self._segments.pop()
            cross, powers = cross + before[0], powers + before[1]
        self._segments.append((cross, powers))
        if self._keep is not None and self._count > self._keep:
            self._segments.popleft()
            self._count -= 1

    def now(self) -> Result:
        """The delay so far, or over the last seconds."""
        if self._channels < 2:
            return NoReading("azimuth_delay", "left-right", "it needs two channels", method=METHOD)
        if self._count < 4:
            return NoReading("azimuth_delay", "left-right", "too little was heard yet", method=METHOD)
        cross, powers = np.zeros(len(self._hz), dtype=complex), np.zeros((2, len(self._hz)))
        for one in self._segments:
            cross += one[0] / self._count
            powers += one[1] / self._count
        power = powers[0] * powers[1]
        if not power.max() > 0:
            return NoReading("azimuth_delay", "left-right", "the two channels are silent", method=METHOD)
        count = max(1.5, INDEPENDENT * self._count)
        measured = np.abs(cross) ** 2 / np.maximum(power, 1e-30)
        # Chance alone gives 1/K: only more than that is shared.
        shared = np.clip((measured - 1.0 / count) / (1.0 - 1.0 / count), 0.0, 0.99999)
        kept = shared > SHARED
        if kept.sum() < LEAST_LINES:
            because = "the two channels have too little in common here"
            return NoReading("azimuth_delay", "left-right", because, method=METHOD)
        lag = _unequal_lag(self._hz, *powers)
        return _fitted(self._hz[kept], np.angle(cross[kept]), shared[kept], count, lag[kept])

    def finish(self) -> Measured:
        """End the stream and return the reading."""
        return Measured((self.now(),))


def _unequal_lag(hz: Floats, left: Floats, right: Floats) -> Floats:
    """Lag of the right channel at each line if their powers differ because of equalisation, radians."""
    points = []
    for low, high in pairwise(BANDS_HZ):
        inside = (hz >= low) & (hz < high)
        of_left, of_right = (float(power[inside].sum()) for power in (left, right))
        if of_left > 0 and of_right > 0:
            points.append(((low * high) ** 0.5, 10 * np.log10(of_right / of_left)))
    return -phase_of_levels(hz, *zip(*points, strict=True))


def _coarse(hz: Floats, phase: Floats, weight: Floats) -> tuple[float, bool] | str:
    """The delay on the grid, s, and whether one channel is inverted; or why neither is known."""
    grid = np.arange(-LONGEST_US, LONGEST_US + 1.0, 2.0) * 1e-6
    turned = weight * np.exp(1j * (phase + 2 * np.pi * hz * grid[0]))
    turn = np.exp(2j * np.pi * hz * (grid[1] - grid[0]))
    agreement = np.zeros(grid.size)
    for n in range(grid.size):
        agreement[n] = turned.real.sum()
        turned *= turn
    strength = np.abs(agreement) / weight.sum()
    peaks = 1 + np.flatnonzero((strength[1:-1] > strength[:-2]) & (strength[1:-1] >= strength[2:]))
    peaks = peaks[np.argsort(-strength[peaks])]
    if not len(peaks) or strength[peaks[0]] < AGREED:
        return f"the phases of what the channels share agree with no delay up to {LONGEST_US:.0f} µs"
    if len(peaks) > 1 and strength[peaks[1]] > SECOND * strength[peaks[0]]:
        return "this passage has too few frequencies to tell one delay from another"
    return float(grid[peaks[0]]), bool(agreement[peaks[0]] < 0)


def _fitted(hz: Floats, phase: Floats, shared: Floats, count: float, lag: Floats) -> Result:
    """The delay that fits the phases, with the fraction of the lag due to unequal equalisation."""
    weight = np.minimum(shared / (1.0 - shared), MOST_WEIGHT)
    phase = phase + LIKELY_SHARE * lag
    coarse = _coarse(hz, phase, weight)
    if isinstance(coarse, str):
        return NoReading("azimuth_delay", "left-right", coarse, method=METHOD)
    delay, inverted = coarse
    phase = phase + np.pi * inverted
    found = np.array([delay, 0.0])
    design = np.stack((2 * np.pi * hz, lag), axis=1)
    precision = 2.0 * count * weight
    scatter = 1.0
    for _ in range(5):
        left = np.angle(np.exp(1j * (phase + design @ found)))
        near = precision * (np.abs(left) < NEAR_RAD) / scatter
        prior = np.diag([0.0, SHARE_SPREAD**-2])
        step = np.linalg.solve(design.T @ (near[:, None] * design) + prior, design.T @ (near * left) + prior @ found)
        found -= step
        left = np.angle(np.exp(1j * (phase + design @ found)))
        scatter = max(1.0, float(np.sum(precision * left**2)) / max(1, len(hz) - 2))
    information = design.T @ (precision[:, None] * design)
    spread = 2e6 * float(np.sqrt(np.linalg.inv(information / scatter + prior)[0, 0]))
    noise = min(1.0, 2e6 / float(np.sqrt(information[0, 0])) / spread)
    budget = budget_of(spread, {"noise": noise, "what was recorded": float(np.sqrt(1.0 - noise**2))})
    method = replace(METHOD, inverted=inverted)
    return Reading("azimuth_delay", "left-right", 1e6 * float(found[0]), spread, budget=budget, method=method)
