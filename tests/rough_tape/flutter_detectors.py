"""What a flutter meter would show of a known speed course: written apart from the detectors under test."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WEIGHTING = (
    (0.1, -48.0), (0.2, -30.6), (0.315, -19.7), (0.4, -15.0), (0.63, -8.4), (0.8, -6.0), (1.0, -4.2), (1.6, -1.8),
    (2.0, -0.9), (4.0, 0.0), (6.3, -0.9), (10.0, -2.1), (20.0, -5.9), (40.0, -10.4), (63.0, -14.2), (100.0, -17.3),
    (200.0, -23.0), (500.0, -31.0),
)  # fmt: skip
"""Hz and dB: IEC 60386, table of the weighting network (from memory; its ends carried on)."""

SETTLING_S = 4.0
"""An indication counts once the networks have settled."""
ATTACK_S, RELEASE_S = 0.037, 1.0
"""Fitted to IEC 60386's pulses (21, 62, 90, 100 % for 10, 30, 60, 100 ms, 40 % left after 1 s; from memory): 25, 59,
85, 99 and 41 %."""
OF_A_SINE = 0.947
"""What such a detector shows of a sine of 4 Hz with a peak of 1; computed by `peaks` itself over 20 s."""


def weighting(hz: Floats) -> Floats:
    """Response of the weighting network, 1 at 4 Hz: straight lines of dB over the logarithm of frequency."""
    table = np.array(WEIGHTING)
    db = np.interp(np.log(np.maximum(hz, 1e-6)), np.log(table[:, 0]), table[:, 1])
    return np.asarray(10.0 ** (db / 20.0))


def shown(course: Floats, rate: float) -> dict[str, float]:
    """What each detector shows of a speed course, in the course's unit.

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
    """What the detectors show on average of stretches of such a length."""
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
    """The highest indication of a peak-seeking detector once settled, for each row of courses."""
    size = np.abs(courses)
    up, down = 1.0 - np.exp(-1.0 / (ATTACK_S * rate)), 1.0 - np.exp(-1.0 / (RELEASE_S * rate))
    held, highest = np.zeros(len(size)), np.zeros(len(size))
    for n in range(size.shape[1]):
        away = size[:, n] - held
        held = held + away * np.where(away > 0.0, up, down)
        if n >= SETTLING_S * rate:
            np.maximum(highest, held, out=highest)
    return np.asarray(highest / OF_A_SINE)


def _networks(course: Floats, rate: float) -> tuple[Floats, Floats]:
    """Weighted, and from 0.2 to 200 Hz alone; without delay."""
    course = course - course.mean()
    around = np.concatenate([course[::-1], course, course[::-1]])
    bins = np.fft.rfft(around)
    hz = np.asarray(np.fft.rfftfreq(len(around), 1.0 / rate), dtype=np.float64)
    inside = slice(len(course), 2 * len(course))
    band = hz < 200.0
    weighted = np.fft.irfft(bins * weighting(hz) * band, len(around))[inside]
    high_pass = 1.0 / np.sqrt(1.0 + (0.2 / np.maximum(hz, 1e-9)) ** 4)
    return weighted, np.fft.irfft(bins * high_pass * band, len(around))[inside]
