"""From the frequency of a carrier to its flutter: band filter, weighting, indicator and statistics of one channel.

The first two seconds of a stretch are buffered to find its mean. The stretch is mirrored at both ends for the band
filter (linear phase, 204 Hz), which avoids an edge. The weighting and the 0.2 Hz high-pass filter start from zero, so
their output in the first four seconds of a stretch is discarded (two fifths of a stretch shorter than ten seconds).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Floats
from bench.measure.signal.quasi_peak import FLUTTER, QuasiPeak
from bench.measure.signal.weighting import even, flutter_db, flutter_network
from bench.measure.tone.wander import of_power

BAND_HZ = 204.0
"""Centre of the band filter's transition: 0.3 dB down at 200 Hz, stopband from 210 Hz."""
SLOPE_HZ = 12.0
HIGH_PASS_HZ, OTHER_EDGE_HZ = 0.15, 0.25
"""Second order: 1.2 dB down at 0.2 Hz, 0.02 dB at 0.55 Hz. No standard specifies the lower edge of the unweighted
band; other meters have edges up to the second figure (common practice, no source)."""
LEAD_S = 2.0
HOP_S = 0.5
SETTLE_S, SETTLE_SHARE = 4.0, 0.4
LEAST_S = 1.5
KEPT_S = 120.0
"""Length of the longest stretch that is stored for the components."""
DECIMATION = 4
"""Decimation of the stored course relative to the baseband."""
NOISE_HZ = (225.0, 300.0)
"""Where the carrier's noise is measured: above the flutter band, within the passband of the baseband filter."""
BINS = 8192
LEAST = 1e-9
MAXIMUM_SD = 0.6
"""Standard deviation of the maximum of ten to forty standard normal deviates (any table of order statistics: 0.59 to
0.46, from memory)."""
AT_4_HZ = 1.25
"""A rate within this ratio of 4 Hz counts as 4 Hz."""
FINENESS = BINS / np.log(1.0 / LEAST)


@dataclass(frozen=True, slots=True)
class Segment:
    """Half a second of deviation."""

    weighted: Floats
    unweighted: Floats
    weighted_peak: float
    """Highest quasi-peak indication."""
    unweighted_peak: float


class Statistics:
    """Statistics of the settled course. Deviations are fractions of the carrier frequency."""

    def __init__(self) -> None:
        self.points = 0
        self.weighted_square = self.unweighted_square = 0.0
        self.weighted_peak = self.unweighted_peak = 0.0
        self.weighted_highest = self.unweighted_highest = 0.0
        """The highest absolute deviations."""
        self._ends: list[Segment] = []
        self._courses: list[tuple[float, float, float, float]] = []
        self._counts = np.zeros(BINS, dtype=np.int64)

    def add(self, segment: Segment) -> None:
        """Add one hop."""
        size = np.abs(segment.weighted)
        self.points += len(size)
        self.weighted_square += float(np.sum(size**2))
        self.unweighted_square += float(np.sum(segment.unweighted**2))
        self.weighted_peak = max(self.weighted_peak, segment.weighted_peak)
        self.unweighted_peak = max(self.unweighted_peak, segment.unweighted_peak)
        self.weighted_highest = max(self.weighted_highest, float(size.max()))
        self.unweighted_highest = max(self.unweighted_highest, float(np.abs(segment.unweighted).max()))
        self._ends = [*self._ends[:1], segment]
        squares = float(np.mean(size**2)), float(np.mean(segment.unweighted**2))
        self._courses.append((*squares, segment.weighted_peak, segment.unweighted_peak))
        bins = (np.log(np.maximum(size, LEAST) / LEAST) * FINENESS).astype(np.int64)
        self._counts += np.bincount(np.minimum(bins, BINS - 1), minlength=BINS)

    def end_effect(self) -> tuple[float, float]:
        """Relative change of weighted and unweighted rms if the half second at either end is excluded.

        One and a half times that estimates the effect of where in a cycle of slow wow a capture starts and ends.
        """
        most = [0.0, 0.0]
        for segment in self._ends:
            rest = self.points - len(segment.weighted)
            for k, (course, whole) in enumerate(
                ((segment.weighted, self.weighted_square), (segment.unweighted, self.unweighted_square))
            ):
                if rest > 0 and whole > 0.0:
                    left = max(0.0, whole - float(np.sum(course**2)))
                    most[k] = max(most[k], abs(float(np.sqrt(left / rest * self.points / whole)) - 1.0))
        return 1.5 * most[0], 1.5 * most[1]

    def relative_uncertainties(self) -> tuple[float, float, float, float]:
        """Relative standard uncertainty between stretches: weighted and unweighted rms, then both peaks."""
        if not self._courses:
            return 0.0, 0.0, 0.0, 0.0
        courses = np.array(self._courses).T
        weighted, unweighted = (0.5 * of_power(course, 1.0 / HOP_S) for course in courses[:2])
        peaks = [MAXIMUM_SD * float(np.std(course) / max(course.max(), 1e-30)) for course in courses[2:]]
        return weighted, unweighted, float(np.hypot(weighted, peaks[0])), float(np.hypot(unweighted, peaks[1]))

    def exceeded(self, share: float) -> float:
        """The absolute weighted deviation that is exceeded for this fraction of the time (bins of 0.25 %)."""
        above = np.cumsum(self._counts[::-1])[::-1]
        target = share * self.points
        k = int(np.flatnonzero(above >= target)[-1]) if self.points else 0
        inside = (above[k] - target) / max(1, self._counts[k])
        return float(LEAST * np.exp((k + inside) / FINENESS))


