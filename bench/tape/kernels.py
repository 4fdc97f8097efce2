"""Noise reduction, sample by sample. Encoder and decoder share one loop: the decoder solves it for what went in."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

TYPE_B_STATES = 6
TYPE_A_STATES = 14
MEAN_OF_RMS = float(np.sqrt(8) / np.pi)
"""Mean of a rectified sine over its rms. The detector squares: the mean of a square is the same wherever on a sine the
samples fall, that of |sine| is not."""


@numba.njit(cache=True, nogil=True)  # type: ignore[untyped-decorator, unused-ignore]
def type_b(signal: Floats, out: Floats, figures: Floats, state: Floats, decode: bool) -> None:
    """Type B over a block, shape (frames, channels), 1 for a sine of the reference level.

    `figures` are those of `noise_reduction.type_b_figures`; `state` has a row of `TYPE_B_STATES` for each channel.
    """
    gain, share, lead, widest, slope, power, lift_0, lift_1, lift_2, ceiling, fast, slow, step = figures
    for channel in range(signal.shape[1]):
        lead_state, slide_state, side_before, control, quick, held = state[channel]
        for i in range(signal.shape[0]):
            slide = widest * (1.0 + (slope * held) ** power)
            # Side path: side = a·x + b, whatever x will turn out to be.
            a = gain * (1.0 - share * lead / (1.0 + lead)) / (1.0 + slide)
            b = (-gain * share * lead_state / (1.0 + lead) - slide_state) / (1.0 + slide)
            x = (signal[i, channel] - b) / (1.0 + a) if decode else signal[i, channel]
            side = a * x + b
            added = min(ceiling, max(-ceiling, side))
            if decode:
                x = signal[i, channel] - added
                out[i, channel] = x
                side = a * x + b
            else:
                out[i, channel] = x + added
            low = (lead * x + lead_state) / (1.0 + lead)
            lead_state = 2.0 * low - lead_state
            slide_state = 2.0 * (gain * (x - share * low) - side) - slide_state
            control = lift_0 * side + lift_1 * side_before - lift_2 * control
            side_before = side
            quick += fast * (control * control - quick)
            level = MEAN_OF_RMS * np.sqrt(quick)
            held += slow * (level - held)
            held = max(held, level - step)
        state[channel, 0], state[channel, 1], state[channel, 2] = lead_state, slide_state, side_before
        state[channel, 3], state[channel, 4], state[channel, 5] = control, quick, held


@numba.njit(cache=True, nogil=True)  # type: ignore[untyped-decorator, unused-ignore]
def type_a(signal: Floats, out: Floats, figures: Floats, state: Floats, decode: bool) -> None:
    """Type A over a block, shape (frames, channels), 1 for a sine of the reference level.

    `figures` are those of `noise_reduction.type_a_figures`; `state` has a row of `TYPE_A_STATES` for each channel.
    """
    gain, threshold, ceiling, slow, step = figures[:5]
    corners, fast = figures[5:8], figures[8:12]
    damping = np.sqrt(2.0)
    a, b, shares = np.empty(4), np.empty(4), np.empty(4)
    for channel in range(signal.shape[1]):
        filters = state[channel, :6]
        quick, held = state[channel, 6:10], state[channel, 10:14]
        for i in range(signal.shape[0]):
            # Bands 0, 2, 3: low-pass, high-pass, higher high-pass, each a·x + b; band 1 is what is left.
            for j in range(3):
                g = corners[j]
                s1, s2 = filters[2 * j], filters[2 * j + 1]
                whole = 1.0 + damping * g + g * g
                high_a, high_b = 1.0 / whole, -((damping + g) * s1 + s2) / whole
                band = 0 if j == 0 else j + 1
                if j == 0:
                    a[band], b[band] = g * g * high_a, g * (g * high_b + s1) + s2
                else:
                    a[band], b[band] = high_a, high_b
            a[1], b[1] = 1.0 - a[0] - a[2], -b[0] - b[2]
            total_a, total_b = 0.0, 0.0
            for k in range(4):
                level = (held[k] / threshold) ** 2
                shares[k] = gain / np.sqrt(np.sqrt(1.0 + level * level))
                total_a += shares[k] * a[k]
                total_b += shares[k] * b[k]
            x = (signal[i, channel] - total_b) / (1.0 + total_a) if decode else signal[i, channel]
            added = min(ceiling, max(-ceiling, total_a * x + total_b))
            if decode:
                x = signal[i, channel] - added
                out[i, channel] = x
            else:
                out[i, channel] = x + added
            for j in range(3):
                g = corners[j]
                s1, s2 = filters[2 * j], filters[2 * j + 1]
                high = (x - (damping + g) * s1 - s2) / (1.0 + damping * g + g * g)
                middle = g * high + s1
                low = g * middle + s2
                filters[2 * j], filters[2 * j + 1] = g * high + middle, g * middle + low
            for k in range(4):
                quick[k] += fast[k] * ((a[k] * x + b[k]) ** 2 - quick[k])
                level = MEAN_OF_RMS * np.sqrt(quick[k])
                held[k] += slow * (level - held[k])
                held[k] = max(held[k], level - step)


def warm() -> None:
    """Compile everything now, so that no stream waits for it."""
    nothing = np.zeros((2, 1))
    for decode in (False, True):
        type_b(nothing, nothing.copy(), np.full(13, 0.5), np.zeros((1, TYPE_B_STATES)), decode)
        type_a(nothing, nothing.copy(), np.full(12, 0.5), np.zeros((1, TYPE_A_STATES)), decode)
