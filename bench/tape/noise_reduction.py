"""Type B and Type A noise reduction, encoder and decoder, over blocks of any size.

Levels are relative to the reference level of the noise reduction (Type B: 200 nWb/m at 400 Hz on cassette, ANSI; on
open reel 185 nWb/m, from memory): a sine of that level has an amplitude of 1.

Both add a side signal to the main signal in encoding and subtract it in decoding. The side signal is computed from the
unencoded signal, and its control from past samples, so a decoder inverts the encoder exactly.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bench.arrays import Floats
from bench.tape import kernels

System = Literal["type-b", "type-a"]

# Type B: a fixed lead section in cascade with one sliding corner frequency. Our least-squares fit to the published
# data-sheet points (all within 0.6 dB, limits ±1.5 dB); structure as in US patent 3,631,365.
B_GAIN = 2.339
B_ZERO_HZ, B_POLE_HZ = 170.7, 1822.9
B_SLIDING_HZ, B_SLOPE, B_POWER = 172.5, 7.676, 2.847
B_CONTROL_HZ = 850.8
"""Above this frequency the control path boosts treble."""
B_HIGHEST_CONTROL = 4
"""Highest control level in the table of the sliding section; the loop keeps any sound below 3."""
B_CEILING = 0.26
"""The side signal is clipped at this amplitude: overshoot is at most about +2 dB re reference level. From memory."""
FAST_S, SLOW_S = 0.001, 0.1
"""Time constants for large and for small changes in level. From memory."""
B_LARGE_CHANGE = 0.12
"""Least change in level that counts as large."""

# Type A: four bands that act only on low levels. Figures from memory; the number of bands was read in a source.
A_GAIN = 10**0.5 - 1
"""10 dB in each band."""
A_CORNERS_HZ = (80.0, 3000.0, 10500.0)
"""Low-pass, high-pass and higher high-pass, 12 dB per octave; the second band is what the first and the third leave."""
A_TOP_DAMPING, A_TOP_MIDDLE = 1.05, 0.6
"""Of the highest band, (s² + 0.6 s)/(s² + 1.05 s + 1). With its corner frequency, our fit so that low levels gain 10 dB
up to 5 kHz and 15 dB at 15 kHz, within 0.1 dB; two plain high-pass filters, at 3 and 9 kHz, partly cancel where they
overlap."""
A_THRESHOLD = 0.01
"""-40 dB: above it the side signal of a band no longer grows."""
A_CEILING = 0.1
A_FAST_S = (0.01, 0.001, 0.001, 0.002)
"""Of the three bands that have a corner frequency, then of the second band."""
A_LARGE_CHANGE = 0.02


def _smoothing_coefficient(seconds: float, rate: float) -> float:
    """The coefficient of a one-pole smoother: its response to a unit step after one sample."""
    return float(-np.expm1(-1 / (seconds * rate)))


A_FIXED_POLE = -0.45
"""Two poles of the filter of each band. Nearer to -1 they would fit better, but the second band, which is what the
first and the third leave, would become so negative at half the sample rate that the decoder would be unstable."""
_FIXED_POLE = 0.95
"""The second pole of the sliding section, just inside half the sample rate, turns the phase of its treble back."""


def type_b_coefficients(rate: float) -> Floats:
    """The coefficients of `kernels.type_b` at a sample rate."""
    constants = (
        B_GAIN,
        1 - B_ZERO_HZ / B_POLE_HZ,
        np.pi * B_POLE_HZ / rate,
        _FIXED_POLE,
        *_control_boost_coefficients(rate),
        B_CEILING,
        _smoothing_coefficient(FAST_S, rate),
        _smoothing_coefficient(SLOW_S, rate),
        B_LARGE_CHANGE,
    )
    sliding = _sliding_sections(rate)
    return np.concatenate((constants, np.concatenate((sliding[:-1], np.diff(sliding, axis=0)), axis=1).ravel()))


def _sliding_sections(rate: float) -> Floats:
    """The section s/(s + w), w the sliding corner, at each control level of the kernel's table; shape (levels, 3).

    It is (1 - z)(b0 + b1 z)/((1 - a z)(1 + 0.95 z)), where z delays by one sample; a row is b0, b1, a. The pole a is
    that of the circuit. b0 and b1 make level and phase exact at one frequency: the side signal is added to the main
    signal, so phase counts. With any w, the sum errs up to 15 kHz by at most 0.3 dB at 44.1 kHz, and 0.01 dB at 96 kHz;
    by the trapezoidal rule it would be 2.5 and 0.4 dB.
    """
    # The detector gives means and the law uses amplitudes: the mean of |sine| is 2/π of its amplitude.
    amplitude = np.pi / 2 * np.arange(B_HIGHEST_CONTROL * kernels.STEPS + 1) / kernels.STEPS
    corner = B_SLIDING_HZ * (1 + (B_SLOPE * amplitude) ** B_POWER)
    # High, because errors grow with frequency; lower where w is far above the treble, for the control path alone.
    exact = np.minimum((14e3 * 60e3 + 10e3 * corner) / (60e3 + corner), 0.32 * rate)
    z, pole = np.exp(-2j * np.pi * exact / rate), np.exp(-2 * np.pi * corner / rate)
    zeros = 1j * exact / (1j * exact + corner) * (1 - pole * z) * (1 + _FIXED_POLE * z) / (1 - z)
    b1 = zeros.imag / z.imag
    return np.stack((zeros.real - b1 * z.real, b1, pole), axis=1)


def _control_boost_coefficients(rate: float) -> tuple[float, float, float]:
    """The control path's treble boost 1 + s/ω as y[n] = b0 x[n] + b1 x[n-1] − a y[n-1].

    With S = sin²(ω/2), its squared magnitude is (1 + 4mS)/(1 − 4pS): exact at 0 Hz, and at two more frequencies by the
    choice of m and p.
    """
    hz = np.array([8000.0, min(16000.0, 0.4 * rate)])
    square, half = 1 + (hz / B_CONTROL_HZ) ** 2, 4 * np.sin(np.pi * hz / rate) ** 2
    m, p = np.linalg.solve(np.stack((half, square * half), axis=1), square - 1)
    a = (1 - 2 * p - np.sqrt(1 - 4 * p)) / (2 * p)
    b0 = (1 + a) * (1 + np.sqrt(1 + 4 * m)) / 2
    return float(b0), float(1 + a - b0), float(a)


def type_a_coefficients(rate: float) -> Floats:
    """The coefficients of `kernels.type_a` at a sample rate."""
    fast = [_smoothing_coefficient(s, rate) for s in A_FAST_S]
    # The threshold is an amplitude and the detector gives means: 2/π of it.
    constants = [
        A_GAIN,
        A_THRESHOLD * 2 / np.pi,
        A_CEILING,
        _smoothing_coefficient(SLOW_S, rate),
        A_LARGE_CHANGE,
        *fast,
    ]
    low, high, top = A_CORNERS_HZ
    sections = (
        _fixed_section(rate, low, (0.0, 0.0, 1.0), 2**0.5),
        _fixed_section(rate, high, (1.0, 0.0, 0.0), 2**0.5),
        _fixed_section(rate, top, (1.0, A_TOP_MIDDLE, 0.0), A_TOP_DAMPING),
    )
    return np.concatenate((constants, *sections))


def _fixed_section(rate: float, corner_hz: float, numerator: Sequence[float], damping: float) -> Floats:
    """The section numerator(s)/(s² + damping·s + 1), s = j·f/corner, as b0 to b4 and a1 to a4 of a recursive filter.

    Two poles are those of the circuit, two more turn the phase of its treble back. The zeros at 0 Hz are those of the
    circuit, and the others make level and phase exact to 16 kHz by least squares. With any gains of the bands the sum
    errs up to 15 kHz by at most 0.2 dB at 44.1 kHz, and 0.01 dB at 96 kHz; by the trapezoidal rule the circuit of low
    levels alone would err by 0.6 and 0.1 dB.
    """
    circuit = np.array([1.0, damping, 1.0])
    poles = np.exp(2 * np.pi * corner_hz / rate * np.roots(circuit))
    denominator = np.poly([*poles, A_FIXED_POLE, A_FIXED_POLE]).real
    hz = np.geomspace(20.0, min(16e3, 0.4 * rate), 200)
    s, z = 1j * hz / corner_hz, np.exp(-2j * np.pi * hz / rate)
    at_zero_hz = len(numerator) - 1 - int(np.flatnonzero(numerator)[-1])
    free = z[:, None] ** np.arange(5 - at_zero_hz)
    basis = free * ((1 - z) ** at_zero_hz / np.polyval(denominator[::-1], z))[:, None]
    wanted = np.polyval(numerator, s) / np.polyval(circuit, s)
    both = np.concatenate((basis.real, basis.imag)), np.concatenate((wanted.real, wanted.imag))
    zeros = np.linalg.lstsq(*both, rcond=None)[0]
    return np.concatenate((np.convolve(zeros, np.poly([1.0] * at_zero_hz)), denominator[1:]))


class NoiseReduction:
    """An encoder or a decoder that keeps its state from block to block.

    Args:
        system: `type-b` or `type-a`.
        rate: sample rate, Hz; at least 32000, because the circuits act on treble.
        channels: number of channels, each processed separately.
        decode: True for a decoder.
        side_error_db: gain error of its side path, for a circuit that is out of adjustment.
        gains: gain of each channel ahead of the circuit and after it, shape (channels, 2); 1 if None.

    Raises:
        ValueError: a sample rate that is too low.
    """

    def __init__(
        self,
        system: System,
        rate: float,
        channels: int,
        *,
        decode: bool,
        side_error_db: float = 0.0,
        gains: Floats | None = None,
    ) -> None:
        if rate < 32000:
            raise ValueError(f"noise reduction needs a sample rate of at least 32000 Hz, not {rate:g}")
        self._decode = decode
        self._gains = np.ones((channels, 2)) if gains is None else gains
        self._kernel: Callable[[Floats, Floats, Floats, Floats, Floats, bool], None]
        if system == "type-b":
            self._kernel, self._coefficients = kernels.type_b, type_b_coefficients(rate)
            self._state = np.zeros((channels, kernels.TYPE_B_STATES))
        else:
            self._kernel, self._coefficients = kernels.type_a, type_a_coefficients(rate)
            self._state = np.zeros((channels, kernels.TYPE_A_STATES))
        self._coefficients[0] *= 10 ** (side_error_db / 20)

    def run(self, samples: Floats) -> Floats:
        """Process the next block, shape (frames, channels), 1 for a sine of the reference level where gains are 1."""
        fed, out = np.ascontiguousarray(samples, dtype=float), np.empty(samples.shape)
        self._kernel(fed, out, self._coefficients, self._state, self._gains, self._decode)
        return out


def encode(samples: Floats, rate: float, system: System) -> Floats:
    """A whole capture encoded, shape (frames, channels), 1 for a sine of the reference level."""
    return NoiseReduction(system, rate, samples.shape[1], decode=False).run(samples)


def decode(samples: Floats, rate: float, system: System) -> Floats:
    """A whole capture decoded, shape (frames, channels), 1 for a sine of the reference level."""
    return NoiseReduction(system, rate, samples.shape[1], decode=True).run(samples)


def type_b_gain(frequency_hz: ArrayLike, level_db: ArrayLike) -> NDArray[np.complex128]:
    """Complex gain of a Type B encoder for a steady tone.

    1 + G·(s+z)/(s+p)·s/(s+w), s = j·f, w = 172.5 Hz·(1 + (7.676·S)^2.847), where S is the amplitude in the control
    path, which depends on w in turn. Solved by bisection, since w rises with S and S falls with w.

    Args:
        frequency_hz: any shape.
        level_db: level before encoding, re the reference level; broadcast against the frequency.

    Source: our fit to published data-sheet points, all within 0.6 dB.
    """
    hz, level = np.broadcast_arrays(np.asarray(frequency_hz, dtype=float), np.asarray(level_db, dtype=float))
    s = 1j * hz
    fixed = B_GAIN * (s + B_ZERO_HZ) / (s + B_POLE_HZ)
    drive = 10 ** (level / 20) * np.abs(fixed) * np.sqrt(1 + (hz / B_CONTROL_HZ) ** 2)
    low, high = np.full(hz.shape, B_SLIDING_HZ), np.full(hz.shape, 1e9)
    for _ in range(45):
        corner = np.sqrt(low * high)
        asked = B_SLIDING_HZ * (1 + (B_SLOPE * drive * np.abs(s / (s + corner))) ** B_POWER)
        low, high = np.where(asked > corner, corner, low), np.where(asked > corner, high, corner)
    return np.asarray(1 + fixed * s / (s + corner))


def type_a_gain(frequency_hz: ArrayLike, level_db: ArrayLike) -> NDArray[np.complex128]:
    """Complex gain of a Type A encoder for a steady tone; arguments as for `type_b_gain`.

    1 + 2.162·Σ band/(1 + (a/threshold)⁴)^¼, where a is the amplitude in the band.
    """
    hz, level = np.broadcast_arrays(np.asarray(frequency_hz, dtype=float), np.asarray(level_db, dtype=float))
    low, high, top = (1j * hz / corner for corner in A_CORNERS_HZ)

    def denominator(s: NDArray[np.complex128], damping: float = 2**0.5) -> NDArray[np.complex128]:
        return np.asarray(s * s + damping * s + 1)

    first, third = 1 / denominator(low), high * high / denominator(high)
    fourth = (top * top + A_TOP_MIDDLE * top) / denominator(top, A_TOP_DAMPING)
    out = np.ones(hz.shape, dtype=complex)
    for band in (first, 1 - first - third, third, fourth):
        amplitude = 10 ** (level / 20) * np.abs(band)
        out = out + A_GAIN * band / (1 + (amplitude / A_THRESHOLD) ** 4) ** 0.25
    return out


def encoded_level_db(system: System, frequency_hz: ArrayLike, level_db: ArrayLike) -> Floats:
    """Level of a steady tone after encoding, dB re the reference level; arguments as for `type_b_gain`."""
    gain = type_b_gain if system == "type-b" else type_a_gain
    return np.asarray(np.asarray(level_db, dtype=float) + 20 * np.log10(np.abs(gain(frequency_hz, level_db))))


def decoded_level_db(system: System, frequency_hz: ArrayLike, level_db: ArrayLike) -> Floats:
    """Level of a steady tone after decoding: the inverse of `encoded_level_db`, by bisection.

    Args:
        system: `type-b` or `type-a`.
        frequency_hz: any shape.
        level_db: level at the decoder's input, dB re the reference level; broadcast against the frequency.
    """
    hz, level = np.broadcast_arrays(np.asarray(frequency_hz, dtype=float), np.asarray(level_db, dtype=float))
    low, high = level - 30.0, level + 6.0
    for _ in range(34):
        middle = (low + high) / 2
        above = encoded_level_db(system, hz, middle) > level
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return (low + high) / 2
