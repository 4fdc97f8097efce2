"""Filters and spectra of a baseband: noise and lines near a tone."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from bench.arrays import Complexes, Floats

MOST_LINES = 40
STANDS_OUT = 20.0
"""Least ratio of the power of a line to the median of the spectrum around it."""
ONE_SIDED = 4.0
"""Least ratio of the power of a line to that of its mirror: flutter sidebands come in equal pairs, hum does not."""


@lru_cache(maxsize=64)
def low_pass(edge_hz: float, stop_hz: float, rate: float, down_db: float = 110.0) -> Floats:
    """An odd number of taps of a linear-phase low-pass filter, by Kaiser's rule."""
    width = 2 * np.pi * (stop_hz - edge_hz) / rate
    half = max(1, int(np.ceil((down_db - 7.95) / (2.285 * width) / 2)))
    n = np.arange(-half, half + 1)
    cutoff = (edge_hz + stop_hz) / rate
    taps = cutoff * np.sinc(cutoff * n) * np.kaiser(2 * half + 1, 0.1102 * (down_db - 8.7))
    return np.asarray(taps / taps.sum())


def smoothed(z: Complexes, taps: Floats) -> Complexes:
    """Filter along time, keeping the length; beyond its ends the signal is extended by conjugate reflection.

    Args:
        z: one channel.
        taps: an odd number of them.
    """
    half = min(len(taps) // 2, len(z) - 1)
    taps = taps[len(taps) // 2 - half : len(taps) // 2 + half + 1]
    first = (z[0] / max(abs(z[0]), 1e-30)) ** 2
    last = (z[-1] / max(abs(z[-1]), 1e-30)) ** 2
    before = first * np.conj(z[half:0:-1])
    after = last * np.conj(z[-2 : -half - 2 : -1])
    return _convolved(np.concatenate([before, z, after]), taps / taps.sum())


def _convolved(x: Complexes, taps: Floats) -> Complexes:
    """The valid part of the convolution, in which all taps are used."""
    if len(taps) < 48:
        # Real and imaginary parts separately; otherwise the taps would be converted to complex numbers.
        out = np.empty(len(x) - len(taps) + 1, dtype=np.complex128)
        out.real, out.imag = np.convolve(x.real, taps, mode="valid"), np.convolve(x.imag, taps, mode="valid")
        return out
    size = len(x) + len(taps) - 1
    size = 1 << (size - 1).bit_length()
    spectrum = np.fft.fft(x, size) * np.fft.fft(taps, size)
    return np.asarray(np.fft.ifft(spectrum)[len(taps) - 1 : len(x)])


def floor_of(power: Floats) -> float:
    """Mean noise of a periodogram, excluding lines: the mean of the bins below six times the median-based estimate."""
    if not len(power):
        return 0.0
    middle = median(power) / np.log(2.0)
    kept = power[power <= 6.0 * middle]
    return float(kept.mean()) / 0.985 if len(kept) else middle


def median(x: Floats) -> float:
    """The median; faster than numpy's, whose first call loads masked arrays."""
    half = len(x) // 2
    if not len(x):
        return float("nan")
    if len(x) % 2:
        return float(np.partition(x, half)[half])
    low, high = np.partition(x, (half - 1, half))[half - 1 : half + 1]
    return float(low + high) / 2.0


def weighted_line(t: Floats, y: Floats, weights: Floats) -> tuple[float, float]:
    """Slope and intercept of the weighted least-squares line; much faster than a general fit.

    Args:
        t: abscissae.
        y: ordinates.
        weights: of their squared errors.
    """
    whole = float(weights.sum())
    centre, mean = float(weights @ t) / whole, float(weights @ y) / whole
    away = weights * (t - centre)
    slope = float(away @ y) / float(away @ t)
    return slope, mean - slope * centre


def unwrapped(angle: Floats) -> Floats:
    """Unwrapped angles, as by `numpy.unwrap`, but faster."""
    out = angle.copy()
    out[1:] -= 2 * np.pi * np.cumsum(np.rint(np.diff(angle) / (2 * np.pi)))
    return out


def power_of(z: Complexes) -> Floats:
    """|z|², without a square root."""
    return np.asarray(z.real**2 + z.imag**2)


def derotated(z: Complexes, phase: Floats) -> Complexes:
    """The product z exp(-iφ); separate sine and cosine are faster than a complex exponential."""
    back = np.empty(phase.shape, dtype=np.complex128)
    np.cos(phase, out=back.real)
    np.sin(phase, out=back.imag)
    np.conj(back, out=back)
    back *= z
    return back


def oscillators(hz: list[float], rate: float, count: int) -> Complexes:
    """Oscillators exp(2πi f t), one per row, t = 0 in the middle; products of coarse and fine steps, for speed.

    Args:
        hz: frequencies.
        rate: points per second.
        count: number of points.
    """
    fine = np.arange(256) / rate
    coarse = (np.arange(0, count, len(fine)) - (count - 1) / 2) / rate
    rows = np.exp(2j * np.pi * np.outer(hz, coarse))[:, :, None] * np.exp(2j * np.pi * np.outer(hz, fine))[:, None, :]
    return np.asarray(rows.reshape(len(hz), len(coarse) * len(fine))[:, :count])


@lru_cache(maxsize=64)
def quick_length(points: int) -> int:
    """The longest fast transform length up to `points`: a product of powers of 2, 3 and 5."""
    longest, five = 1, 1
    while five <= points:
        odd = five
        while odd <= points:
            longest = max(longest, odd << ((points // odd).bit_length() - 1))
            odd *= 3
        five *= 5
    return longest


def density(x: Floats, rate: float, low_hz: float, high_hz: float) -> tuple[float, float]:
    """Two-sided power spectral density of a real signal's noise in a band, and its value near the band's lower edge.

    Returns:
        Floor over the whole band, and the mean over its lowest tenth if that is significantly higher, both per Hz.
    """
    x = x[: quick_length(len(x))]
    power = power_of(np.fft.rfft(x)) / (len(x) * rate)
    hz = np.fft.rfftfreq(len(x), 1.0 / rate)
    band = power[(hz > low_hz) & (hz < high_hz)]
    floor = floor_of(band)
    count = max(6, len(band) // 10)
    lowest = band[:count]
    near = float(lowest.mean()) if len(lowest) else floor
    unlikely = 1.0 + 4.0 / np.sqrt(max(1, len(lowest)))
    return floor, (near if near > unlikely * floor else floor)


def one_sided_lines(
    residual: Complexes, rate: float, tone_hz: float, guard_hz: float, reach_hz: float
) -> list[tuple[float, float]]:
    """Steady lines near a tone that have no mirror image: hum, neighbouring tones.

    Args:
        residual: a baseband with the tone subtracted.
        rate: points per second.
        tone_hz: frequency of the tone, relative to the oscillator.
        guard_hz: lines nearer than this cannot be separated from the tone's sidebands.
        reach_hz: search range to either side of the tone.

    Returns:
        Frequency relative to the oscillator, and power (squared amplitude), of each line, strongest first.
    """
    n = len(residual)
    size = 1 << (2 * n - 1).bit_length()
    window = np.hanning(n + 2)[1:-1]
    turned = residual * np.exp(-2j * np.pi * tone_hz / rate * np.arange(n))
    power = np.abs(np.fft.fft(turned * window, size)) ** 2
    step = rate / size
    count = int(reach_hz / step)
    up, down = power[1 : count + 1], power[-1 : -count - 1 : -1]
    hz = np.arange(1, count + 1) * step
    out: list[tuple[float, float]] = []
    floor = floor_of(np.concatenate([up, down])) * np.log(2.0)
    for side, other, sign in ((up, down, 1.0), (down, up, -1.0)):
        peak = (side[1:-1] > side[:-2]) & (side[1:-1] >= side[2:])
        top = np.flatnonzero(peak & (side[1:-1] > STANDS_OUT * floor) & (hz[1:-1] > guard_hz)) + 1
        for k in top:
            width = max(2, round(1.5 * size / n))
            mirror = other[max(0, k - width) : k + width + 1].max()
            if side[k] > ONE_SIDED * mirror:
                out.append((float(side[k]), tone_hz + sign * _peak(side, int(k), step)))
    out.sort(reverse=True)
    kept: list[tuple[float, float]] = []
    for power_here, line in out:
        if all(power_here > _skirt(abs(line - k) * n / rate) * p for k, p in kept):
            kept.append((line, power_here))
        if len(kept) == MOST_LINES:
            break
    scale = float(window.sum()) ** 2
    return [(line, p / scale) for line, p in kept]


def _skirt(turns: float) -> float:
    """Leakage of a Hann window at this distance, with a margin: 31 dB down at 2.4 bins, then 18 dB per octave."""
    return 3e-3 * min(1.0, 2.4 / max(turns, 1e-9)) ** 6 if turns > 2.0 else 1.0


def _peak(power: Floats, k: int, step: float) -> float:
    """Frequency of a peak, bin 0 being one step from zero: a parabola through the logarithms of three bins."""
    a, b, c = np.log(power[k - 1 : k + 2] + 1e-300)
    bend = a - 2 * b + c
    return step * (k + 1 + float(0.5 * (a - c) / bend if bend < 0 else 0.0))
