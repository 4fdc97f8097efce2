"""What a flutter meter would show for a known course of speed: independent of the detectors under test."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WEIGHTING = (
    (0.1, -48.0), (0.2, -30.6), (0.315, -19.7), (0.4, -15.0), (0.63, -8.4), (0.8, -6.0), (1.0, -4.2), (1.6, -1.8),
    (2.0, -0.9), (4.0, 0.0), (6.3, -0.9), (10.0, -2.1), (20.0, -5.9), (40.0, -10.4), (63.0, -14.2), (100.0, -17.3),
    (200.0, -23.0), (500.0, -31.0),
)  # fmt: skip
"""Hz and dB: IEC 60386, table of the weighting network (from memory; its ends are extrapolated)."""

SETTLING_S = 4.0
"""An indication counts once the networks have settled."""
CHARGES_MS, DISCHARGES_MS = (34.0, 238.0), (494.0, 119.0)
"""Time constants of the two stages of a peak-seeking detector. After `_weighted` it shows the pulses of IEC 60386: 21,
62, 90 and 100 % for 10, 30, 60 and 100 ms, falling to 40 % between them (from memory; the fit is computed)."""


def weighting(hz: Floats) -> Floats:
    """Response of the weighting network, 1 at 4 Hz: dB interpolated linearly over the logarithm of frequency."""
    table = np.array(WEIGHTING)
    db = np.interp(np.log(np.maximum(hz, 1e-6)), np.log(table[:, 0]), table[:, 1])
    return np.asarray(10.0 ** (db / 20.0))


def shown(course: Floats, rate: float) -> dict[str, float]:
    """What each detector shows for a course of speed, in the unit of the course.

    Args:
        course: deviation from the mean speed.
        rate: points a second.
    """
    weighted, plain = _networks(course, rate)
    settled = slice(int(SETTLING_S * rate), None)
    size = np.abs(weighted[settled])
    return {
        "weighted two-sigma": float(np.quantile(size, 0.95)),
        "weighted rms": float(np.sqrt(np.mean(weighted[settled] ** 2))),
        "unweighted rms": float(np.sqrt(np.mean(plain[settled] ** 2))),
        "weighted quasi-peak": float(peaks(weighted[None, :], rate)[0]),
        "unweighted quasi-peak": float(peaks(plain[None, :], rate)[0]),
    }


def shown_in_the_long_run(course: Floats, rate: float, seconds: float) -> dict[str, float]:
    """The mean indication of each detector over stretches of this length."""
    weighted, plain = _networks(course, rate)
    size = int(seconds * rate)
    count = len(course) // size
    parts = [x[: count * size].reshape(count, size) for x in (weighted, plain)]
    return {
        "weighted two-sigma": float(np.quantile(np.abs(weighted), 0.95)),
        "weighted rms": float(np.sqrt(np.mean(weighted**2))),
        "unweighted rms": float(np.sqrt(np.mean(plain**2))),
        "weighted quasi-peak": float(np.mean(peaks(parts[0], rate))),
        "unweighted quasi-peak": float(np.mean(peaks(parts[1], rate))),
    }


def peaks(courses: Floats, rate: float) -> Floats:
    """The highest indication of a settled peak-seeking detector, for each row of courses."""
    t = np.arange(round(12.0 * rate)) / rate
    sine = _highest(np.sin(2 * np.pi * 4.0 * t)[None, :], rate, 8.0)
    return np.asarray(_highest(courses, rate, SETTLING_S) / sine)


def _highest(courses: Floats, rate: float, settling_s: float) -> Floats:
    drive = np.abs(courses)
    (first, second), (leak, slower) = (tuple(1e3 / (ms * rate) for ms in both) for both in (CHARGES_MS, DISCHARGES_MS))
    held, shown, highest = (np.zeros(len(drive)) for _ in range(3))
    for n in range(drive.shape[1]):
        held = held + (drive[:, n] - held) * np.where(drive[:, n] > held, first, leak)
        shown = shown + (held - shown) * np.where(held > shown, second, slower)
        if n >= settling_s * rate:
            np.maximum(highest, shown, out=highest)
    return highest


def _networks(course: Floats, rate: float) -> tuple[Floats, Floats]:
    """The course weighted, and unweighted from 0.2 Hz; both up to 200 Hz."""
    course = course - course.mean()
    around = np.concatenate([course[::-1], course, course[::-1]])
    bins = np.fft.rfft(around)
    hz = np.asarray(np.fft.rfftfreq(len(around), 1.0 / rate), dtype=np.float64)
    inside = slice(len(course), 2 * len(course))
    band = hz < 200.0
    weighted = np.fft.irfft(bins * _weighted(hz) * band, len(around))[inside]
    high_pass = 1.0 / np.sqrt(1.0 + (0.2 / np.maximum(hz, 1e-9)) ** 4)
    return weighted, np.fft.irfft(bins * high_pass * band, len(around))[inside]


def _weighted(hz: Floats) -> NDArray[np.complex128]:
    """A causal network through the points of the table, within 0.4 dB (a fit, computed), 1 at 4 Hz."""

    def through(f: Floats) -> NDArray[np.complex128]:
        slow, slower = 1j * f / 0.4457, 1j * f / 1.42
        low = slow**2 / (1.0 + slow / 0.653 + slow**2) * slower / (1.0 + slower)
        return np.asarray(low * (1.0 + 1j * f / 46.74) / ((1.0 + 1j * f / 9.716) * (1.0 + 1j * f / 61.57)))

    return np.asarray(through(hz) / abs(through(np.array([4.0]))[0]))
