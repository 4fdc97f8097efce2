"""Zero-phase filters designed from a response, for tape and head losses, and filters that run chunk by chunk."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.fft import irfft, rfft
from numpy.typing import NDArray

from bench.arrays import Floats
from bench.practice.kernels import one_pole

RATE = 48000
CHUNK = 1920
"""Frames per processing step, whatever the size of the input blocks: 40 ms."""
RAMP = np.linspace(0, 1, CHUNK)
"""From 0 to 1 within a chunk."""
FFT = 3072
"""Transform length of a running filter."""
_DESIGN = 8192
LONG, SHORT = 1024, 256
"""Numbers of taps. A filter has up to 1089: one long response, or a zero-phase and a minimum-phase one convolved."""
FREQUENCIES = np.maximum(np.fft.rfftfreq(_DESIGN, 1 / RATE), 1e-3)
"""The frequencies of a design response, Hz."""


def zero_phase(response_db: Floats, taps: int = LONG) -> Floats:
    """Linear-phase taps with this magnitude at `FREQUENCIES`; the delay is half their number."""
    impulse = np.fft.irfft(10 ** (np.maximum(response_db, -200) / 20), _DESIGN)
    return np.asarray(np.roll(impulse, taps // 2)[: taps + 1])


def response_of(taps: Sequence[Floats]) -> NDArray[np.complex128]:
    """Frequency response of the taps of each channel, at most 1089, for a running filter."""
    padded = np.zeros((len(taps), FFT))
    for channel, row in enumerate(taps):
        padded[channel, : row.size] = row
    return np.asarray(rfft(padded))


def level_db(sound: Floats) -> tuple[float, float]:
    """Level of each channel of a chunk, dB re a sine of amplitude 1."""
    left, right = 10 * np.log10(2 / sound.shape[1] * np.einsum("cn,cn->c", sound, sound) + 1e-20)
    return float(left), float(right)


class Fir:
    """A two-channel FIR filter that can be changed while it runs: it cross-fades from the old taps to the new."""

    def __init__(self) -> None:
        self._past = np.zeros((2, FFT - CHUNK))
        self._response: NDArray[np.complex128] | None = None
        self._old: NDArray[np.complex128] | None = None

    def set(self, left: Floats, right: Floats) -> None:
        """Use these taps, at most 1089, from the next chunk on."""
        self._old, self._response = self._response, response_of((left, right))

    def run(self, signal: Floats) -> Floats:
        """Filter a chunk, shape (2, CHUNK)."""
        if self._response is None:
            raise RuntimeError("a filter without taps")
        extended = np.concatenate((self._past, signal), axis=1)
        self._past = extended[:, CHUNK:]
        spectrum = rfft(extended)
        out = irfft(spectrum * self._response)[:, -CHUNK:]
        if self._old is not None:
            before = irfft(spectrum * self._old)[:, -CHUNK:]
            out = before + RAMP * (out - before)
            self._old = None
        return np.asarray(out)


class Shelf:
    """A one-pole low-frequency shelf (s + zero) / (s + pole), 0 dB at high frequencies; corners in Hz."""

    def __init__(self, zero_hz: float, pole_hz: float) -> None:
        k = 2 * RATE
        zero, pole = 2 * np.pi * zero_hz, 2 * np.pi * pole_hz
        self._b0, self._b1 = (k + zero) / (k + pole), (zero - k) / (k + pole)
        self._a1 = (pole - k) / (k + pole)
        self._state = np.zeros((2, 2))

    def run(self, signal: Floats) -> None:
        """Filter a chunk in place, shape (2, frames)."""
        one_pole(signal, self._b0, self._b1, self._a1, self._state)


class ModulationNoise:
    """Low-pass noise of unit variance, made from white noise by a one-pole filter: it modulates a recorded tone."""

    def __init__(self, corner_hz: float = 500.0) -> None:
        self._a1 = -float(np.exp(-2 * np.pi * corner_hz / RATE))
        self._gain = float(np.sqrt(1 - self._a1**2))
        self._state = np.zeros((2, 2))

    def run(self, white: Floats) -> Floats:
        """A chunk, shape (2, frames)."""
        out = white.copy()
        one_pole(out, self._gain, 0.0, self._a1, self._state)
        return out
