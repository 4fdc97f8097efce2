"""Wow and flutter.

Formula
    The carrier frequency f(t) is demodulated from the phase; deviation = f/f̄ − 1, where f̄ is the mean carrier, from
    0.1 (unweighted 0.2) to 200 Hz. Weighted: through the network of `weighting`. Quasi-peak: the highest indication of
    the meter of `quasi_peak` after settling. Two-sigma: the magnitude of the weighted deviation that is exceeded for
    5 % of the time (a percentile; twice the rms would read a sine 1.42 times too high). Rms: root mean square.
    flutter_component: the peak of each spectral line, unweighted (`flutter_components`). If the rotating parts are
    known, it is attributed to the part that turns at that rate, or at a half or a third of it, to within 3 %: a part of
    diameter d makes v/(π d) turns per second.
Unit and reference
    % of the mean carrier; a 4 Hz sine of ±0.1 % reads 0.1 % quasi-peak, 0.0997 % two-sigma, 0.0707 % rms.
Source
    IEC 60386 and its amendment 1:1988 (two-sigma; 5 % from memory), AES6-2008, DIN 45507; weighting table and pulse
    response from memory. 3150 Hz: IEC, DIN, AES; 3000 Hz: JIS, NAB (from memory).
Accuracy
    Weighted sines from 0.2 to 100 Hz are within 1 % of our network's response, which is within 0.35 dB of the table.
    The uncertainty includes two differences between meters. A quasi-peak indicator shows short peaks only in part,
    within the limits of the standard's pulse test. The lower band edge of unweighted readings is not standardised:
    ours is at 0.15 Hz, those of other meters at 0.1 to 0.3 Hz.
    Quasi-peak of sines is within 1 % from 1 to 100 Hz; slower ones, whose peaks last longer, read up to 14 % more
    (0.2 Hz), a consequence of the time constants that the pulse test requires. Floor in white noise:
    √(2 Sφ ∫ (fW/fc)² df) up to 200 Hz, times 1.01. The uncertainty includes the increase of a reading by noise, and the
    effect of a slow wow with an incomplete cycle at the end.
Recording and replay on the same machine can read anything from zero to twice one pass (common practice, no source).
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from bench.figures import hertz, number
from bench.measure.carrier.deviation import Deviation
from bench.measure.carrier.flutter_channel import BAND_HZ, Course
from bench.measure.carrier.flutter_components import Line, find_lines
from bench.measure.catalogue import (
    FLUTTER_METHODS,
    TWO_SIGMA,
    UNWEIGHTED_PEAK,
    UNWEIGHTED_RMS,
    WEIGHTED_PEAK,
    WEIGHTED_RMS,
)
from bench.measure.meters import Options
from bench.measure.method import Method
from bench.measure.reading import Channel, Contribution, Measured, NoReading, Reading, Result
from bench.measure.signal.weighting import flutter_db
from bench.measure.tone.chunk_meter import SpectraMeter
from bench.measure.tone.demodulator import Spectra
from bench.measure.tone.follower import Chunk, Follower, Piece
from bench.measure.tone.meter import CaptureCheck

COMPONENT = Method("line in the unweighted deviation, peak")

CARRIERS_HZ = {3150.0: "IEC, DIN, AES", 3000.0: "JIS, NAB"}
SEARCH_RANGE = 0.12
"""Search range around the nominal frequency: enough for 3000 Hz against 3150 Hz at a wrong speed."""
FITS = 0.025
"""A carrier within this fraction of a nominal frequency fits it: half the step from 3000 to 3150 Hz."""
TWO_SIGMA_FRACTION = 0.05
"""Fraction of the time for which the two-sigma reading is exceeded."""
SHORTEST_TWO_SIGMA_S = 5.0
PER_RMS = {WEIGHTED_PEAK: 1.9, TWO_SIGMA: 1.96, WEIGHTED_RMS: 1.0, UNWEIGHTED_RMS: 1.0, UNWEIGHTED_PEAK: 1.9}
"""The reading of each method in Gaussian noise, relative to its rms (quasi-peak: measured)."""
PEAK_RISE = {WEIGHTED_PEAK: 1.4, TWO_SIGMA: 1.5, UNWEIGHTED_PEAK: 1.6}
"""Rise of a peak well above the noise, as a multiple of the rms noise (computed for a sine: at most this)."""
FLOOR_MARGIN = 1.15
"""The noise is measured outside the band over a limited time, and beats with the flutter; it may be larger by this
factor."""
TWO_SIGMA_SCATTER = 1.15
"""Ratio of the scatter of a percentile of normal deviates to that of their rms (95 % of magnitudes; computed)."""
METHOD_UNCERTAINTY = {
    WEIGHTED_PEAK: 0.02,
    TWO_SIGMA: 0.025,
    WEIGHTED_RMS: 0.018,
    UNWEIGHTED_RMS: 0.02,
    UNWEIGHTED_PEAK: 0.02,
}
"""Relative uncertainty of the method itself (k = 2)."""
NETWORK_SPREAD = 0.025
"""Weighting networks that meet the points of the table and are equal at 4 Hz differ by up to 0.35 dB at other rates:
readings of flutter with a 1/f spectrum by 1 to 2 % (computed: straight lines between the points, and two networks)."""
PULSES = ((0.21, 0.62, 0.90, 1.00), (0.03, 0.06, 0.06, 0.04))
"""Relative indication of pulses of 10, 30, 60 and 100 ms, and its limits (IEC 60386, from memory): indicators within
the limits differ on short peaks."""


class FlutterMeter(SpectraMeter):
    """`wow_and_flutter` by five methods and `flutter_component` of each channel. Options: `nominal`, `parts`."""

    def __init__(
        self, sample_rate: float, channels: int, options: Options | None = None, spectra: Spectra | None = None
    ) -> None:
        super().__init__(sample_rate, channels, options, spectra)
        self._nominal = self.options.nominal or 3150.0
        low, high = self._nominal * (1.0 - SEARCH_RANGE), self._nominal * (1.0 + SEARCH_RANGE)
        self._follower = Follower(self.spectra, low, high)
        self._paths: list[tuple[Deviation, Course]] = []
        self._first_point = 0

    def batch(self, chunks: list[Chunk]) -> None:
        """Follow the carrier."""
        self._take(self._follower.take(chunks))

    def _take(self, pieces: list[Piece]) -> None:
        for piece in pieces:
            follow = self._follower
            if piece.fresh:
                rate = self.spectra.rate
                self._first_point = max(0, follow.start_of(piece))
                self._paths = [
                    (Deviation(rate, follow.oscillator_hz, follow.tone_hz), Course(rate)) for _ in range(self.channels)
                ]
            z = follow.baseband(piece)
            start = follow.start_of(piece)
            z = z[self.inside(start, len(z))]
            for channel, (deviation, course) in enumerate(self._paths):
                for stretch in deviation.feed(z[:, channel], edge=start <= 0):
                    course.feed(stretch)

    @property
    def seconds(self) -> float:
        """Time for which a carrier was measured, in the channel with most of it."""
        return max((course.seconds for _, course in self._paths), default=0.0)

    def conclude(self, capture: CaptureCheck) -> Measured:
        """The readings of the carrier that was followed."""
        self._take(self._follower.finish())
        because = self._why_not(capture)
        readings: list[Result] = []
        warnings: list[str] = []
        for channel, side in enumerate(self.sides):
            if not because:
                deviation, course = self._paths[channel]
                for stretch in deviation.finish():
                    course.feed(stretch)
                course.finish()
                if course.seconds > 0.0:
                    readings += self._channel(course, side)
                    warnings += [w for w in self._warnings(deviation, course, side) if w not in warnings]
                    continue
            why = because or "the carrier is too short or too broken in this channel: it must hold for two seconds"
            readings += [
                NoReading("wow_and_flutter", side, why, method=Method(m), frequency_hz=self.options.nominal)
                for m in FLUTTER_METHODS
            ]
        return Measured(tuple(readings), tuple(warnings))

    def _why_not(self, capture: CaptureCheck) -> str:
        if self.too_high(self._nominal):
            return self.too_high(self._nominal)
        if self._paths:
            return ""
        why = capture.why_nothing()
        if why == "no steady tone was found":
            why = f"no steady tone near {hertz(self._nominal)} was found"
        return why

    def _channel(self, course: Course, side: Channel) -> list[Reading]:
        s = course.statistics
        values = {
            WEIGHTED_PEAK: s.weighted_peak,
            TWO_SIGMA: s.exceeded(TWO_SIGMA_FRACTION),
            WEIGHTED_RMS: np.sqrt(s.weighted_square / s.points),
            UNWEIGHTED_RMS: np.sqrt(s.unweighted_square / s.points),
            UNWEIGHTED_PEAK: s.unweighted_peak,
        }
        weighted, unweighted = noise_floor(float(np.median(course.noise)), course.mean_hz)
        slow_weighted, slow_unweighted = s.end_effect()
        scattering = WEIGHTED_RMS, UNWEIGHTED_RMS, WEIGHTED_PEAK, UNWEIGHTED_PEAK
        scatters = dict(zip(scattering, s.relative_uncertainties(), strict=True))
        scatters[TWO_SIGMA] = TWO_SIGMA_SCATTER * scatters[WEIGHTED_RMS]
        slowest = course.slowest_share()
        network = NETWORK_SPREAD * course.share_away_from_4_hz()
        open_ = {
            WEIGHTED_PEAK: pointer_limit(s.weighted_peak, s.weighted_highest),
            UNWEIGHTED_RMS: 1.0 - float(np.sqrt(1.0 - slowest)),
            # Slow components affect a peak by their amplitude, depending on their phase at the peak.
            UNWEIGHTED_PEAK: float(
                np.hypot(
                    np.sqrt(slowest) / PER_RMS[UNWEIGHTED_PEAK], pointer_limit(s.unweighted_peak, s.unweighted_highest)
                )
            ),
        }
        hz = self.options.nominal or course.mean_hz
        out = []
        for method, value in values.items():
            is_weighted = method in {WEIGHTED_PEAK, TWO_SIGMA, WEIGHTED_RMS}
            added = noise_added(float(value), FLOOR_MARGIN * (weighted if is_weighted else unweighted), method)
            cut = (
                (slow_weighted if is_weighted else slow_unweighted)
                if method not in {WEIGHTED_PEAK, UNWEIGHTED_PEAK}
                else 0.0
            )
            parts = METHOD_UNCERTAINTY[method], network if is_weighted else 0.0, cut, open_.get(method, 0.0)
            own = float(np.linalg.norm(parts) * value)
            scatter = 2.0 * scatters[method] * float(value)
            out.append(
                Reading(
                    "wow_and_flutter",
                    side,
                    100.0 * float(value),
                    100.0 * float(np.hypot(np.hypot(own, scatter), added)),
                    budget=(
                        Contribution("method", 50.0 * own),
                        Contribution("noise", 50.0 * added),
                        Contribution("other stretches", 50.0 * scatter),
                    ),
                    frequency_hz=hz,
                    method=Method(method),
                    reference="mean carrier",
                )
            )
        rates = dict(self.options.parts)
        return out + [_component(line, side, *part_of(line.hz, rates)) for line in self._lines(course)]

    def spectrum(self, points: int = 96) -> tuple[tuple[float, float], ...]:
        """The spectrum of the deviation in the channel with most of the carrier, available after `finish`.

        Args:
            points: number of points on a logarithmic axis from 0.2 to 200 Hz; each is the strongest bin in its range.

        Returns:
            (Hz, peak deviation in %), lowest first; with the Hann window a line reads within 1.4 dB of its peak. Empty
            without a carrier.
        """
        courses = [course for _, course in self._paths if len(course.kept) >= 64]
        if not courses:
            return ()
        course = max(courses, key=lambda c: c.seconds)
        count = len(course.kept)
        window = np.hanning(count)
        size = np.abs(np.fft.rfft((course.kept - course.kept.mean()) * window)) * 2.0 / window.sum()
        hz = np.fft.rfftfreq(count, 1.0 / course.kept_rate)
        edges = np.geomspace(0.2, min(BAND_HZ, hz[-1]), points + 1)
        out = []
        for low, high in pairwise(edges):
            inside = size[(hz >= low) & (hz < high)]
            nearest = size[int(np.argmin(np.abs(hz - (low * high) ** 0.5)))]
            out.append((float((low * high) ** 0.5), 100.0 * float(inside.max() if len(inside) else nearest)))
        return tuple(out)

    def _lines(self, course: Course) -> list[Line]:
        return find_lines(course.kept, course.kept_rate, 0.1, BAND_HZ - 4.0)

    def _warnings(self, deviation: Deviation, course: Course, side: Channel) -> list[str]:
        warnings = []
        fits = misfit(course.mean_hz, self.options.nominal)
        if fits:
            warnings.append(fits)
        if deviation.bridged:
            count, seconds = len(deviation.bridged), sum(b[1] for b in deviation.bridged)
            start = self._first_point / self.spectra.rate + deviation.bridged[0][0]
            times = "once" if count == 1 else f"{count} times"
            warnings.append(
                f"{side} channel: the carrier was broken {times} by dropouts or clicks, {1000 * seconds:.0f} ms in "
                f"all, the first at {start:.2f} s; they were bridged and are not counted as flutter"
            )
        if course.seconds < SHORTEST_TWO_SIGMA_S:
            warnings.append(
                f"only {course.seconds:.1f} s of the carrier could be counted: two-sigma wants "
                f"{SHORTEST_TWO_SIGMA_S:g} s, and slow wow may be missed"
            )
        return warnings


def misfit(carrier_hz: float, nominal_hz: float | None) -> str:
    """The warning that a carrier does not fit its nominal frequency; empty if it does.

    Args:
        carrier_hz: the measured frequency.
        nominal_hz: the requested frequency; None if there is none.
    """
    near = [hz for hz in CARRIERS_HZ if abs(carrier_hz / hz - 1.0) <= FITS]
    asked = nominal_hz or 3150.0
    if abs(carrier_hz / asked - 1.0) <= FITS:
        return ""
    if near:
        return (
            f"the carrier is at {carrier_hz:.1f} Hz: it fits {hertz(near[0])} ({CARRIERS_HZ[near[0]]}), not "
            f"{hertz(asked)}; name the right one with --nominal"
        )
    off = 100.0 * (carrier_hz / asked - 1.0)
    away = f"{number(off, 1, sign=True)} % off {hertz(asked)}"
    return f"the carrier is at {carrier_hz:.1f} Hz, {away}: another tape, or a wrong speed"


def noise_floor(phase_noise: float, carrier_hz: float) -> tuple[float, float]:
    """The weighted and unweighted rms of white phase noise: √(2 Sφ ∫ (f W / fc)² df).

    Args:
        phase_noise: two-sided power spectral density, rad²/Hz.
        carrier_hz: the mean carrier.

    Returns:
        Both as fractions of the carrier.
    """
    f = np.linspace(0.1, BAND_HZ, 2000)
    weight = 10.0 ** (flutter_db(f) / 20.0)
    density = 2.0 * phase_noise / carrier_hz**2
    return tuple(float(np.sqrt(density * np.trapezoid((f * w) ** 2, f))) for w in (weight, 1.0))  # type: ignore[return-value]


def noise_added(value: float, noise_rms: float, method: str) -> float:
    """The part of a reading that may be due to noise of the carrier.

    If the reading is mostly noise, powers add: v − √(v² − n²). A peak well above the noise rises in proportion to the
    noise, which is more.

    Args:
        value: the reading.
        noise_rms: rms noise in the band of the method.
        method: one of `FLUTTER_METHODS`.
    """
    shown = PER_RMS[method] * noise_rms
    by_power = value - float(np.sqrt(max(0.0, value**2 - shown**2)))
    return float(min(value, max(by_power, PEAK_RISE.get(method, 0.0) * noise_rms)))


def pointer_limit(shown: float, highest: float) -> float:
    """Greatest relative difference between two quasi-peak meters that both pass the standard's pulse test.

    Args:
        shown: the highest indication.
        highest: the highest deviation, which is larger than the indication for short peaks.
    """
    parts, limits = PULSES
    limit = np.divide(limits, parts)
    at = min(1.0, shown / highest) if highest > 0.0 else 1.0
    return float(np.interp(at, parts, limit))


def part_of(hz: float, rates: dict[str, float], within: float = 0.03) -> tuple[str | None, int | None]:
    """The part that causes a component: it turns at that rate, or at a half or a third of it; None if none fits.

    Args:
        hz: rate of the component.
        rates: turns per second of each part (capstan, pinch roller, reels, motor).
        within: the largest error, as a fraction of the rate.
    """
    fits = [(n, abs(hz / (n * rate) - 1.0), name) for name, rate in rates.items() if rate > 0.0 for n in (1, 2, 3)]
    n, _, name = min((fit for fit in fits if fit[1] <= within), default=(1, 1.0, None))
    return name, None if n == 1 else n


def _component(line: Line, side: Channel, part: str | None, per_turn: int | None) -> Reading:
    return Reading(
        "flutter_component",
        side,
        100.0 * line.peak,
        100.0 * float(np.hypot(line.uncertainty, 0.005 * line.peak)),
        frequency_hz=line.hz,
        method=replace(COMPONENT, every_s=1.0 / line.hz, part=part, per_turn=per_turn),
        reference="mean carrier",
    )
