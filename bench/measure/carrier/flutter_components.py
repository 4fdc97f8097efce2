"""Periodic components of a deviation: their rates and amplitudes.

The strongest line that stands out from its neighbourhood is taken first. It is fitted together with the lines near it:
amplitude, phase and frequency, by least squares over the surrounding bins under a Hann window, including images at
negative frequencies and the remaining mean and slope. All lines are subtracted, and the search is repeated. Two lines
are resolved if they are at least 1.5 divided by the duration apart. No source gives the figures below: they are our own
choice, checked by tests/measure/quantities/test_flutter.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bench.arrays import Complexes, Floats

MOST = 12
"""The most lines that are fitted."""
STANDS_OUT = 5.5
"""The least ratio of an amplitude to the median around it; noise exceeds it once in 10¹³ bins (Rayleigh)."""
OF_STRONGEST = 0.01
"""A line weaker than this fraction of the strongest is ignored."""
FEWEST_CYCLES = 2.0
"""Fewest cycles of a line within the capture: with fewer it cannot be distinguished from drift."""
CLOSEST = 0.8
"""Two fitted lines nearer than this, in bins, are one."""
NEAR = 8
"""Bins within which lines are fitted together."""


@dataclass(frozen=True, slots=True)
class Line:
    """A periodic component."""

    hz: float
    peak: float
    """Amplitude, in the unit of the course."""
    uncertainty: float
    """Of the peak, expanded (k = 2)."""


@dataclass(slots=True)
class _Part:
    bin: float
    value: complex
    """Half the complex amplitude, with the phase at the middle of the course."""


def find_lines(course: Floats, rate: float, lowest_hz: float, highest_hz: float) -> list[Line]:
    """The lines of a course, strongest first.

    Args:
        course: evenly spaced values.
        rate: values per second.
        lowest_hz: slower lines are ignored.
        highest_hz: faster lines are ignored.
    """
    count = len(course)
    if count < 64:
        return []
    seconds = count / rate
    kernel = _Kernel(count)
    t = (np.arange(count) - (count - 1) / 2) / count
    slope = float(np.sum(t * course) / np.sum(t * t))
    spectrum = kernel.transform(course - course.mean() - slope * t)
    ramp = kernel.transform(t)
    first = max(2, int(np.ceil(max(lowest_hz, FEWEST_CYCLES / seconds) * seconds - 0.5)))
    last = min(len(spectrum) - 2, int(highest_hz * seconds))
    parts: list[_Part] = []
    residue = spectrum
    size = np.abs(spectrum)
    floor = _floor(size[:last])
    for _ in range(MOST):
        over = size[first:last] * (size[first:last] > STANDS_OUT * floor[first:last])
        if parts:
            over = over * (size[first:last] > OF_STRONGEST * max(abs(p.value) for p in parts))
        k = first + int(np.argmax(over)) if len(over) else 0
        if not k or over[k - first] <= 0.0:
            break
        before = [_Part(p.bin, p.value) for p in parts]
        parts.append(_Part(float(k), complex(residue[k])))
        _fit(parts, spectrum, kernel, ramp)
        if _too_close(parts):
            parts = before
            break
        residue = spectrum - kernel.model(parts, len(spectrum))
        size = np.abs(residue)
        floor = _floor(size[:last])
    lines = [
        Line(p.bin / seconds, 2.0 * abs(p.value), 4.0 * _sigma(floor, p.bin)) for p in parts if p.bin >= first - 0.5
    ]
    strongest = max((x.peak for x in lines), default=0.0)
    lines = [x for x in lines if x.peak > max(OF_STRONGEST * strongest, x.uncertainty)]
    return sorted(lines, key=lambda x: -x.peak)


class _Kernel:
    """The transform under a Hann window, phase referred to the middle of the course; a line of value c gives c."""

    def __init__(self, count: int) -> None:
        self.count = count
        self._turn = np.exp(1j * np.pi * np.arange(count // 2 + 1) * (count - 1) / count)
        self._window = np.sin(np.pi * (np.arange(count) + 0.5) / count) ** 2

    def transform(self, x: Floats) -> Complexes:
        """Bins 0 … count/2."""
        return np.asarray(np.fft.rfft(x * self._window) * self._turn / (0.5 * self.count))

    def shape(self, off: Floats) -> Floats:
        """Leakage of a line into a bin at this distance."""
        return 2.0 * (0.5 * self._dirichlet(off) + 0.25 * (self._dirichlet(off - 1.0) + self._dirichlet(off + 1.0)))

    def _dirichlet(self, off: Floats) -> Floats:
        below = np.sin(np.pi * off / self.count)
        small = np.abs(below) < 1e-12
        return np.where(small, 1.0, np.sin(np.pi * off) / np.where(small, 1.0, self.count * below))

    def model(self, parts: list[_Part], bins: int) -> Complexes:
        """The spectrum of some lines and their images."""
        k = np.arange(bins, dtype=np.float64)
        out = np.zeros(bins, dtype=np.complex128)
        for p in parts:
            out += p.value * self.shape(k - p.bin) + np.conj(p.value) * self.shape(k + p.bin)
        return out


def _fit(parts: list[_Part], spectrum: Complexes, kernel: _Kernel, ramp: Complexes) -> None:
    """Fit the newest line and those near it, and leave the others unchanged. Gauss-Newton, eight iterations."""
    newest = parts[-1]
    near = [p for p in parts if abs(p.bin - newest.bin) < NEAR]
    others = [p for p in parts if p not in near]
    low = max(0, int(min(p.bin for p in near)) - 6)
    high = min(len(spectrum), int(max(p.bin for p in near)) + 7)
    k = np.arange(low, high, dtype=np.float64)
    target = (spectrum - kernel.model(others, len(spectrum)))[low:high] if others else spectrum[low:high]
    slow = low < NEAR
    for _ in range(8):
        columns, made = [], np.zeros(len(k), dtype=np.complex128)
        for p in near:
            here, image = kernel.shape(k - p.bin), kernel.shape(k + p.bin)
            step = 1e-4
            turned = (kernel.shape(k - p.bin - step) - here) / step, (kernel.shape(k + p.bin + step) - image) / step
            columns += [
                here + image,
                1j * (here - image),
                p.value * turned[0] + np.conj(p.value) * turned[1],
            ]
            made += p.value * here + np.conj(p.value) * image
        if slow:
            columns += [kernel.shape(k) + 0j, ramp[low:high]]
        matrix = np.stack(columns, axis=1)
        left = target - made
        solved = np.linalg.lstsq(
            np.concatenate([matrix.real, matrix.imag]), np.concatenate([left.real, left.imag]), rcond=None
        )[0]
        for i, p in enumerate(near):
            p.value += complex(solved[3 * i], solved[3 * i + 1])
            p.bin = max(0.5, p.bin + float(np.clip(solved[3 * i + 2], -0.3, 0.3)))


def _too_close(parts: list[_Part]) -> bool:
    """Whether two lines have converged, which means that the newest is not a separate line."""
    where = np.sort([p.bin for p in parts])
    return bool(len(where) > 1 and np.diff(where).min() < CLOSEST)


def _floor(size: Floats) -> Floats:
    """The median around each bin, over three eighths of its frequency or 18 bins, whichever is more."""
    out = np.empty_like(size)
    at = 0
    while at < len(size):
        width = max(6, at // 8)
        low, high = max(1, at - width), min(len(size), at + 2 * width)
        out[at : at + width] = np.median(size[low:high]) if high > low else size[at]
        at += width
    return out


def _sigma(floor: Floats, where: float) -> float:
    """Standard deviation of half the amplitude of a line: the median of a Rayleigh distribution is 1.177 times it."""
    return float(floor[min(len(floor) - 1, round(where))]) / 1.177
