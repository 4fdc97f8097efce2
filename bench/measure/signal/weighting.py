"""Weighting networks: A, BS.468, the 22.4 Hz to 22.4 kHz band, and flutter weighting.

Networks
    A: IEC 61672-1:2013 annex E: four zeros at 0, poles at 20.60 (twice), 107.65, 737.86 and 12194 Hz (twice);
    0 dB at 1 kHz.
    BS.468: Recommendation ITU-R BS.468-4 annex 1, by the published polynomial of its passive network (one zero at
    0, six poles); 0 dB at 1 kHz. Shifted by −5.63 dB it is 0 dB at 2 kHz, for the average-responding method.
    Band: 3 dB down at 22.4 Hz (Butterworth, 24 dB per octave) and at 22.4 kHz (elliptic, eighth order, 0.02 dB of
    ripple, 60 dB down from 26.6 kHz); IEC 60268-1 requires at least 18 dB per octave. Residual bias of a recorder
    lies above the band and must not count as noise.
    Flutter: a network fitted to the 17 points of IEC 60386 table I (table from memory), all within 0.35 dB, causal,
    0 dB at 4 Hz.

Digital design
    The bilinear transform distorts the top octave: by −1 dB at 16 kHz, and more above, at a rate of 48 kHz. Instead,
    each analogue pole p becomes exp(2πp/rate), each zero at 0 becomes 1 − 1/z, and four more zeros supply the
    remaining magnitude: its square is a cosine polynomial, fitted by linear least squares and factored.

Accuracy
    Against the analogue curve, from 10 Hz to 14 kHz: 0.03 dB at 44.1 and 48 kHz, 0.005 dB from 88.2 kHz up; to
    20 kHz 0.1 dB; from there to 40 kHz, where residual bias may lie, 0.35 dB. White noise in the band: 0.02 dB. If
    half the sample rate is below 22.4 kHz, `limit` says so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Floats
from bench.figures import hertz

A_POLES_HZ = (20.598997, 20.598997, 107.652649, 737.862231, 12194.217148, 12194.217148)
"""Real poles of A weighting, IEC 61672-1 annex E."""

BS468_POLYNOMIAL = (
    4.737338981378384e-24,
    1.306612257412824e-19,
    2.043828333606125e-15,
    2.118150887518656e-11,
    1.363894795463638e-7,
    5.559488023498642e-4,
    1.0,
)
"""Denominator of the BS.468 network in s = jf (Hz), highest power first; the numerator is s."""

FLUTTER_HIGH_PASS_HZ, FLUTTER_HIGH_PASS_Q = 0.4403, 0.6614
FLUTTER_FIRST_ORDER_HZ = 1.5126
FLUTTER_POLES_HZ = (9.0909, 54.28)
FLUTTER_ZERO_HZ = 40.19

BAND_HZ = (22.4, 22400.0)
TOP_EDGE = (
    (4.8329150, 0.6015780, 0.574431),
    (1.8225679, 0.7988285, 1.210612),
    (1.3351751, 0.9369721, 3.085417),
    (1.2015637, 0.9935867, 11.880817),
)
"""Sections of the upper band edge: zero and pole, relative to the −3 dB frequency, and Q of the pole."""
BUTTERWORTH_4_Q = (0.541196, 1.306563)
AVERAGE_REFERENCE_HZ = 2000.0
"""The 0 dB frequency of the average-responding method."""


@dataclass(frozen=True, slots=True)
class Network:
    """A weighting network at one sample rate."""

    name: str
    rate: float
    sos: Floats
    """Second-order sections, (sections, 6), an even number of them."""
    limit: str = ""
    """The limitation imposed by the sample rate, in one sentence; empty if there is none."""

    def gain_db(self, hz: Floats | float) -> Floats:
        """Gain of the digital network at these frequencies, dB."""
        return np.asarray(20.0 * np.log10(np.abs(self.response(hz))))

    def response(self, hz: Floats | float) -> NDArray[np.complex128]:
        """Complex response of the digital network at these frequencies."""
        back = np.exp(-2j * np.pi * np.atleast_1d(np.asarray(hz, dtype=np.float64)) / self.rate)
        out = np.ones_like(back)
        for b0, b1, b2, _, a1, a2 in self.sos:
            out *= (b0 + back * (b1 + back * b2)) / (1.0 + back * (a1 + back * a2))
        return np.asarray(out)


def bs468_db(hz: Floats | float) -> Floats:
    """BS.468 weighting, dB re 1 kHz."""
    return _re(_bs468_magnitude, np.atleast_1d(np.asarray(hz, dtype=np.float64)), 1000.0)


def flutter_db(hz: Floats | float) -> Floats:
    """The flutter weighting used here, dB re 4 Hz."""
    return _re(_flutter_magnitude, np.atleast_1d(np.asarray(hz, dtype=np.float64)), 4.0)


@lru_cache(maxsize=16)
def a_network(rate: float) -> Network:
    """A weighting at this sample rate."""
    sos = _fit(_a_magnitude, [-p + 0j for p in A_POLES_HZ], zeros_at_zero=4, rate=rate, top=20000.0, unity_hz=1000.0)
    return Network("A", rate, sos, _limit(rate))


@lru_cache(maxsize=16)
def bs468_network(rate: float) -> Network:
    """BS.468 weighting at this sample rate, 0 dB at 1 kHz."""
    poles = [complex(p) for p in np.roots(BS468_POLYNOMIAL)]
    sos = _fit(_bs468_magnitude, poles, zeros_at_zero=1, rate=rate, top=20000.0, unity_hz=1000.0)
    return Network("BS.468", rate, sos, _limit(rate))


@lru_cache(maxsize=16)
def band_network(rate: float) -> Network:
    """22.4 Hz to 22.4 kHz at this sample rate; without the upper edge if the rate is too low for it."""
    low, high = (np.tan(np.pi * hz / rate) for hz in BAND_HZ)
    sections = [_bilinear((1.0, 0.0, 0.0), (1.0, low / q, low**2)) for q in BUTTERWORTH_4_Q]
    if BAND_HZ[1] < 0.49 * rate:
        sections += [
            _bilinear(((pole / zero) ** 2, 0.0, (pole * high) ** 2), (1.0, pole * high / q, (pole * high) ** 2))
            for zero, pole, q in TOP_EDGE
        ]
    return Network("22.4 Hz-22.4 kHz", rate, even(np.array(sections)), _limit(rate))


@lru_cache(maxsize=16)
def flutter_network(rate: float) -> Network:
    """Flutter weighting for a demodulated signal at this rate, causal, 0 dB at 4 Hz."""
    w, q = FLUTTER_HIGH_PASS_HZ, FLUTTER_HIGH_PASS_Q
    pair = np.roots([1.0, w / q, w * w])
    poles = [complex(p) for p in pair] + [-p + 0j for p in (FLUTTER_FIRST_ORDER_HZ, *FLUTTER_POLES_HZ)]
    sos = _fit(_flutter_magnitude, poles, zeros_at_zero=3, rate=rate, top=250.0, unity_hz=4.0)
    return Network("flutter", rate, sos)


def even(sos: Floats) -> Floats:
    """The sections, padded with an identity section to an even number: `kernels.cascade` processes pairs."""
    return sos if len(sos) % 2 == 0 else np.concatenate([sos, [[1.0, 0.0, 0.0, 1.0, 0.0, 0.0]]])


def _limit(rate: float) -> str:
    top = rate / 2.0
    if top >= BAND_HZ[1]:
        return ""
    return f"a sample rate of {hertz(rate)} holds nothing above {hertz(top)}, so the band ends there"


def _re(magnitude: Callable[[Floats], Floats], hz: Floats, unity_hz: float) -> Floats:
    return np.asarray(20.0 * np.log10(magnitude(hz) / magnitude(np.array([unity_hz]))))


def _a_magnitude(hz: Floats) -> Floats:
    out = hz**4
    for pole in A_POLES_HZ:
        out = out / np.hypot(hz, pole)
    return out


def _bs468_magnitude(hz: Floats) -> Floats:
    return np.asarray(hz / np.abs(np.polyval(BS468_POLYNOMIAL, 1j * hz)))


def _flutter_magnitude(hz: Floats) -> Floats:
    s = 1j * hz
    w, q = FLUTTER_HIGH_PASS_HZ, FLUTTER_HIGH_PASS_Q
    out = s**3 * (s + FLUTTER_ZERO_HZ) / ((s * s + s * w / q + w * w) * (s + FLUTTER_FIRST_ORDER_HZ))
    for pole in FLUTTER_POLES_HZ:
        out = out / (s + pole)
    return np.asarray(np.abs(out))


def _fit(
    magnitude: Callable[[Floats], Floats],
    poles_hz: list[complex],
    *,
    zeros_at_zero: int,
    rate: float,
    top: float,
    unity_hz: float,
    extra: int = 4,
) -> Floats:
    """Second-order sections whose magnitude matches an analogue one; the module's docstring gives the method.

    The fit weights all frequencies up to `top` equally and those above it by a fiftieth.
    """
    angle = np.linspace(1e-3, np.pi, 2000)
    hz = angle * rate / (2.0 * np.pi)
    back = np.exp(-1j * angle)
    poles = np.exp(2.0 * np.pi * np.asarray(poles_hz) / rate)
    missing = magnitude(hz) / np.abs(1.0 - back) ** zeros_at_zero
    for pole in poles:
        missing = missing * np.abs(1.0 - pole * back)
    weight = np.where(hz <= min(top, 0.49 * rate), 1.0, 0.02)
    cosines = np.cos(np.outer(angle, np.arange(extra + 1)))
    c = np.linalg.lstsq(cosines * (weight / missing**2)[:, None], weight, rcond=None)[0]
    roots = np.roots(np.concatenate([c[:0:-1] / 2.0, c[:1], c[1:] / 2.0]))
    zeros = np.concatenate([roots[np.abs(roots) < 1.0], np.ones(zeros_at_zero)])
    sos = _sections(zeros, poles)
    gain = float(np.abs(Network("", rate, sos).response(unity_hz))[0])
    sos[0, :3] /= gain
    return even(sos)


def _sections(zeros: NDArray[np.complex128], poles: NDArray[np.complex128]) -> Floats:
    """Combine conjugate pairs, then real roots in order of size, into sections."""
    above, below = _quadratics(zeros), _quadratics(poles)
    sections = max(len(above), len(below))
    one = np.array([1.0, 0.0, 0.0])
    above += [one] * (sections - len(above))
    below += [one] * (sections - len(below))
    return np.array([np.concatenate(pair) for pair in zip(above, below, strict=True)])


def _quadratics(roots: NDArray[np.complex128]) -> list[Floats]:
    complex_ones = [r for r in roots if r.imag > 1e-9]
    real_ones = sorted(r.real for r in roots if abs(r.imag) <= 1e-9)
    out = [np.array([1.0, -2.0 * r.real, abs(r) ** 2]) for r in complex_ones]
    while real_ones:
        first = real_ones.pop()
        second = real_ones.pop() if real_ones else 0.0
        out.append(np.array([1.0, -first - second, first * second]))
    return out


def _bilinear(above: tuple[float, float, float], below: tuple[float, float, float]) -> Floats:
    """A section from polynomials in s, highest power first; s = (1 − 1/z) / (1 + 1/z) is j tan(πf/rate)."""
    (a2, a1, a0), (b2, b1, b0) = above, below
    whole = b2 + b1 + b0
    return np.array([a2 + a1 + a0, 2 * (a0 - a2), a2 - a1 + a0, whole, 2 * (b0 - b2), b2 - b1 + b0]) / whole