class Course:
    """The flutter of one channel, fed with the stretches that `Deviation` returns.

    Args:
        rate: points per second.
    """

    def __init__(self, rate: float) -> None:
        self.rate = rate
        self.kept_rate = rate / DECIMATION
        self.statistics = Statistics()
        self.seconds = 0.0
        """Length of the settled course."""
        self.kept = np.zeros(0)
        """Band-limited deviation of the longest stretch, at `kept_rate`, for finding components."""
        self.noise: list[float] = []
        """Two-sided power spectral density of the phase noise in each hop, rad²/Hz."""
        self._sum, self._points = 0.0, 0
        self._stretch = _Stretch(rate)

    @property
    def mean_hz(self) -> float:
        """Mean carrier frequency over all valid stretches."""
        return self._sum / max(1, self._points)

    def feed(self, hz: Floats | None) -> None:
        """Process frequencies in Hz; None where the tone ended."""
        if hz is None:
            self.finish()
        else:
            self._count(self._stretch.feed(hz))

    def finish(self) -> None:
        """End the stretch or the stream."""
        stretch, self._stretch = self._stretch, _Stretch(self.rate)
        self._count(stretch.finish())
        if stretch.counts:
            self._sum += stretch.sum
            self._points += stretch.points
            self.noise += stretch.noise
            if stretch.kept_points > len(self.kept):
                self.kept = np.concatenate(stretch.kept)

    def slowest_share(self) -> float:
        """Fraction of the unweighted power that a meter with its lower band edge at `OTHER_EDGE_HZ` loses."""
        hz, power = self._spectrum()
        ours, other = (float(power @ (1.0 / (1.0 + (edge / hz) ** 4))) for edge in (HIGH_PASS_HZ, OTHER_EDGE_HZ))
        return 1.0 - other / ours if ours > 0.0 else 0.0

    def share_away_from_4_hz(self) -> float:
        """Fraction of the weighted power at rates other than 4 Hz, where weighting networks may differ."""
        hz, power = self._spectrum()
        weighted = power * 10.0 ** (flutter_db(hz) / 10.0)
        whole = float(weighted.sum())
        return float(weighted[np.abs(np.log(hz / 4.0)) > np.log(AT_4_HZ)].sum()) / whole if whole > 0.0 else 0.0

    def _spectrum(self) -> tuple[Floats, Floats]:
        """Rates above zero, and the power of the stored course at each; empty if it is too short."""
        count = len(self.kept)
        if count < 64:
            return np.zeros(0), np.zeros(0)
        bins = np.fft.rfft((self.kept - self.kept.mean()) * np.hanning(count))
        return np.asarray(np.fft.rfftfreq(count, 1.0 / self.kept_rate)[1:]), np.asarray(np.abs(bins[1:]) ** 2)

    def _count(self, segments: list[Segment]) -> None:
        for segment in segments:
            self.statistics.add(segment)
            self.seconds += len(segment.weighted) / self.rate


