"""Loops over every sample: interpolation on the tape's sample grid, and recursive filters."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from bench.arrays import Floats

Track = NDArray[np.float32]

HALF = 16
"""Samples on either side that an interpolation needs."""
PHASES = 256


def _table() -> Floats:
    """Windowed sinc at `PHASES` + 1 fractions of a sample: flat within 0.001 dB to 20 kHz at 48 kHz."""
    fraction = np.arange(PHASES + 1)[:, None] / PHASES
    distance = np.arange(-HALF + 1, HALF + 1)[None, :] - fraction
    inside = np.clip(1 - (distance / HALF) ** 2, 0, 1)
    beta = 8.0
    table = np.sinc(distance) * np.i0(beta * np.sqrt(inside)) / np.i0(beta)
    return np.ascontiguousarray(table / table.sum(axis=1, keepdims=True))


TABLE = _table()


@numba.njit(cache=True, nogil=True, fastmath={"contract", "reassoc"})  # type: ignore[untyped-decorator, unused-ignore]
def read_track(track: Track, positions: Floats, out: Floats) -> None:
    """Interpolate a track at any positions (samples); positions beyond its end wrap to its start."""
    length = track.size
    for i in range(positions.size):
        base = int(np.floor(positions[i]))
        fraction = (positions[i] - base) * PHASES
        phase = min(int(fraction), PHASES - 1)
        part = fraction - phase
        first = (base - HALF + 1) % length
        total = 0.0
        if first + 2 * HALF <= length:
            for j in range(2 * HALF):
                weight = TABLE[phase, j] + part * (TABLE[phase + 1, j] - TABLE[phase, j])
                total += weight * track[first + j]
        else:
            for j in range(2 * HALF):
                weight = TABLE[phase, j] + part * (TABLE[phase + 1, j] - TABLE[phase, j])
                total += weight * track[(first + j) % length]
        out[i] = total


@numba.njit(cache=True, nogil=True)  # type: ignore[untyped-decorator, unused-ignore]
def read_linear(track: Track, positions: Floats, out: Floats) -> None:
    """The same by linear interpolation, which is enough for long wavelengths."""
    length = track.size
    for i in range(positions.size):
        base = int(np.floor(positions[i]))
        here = track[base % length]
        out[i] = here + (positions[i] - base) * (track[(base + 1) % length] - here)


@numba.njit(cache=True, nogil=True, fastmath={"contract", "reassoc"})  # type: ignore[untyped-decorator, unused-ignore]
def write_track(track: Track, signal: Floats, positions: Floats, times: Floats, kept: float) -> None:
    """Write a signal onto the samples of a track.

    The tape is at `positions` when the samples at `times` of the signal are at the head; both rise. A fraction `kept`
    of the previous recording remains.
    """
    length = track.size
    grid = int(np.ceil(positions[0]))
    for i in range(positions.size - 1):
        step = (times[i + 1] - times[i]) / (positions[i + 1] - positions[i])
        while grid < positions[i + 1]:
            time = times[i] + (grid - positions[i]) * step
            base = int(np.floor(time))
            fraction = (time - base) * PHASES
            phase = min(int(fraction), PHASES - 1)
            part = fraction - phase
            total = 0.0
            for j in range(2 * HALF):
                weight = TABLE[phase, j] + part * (TABLE[phase + 1, j] - TABLE[phase, j])
                total += weight * signal[base - HALF + 1 + j]
            at = grid % length
            track[at] = total + kept * track[at]
            grid += 1


@numba.njit(cache=True, nogil=True)  # type: ignore[untyped-decorator, unused-ignore]
def one_pole(signal: Floats, b0: float, b1: float, a1: float, state: Floats) -> None:
    """Filter each row in place: y[n] = b0 x[n] + b1 x[n-1] − a1 y[n-1]; `state` holds x and y of each row."""
    for channel in range(signal.shape[0]):
        x1, y1 = state[channel, 0], state[channel, 1]
        for i in range(signal.shape[1]):
            x = signal[channel, i]
            y1 = b0 * x + b1 * x1 - a1 * y1
            x1 = x
            signal[channel, i] = y1
        state[channel, 0], state[channel, 1] = x1, y1


@numba.njit(cache=True, nogil=True)  # type: ignore[untyped-decorator, unused-ignore]
def band_pass(signal: Floats, feedback: Floats, state: Floats) -> None:
    """A resonance in place: y[n] = x[n] − x[n-2] + a y[n-1] + b y[n-2]; `state` holds two of x and two of y."""
    x1, x2, y1, y2 = state
    a, b = feedback
    for i in range(signal.size):
        x = signal[i]
        y = x - x2 + a * y1 + b * y2
        x2, x1 = x1, x
        y2, y1 = y1, y
        signal[i] = y
    state[0], state[1], state[2], state[3] = x1, x2, y1, y2


@numba.njit(cache=True, nogil=True)  # type: ignore[untyped-decorator, unused-ignore]
def first_order_sum(white: Floats, keep: Floats, rms: Floats, state: Floats, out: Floats) -> None:
    """A sum of first-order processes with these rms values, driven by one white random number each per step."""
    for n in range(white.shape[0]):
        total = 0.0
        for k in range(keep.size):
            state[k] = keep[k] * state[k] + np.sqrt(1.0 - keep[k] * keep[k]) * white[n, k]
            total += rms[k] * state[k]
        out[n] = total


@numba.njit(cache=True, nogil=True)  # type: ignore[untyped-decorator, unused-ignore]
def overload(signal: Floats, treble: Floats, state: Floats, keep: float, onset: float) -> None:
    """Reduce each row in place where the envelope of its treble is above `onset`.

    The envelope is the peak of `treble`, which decays by the factor `keep` per sample; `state` holds it for each row.
    """
    for channel in range(signal.shape[0]):
        envelope = state[channel]
        for i in range(signal.shape[1]):
            envelope = max(abs(treble[channel, i]), keep * envelope)
            if envelope > onset:
                signal[channel, i] *= np.sqrt(onset / envelope)
        state[channel] = envelope


def warm() -> None:
    """Compile all kernels before a stream needs them."""
    track = np.zeros(4 * HALF, dtype=np.float32)
    positions = np.arange(3.0)
    read_track(track, positions, np.zeros(3))
    read_linear(track, positions, np.zeros(3))
    write_track(track, np.zeros(8 * HALF), positions, positions + 4 * HALF, 0.0)
    one_pole(np.zeros((2, 4)), 1.0, 0.0, 0.0, np.zeros((2, 2)))
    band_pass(np.zeros(4), np.zeros(2), np.zeros(4))
    first_order_sum(np.zeros((4, 2)), np.zeros(2), np.zeros(2), np.zeros(2), np.zeros(4))
    overload(np.zeros((2, 4)), np.zeros((2, 4)), np.zeros(2), 0.5, 1.0)
