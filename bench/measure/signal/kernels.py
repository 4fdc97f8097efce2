"""Recursive loops over samples: filters and detectors.

Compiled by numba without the interpreter lock and cached on disk. `warm` compiles them all: call it before a stream
opens, because compiling holds the lock for a second or two. Comparisons replace max(), whose handling of NaN halves
the speed.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from bench.arrays import Floats


@njit(nogil=True, cache=True)
def cascade(x: Floats, sos: Floats, state: Floats, out: Floats) -> None:
    """Filter `x` into `out`, both (frames, channels), through second-order sections.

    Transposed direct form II, two sections and two channels at a time to keep the multiplier busy; the term that
    depends on the newest output comes last in each sum. `sos` is (sections, 6) with a0 = 1, as in scipy, with an even
    number of sections (see `weighting.even`); `state` is (channels, sections, 2) and carries over to the next call.
    `out` may be `x`.
    """
    frames, channels = x.shape
    for first in range(0, sos.shape[0], 2):
        source = x if first == 0 else out
        second = first + 1
        a0, a1, a2, a3, a4 = sos[first, 0], sos[first, 1], sos[first, 2], sos[first, 4], sos[first, 5]
        b0, b1, b2, b3, b4 = sos[second, 0], sos[second, 1], sos[second, 2], sos[second, 4], sos[second, 5]
        for one in range(0, channels, 2):
            two = min(one + 1, channels - 1)
            p, q, r, s = state[one, first, 0], state[one, first, 1], state[two, first, 0], state[two, first, 1]
            t, u, v, w = state[one, second, 0], state[one, second, 1], state[two, second, 0], state[two, second, 1]
            for n in range(frames):
                c, d = source[n, one], source[n, two]
                y, z = a0 * c + p, a0 * d + r
                p, r = (a1 * c + q) - a3 * y, (a1 * d + s) - a3 * z
                q, s = a2 * c - a4 * y, a2 * d - a4 * z
                c, d = b0 * y + t, b0 * z + v
                t, v = (b1 * y + u) - b3 * c, (b1 * z + w) - b3 * d
                u, w = b2 * y - b4 * c, b2 * z - b4 * d
                out[n, one], out[n, two] = c, d
            state[one, first, 0], state[one, first, 1], state[two, first, 0], state[two, first, 1] = p, q, r, s
            state[one, second, 0], state[one, second, 1], state[two, second, 0], state[two, second, 1] = t, u, v, w


@njit(nogil=True, cache=True)
def take_off(x: Floats, direct: Floats) -> Floats:
    """`x`, (frames, channels), with the DC offset of each channel removed."""
    out = np.empty_like(x)
    for n in range(x.shape[0]):
        for channel in range(x.shape[1]):
            out[n, channel] = x[n, channel] - direct[channel]
    return out


@njit(nogil=True, cache=True)
def mean_square(x: Floats) -> Floats:
    """The mean square of each channel of (frames, channels)."""
    frames, channels = x.shape
    out = np.zeros(channels)
    for one in range(0, channels, 2):
        two = min(one + 1, channels - 1)
        p = q = r = s = 0.0
        for n in range(0, frames - 1, 2):
            p, q = p + x[n, one] * x[n, one], q + x[n, two] * x[n, two]
            r, s = r + x[n + 1, one] * x[n + 1, one], s + x[n + 1, two] * x[n + 1, two]
        if frames % 2:
            p, q = p + x[frames - 1, one] * x[frames - 1, one], q + x[frames - 1, two] * x[frames - 1, two]
        out[one], out[two] = (p + r) / frames, (q + s) / frames
    return out


@njit(nogil=True, cache=True)
def rectify(x: Floats, phases: Floats, history: Floats) -> Floats:
    """Interpolate and rectify: |x| at a multiple of its rate.

    Args:
        x: (frames, channels).
        phases: (factor, taps) polyphase filters, newest sample last; the first passes samples unchanged.
        history: (channels, taps - 1) the samples before `x`, newest last; updated.

    Returns:
        Shape (channels, frames, factor).
    """
    frames, channels = x.shape
    factor, taps = phases.shape
    middle = (taps - 1) // 2
    line = np.empty(frames + taps - 1)
    row = np.empty(frames)
    out = np.empty((channels, frames, factor))
    for channel in range(channels):
        line[: taps - 1] = history[channel]
        line[taps - 1 :] = x[:, channel]
        history[channel] = line[frames:]
        for n in range(frames):
            out[channel, n, 0] = abs(line[n + middle])
        for phase in range(1, factor):
            row[:] = 0.0
            for k in range(taps):
                weight = phases[phase, k]
                for n in range(frames):
                    row[n] += weight * line[n + k]
            for n in range(frames):
                out[channel, n, phase] = abs(row[n])
    return out


@njit(nogil=True, cache=True)
def quasi_peak(drive: Floats, rates: Floats, state: Floats, highest: Floats) -> None:
    """Two charge-and-leak stages after a rectifier.

    Args:
        drive: (channels, frames), non-negative.
        rates: charge and leak of the first stage, then of the second, per frame.
        state: (channels, 2) the values of the two stages; updated.
        highest: (channels,) the highest value of the second stage; updated.
    """
    channels, frames = drive.shape
    charge1, keep1, charge2, keep2 = rates[0], 1.0 - rates[1], rates[2], 1.0 - rates[3]
    for channel in range(0, channels, 2):
        other = min(channel + 1, channels - 1)  # two channels at once keep the multiplier busy
        p, q, r, s = state[channel, 0], state[channel, 1], state[other, 0], state[other, 1]
        top, other_top = highest[channel], highest[other]
        for n in range(frames):
            u, v = drive[channel, n] - p, drive[other, n] - r
            p, r = p * keep1 + (charge1 * u if u > 0.0 else 0.0), r * keep1 + (charge1 * v if v > 0.0 else 0.0)
            u, v = p - q, r - s
            q, s = q * keep2 + (charge2 * u if u > 0.0 else 0.0), s * keep2 + (charge2 * v if v > 0.0 else 0.0)
            top, other_top = q if q > top else top, s if s > other_top else other_top  # noqa: FURB136
        state[channel, 0], state[channel, 1], state[other, 0], state[other, 1] = p, q, r, s
        highest[channel], highest[other] = top, other_top


def warm() -> None:
    """Compile all of the above, or load them from disk."""
    for channels in (1, 2):
        x = np.zeros((8, channels))
        cascade(x, np.array([[1.0, 0.0, 0.0, 1.0, 0.0, 0.0]] * 2), np.zeros((channels, 2, 2)), x)
        mean_square(take_off(x, np.zeros(channels)))
        drive = rectify(x, np.ones((1, 1)), np.zeros((channels, 0))).reshape(channels, -1)
        quasi_peak(drive, np.zeros(4), np.zeros((channels, 2)), np.zeros(channels))