class _Stretch:
    """One stretch of carrier passing through the filters."""

    def __init__(self, rate: float) -> None:
        self.rate = rate
        self.sum, self.points = 0.0, 0
        """Sum and number of the frequencies."""
        self.noise: list[float] = []
        self.kept: list[Floats] = []
        self.kept_points = 0
        self.counts = False
        """Whether the stretch is long enough to count."""
        self._taps = _band(rate)
        self._half = len(self._taps) // 2
        self._hop = DECIMATION * round(HOP_S * rate / DECIMATION)
        self._sections = flutter_network(rate).sos, _high_pass(rate)
        self._states = [np.zeros((1, len(sos), 2)) for sos in self._sections]
        self._meters = [QuasiPeak(rate, 1, FLUTTER) for _ in self._sections]
        self._hz = np.zeros(0)
        """Input that has not passed the band filter, with the history that the filter needs."""
        self._middle = 0.0
        """Mean of the first two seconds; 0 until it is known."""
        self._raw, self._banded = np.zeros(0), np.zeros(0)
        self._waiting: list[Segment] = []

    def feed(self, hz: Floats) -> list[Segment]:
        """Process frequencies; returns the hops that have become valid."""
        self._hz = np.concatenate([self._hz, hz])
        if not self._middle and len(self._hz) >= LEAD_S * self.rate:
            self._start()
        return self._run() if self._middle else []

    def finish(self) -> list[Segment]:
        """End the stretch: mirror its end, and count it if it is long enough."""
        if not self._middle and len(self._hz) >= LEAST_S * self.rate:
            self._start()
        if not self._middle:
            return []
        self._hz = np.concatenate([self._hz, self._hz[-2 : -2 - self._half : -1]])
        return self._run() + ([] if self.counts else self._settle())

    def _start(self) -> None:
        """The mean is known: start with the beginning mirrored."""
        self._middle = float(self._hz.mean())
        self._hz = np.concatenate([self._hz[self._half : 0 : -1], self._hz])

    def _run(self) -> list[Segment]:
        """Apply the band filter to all available input, then process it hop by hop."""
        half = self._half
        if len(self._hz) <= 2 * half:
            return []
        raw = self._hz[half:-half]
        self.sum += float(raw.sum())
        self.points += len(raw)
        self._raw = np.concatenate([self._raw, raw])
        banded = np.convolve(self._hz, self._taps, mode="valid") / self._middle - 1.0
        self._banded = np.concatenate([self._banded, banded])
        self._hz = self._hz[-2 * half :]
        out: list[Segment] = []
        while len(self._banded) >= self._hop:
            self.noise.append(_phase_noise(self._raw[: self._hop], self.rate))
            segment = self._weigh(self._banded[: self._hop])
            self._raw, self._banded = self._raw[self._hop :], self._banded[self._hop :]
            if self.counts:
                out.append(segment)
                continue
            self._waiting.append(segment)
            if len(self._waiting) * HOP_S * SETTLE_SHARE >= SETTLE_S:
                out += self._settle()
        return out

    def _weigh(self, banded: Floats) -> Segment:
        from bench.measure.signal import kernels

        if self.kept_points < KEPT_S * self.rate / DECIMATION:
            self.kept.append(banded[::DECIMATION])
            self.kept_points += len(self.kept[-1])
        courses, peaks = [], []
        for sos, state, meter in zip(self._sections, self._states, self._meters, strict=True):
            x = banded[:, None].copy()
            kernels.cascade(x, sos, state, x)
            courses.append(x[:, 0])
            peaks.append(float(meter.feed(np.abs(x.T))[0]))
        return Segment(courses[0], courses[1], peaks[0], peaks[1])

    def _settle(self) -> list[Segment]:
        """The buffered hops without those in which the filters settled."""
        waited, self._waiting = self._waiting, []
        self.counts = len(waited) * HOP_S >= LEAST_S - HOP_S
        return waited[round(SETTLE_SHARE * len(waited)) :] if self.counts else []


def _phase_noise(hz: Floats, rate: float) -> float:
    """Two-sided power spectral density of the phase noise above the flutter band, rad²/Hz."""
    w, band, per_hz = _noise_window(len(hz), rate)
    power = np.abs(np.fft.rfft((hz - hz.mean()) * w)[band]) ** 2 * per_hz
    half = len(power) // 2
    return float(np.partition(power, half)[half] / np.log(2.0))


@lru_cache(maxsize=8)
def _noise_window(count: int, rate: float) -> tuple[Floats, NDArray[np.bool_], Floats]:
    """A Hann window, the bins above the flutter band, and the factor from their power to phase density."""
    w = np.hanning(count)
    f = np.fft.rfftfreq(count, 1.0 / rate)
    band = (f > NOISE_HZ[0]) & (f < NOISE_HZ[1])
    return w, band, 1.0 / (rate * np.sum(w * w) * f[band] ** 2)


@lru_cache(maxsize=8)
def _band(rate: float) -> Floats:
    """The band filter, compensated for the droop of the point-to-point difference (0.14 dB at 200 Hz)."""
    half = round(1.85 * rate / SLOPE_HZ)
    grid = np.linspace(0.0, 0.5, 4096)
    want = np.where(grid < BAND_HZ / rate, 1.0 / np.sinc(grid), 0.0)
    later = np.array([np.trapezoid(want * np.cos(2 * np.pi * grid * k), grid) for k in range(half + 1)])
    taps = np.concatenate([later[:0:-1], later]) * np.kaiser(2 * half + 1, 5.0)
    return np.asarray(taps / taps.sum())


@lru_cache(maxsize=8)
def _high_pass(rate: float) -> Floats:
    """Second-order Butterworth high-pass by the bilinear transform, one section."""
    k = np.tan(np.pi * HIGH_PASS_HZ / rate)
    a0 = 1.0 + np.sqrt(2.0) * k + k * k
    section = [1 / a0, -2 / a0, 1 / a0, 1.0, 2 * (k * k - 1) / a0, (1 - np.sqrt(2.0) * k + k * k) / a0]
    return even(np.array([section]))
