"""Noise reduction, sample by sample. Encoder and decoder share one loop: the decoder solves it for its input."""

from __future__ import annotations

import numba
import numpy as np

from bench.arrays import Floats

TYPE_B_STATES = 8
STEPS = 512
"""Rows of the table of the sliding section for a control level of 1. Each has its values and how far it is to those of
the next; linear interpolation errs by 0.001 dB."""
TYPE_A_STATES = 20
MEAN_OF_RMS = float(np.sqrt(8) / np.pi)
"""Ratio of the mean of a rectified sine to its rms. The detector squares, because the mean square does not depend on
the sampling phase; the mean of |sine| does."""


@numba.njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract"})  # type: ignore[untyped-decorator, unused-ignore]
def type_b(  # noqa: PLR0917 - compiled code is called by position
    signal: Floats, out: Floats, coefficients: Floats, state: Floats, gains: Floats, decode: bool
) -> None:
    """Type B over a block, shape (frames, channels).

    `coefficients` are from `noise_reduction.type_b_coefficients`; `state` has a row of `TYPE_B_STATES` per channel,
    `gains` one of those ahead of the circuit and after it.
    """
    gain, share, fixed, fixed_pole, boost_0, boost_1, boost_2, ceiling, fast, slow, large_change = coefficients[:11]
    sliding = coefficients[11:].reshape(-1, 6)
    last = len(sliding) - 0.001
    low_now, low_kept = fixed / (1.0 + fixed), 1.0 / (1.0 + fixed)
    lead_now, lead_kept = gain * (1.0 - share * low_now), -gain * share * low_kept
    # Channels are in the inner loop, so that the processor works on one during the divisions of the other. Time goes
    # into the chain from one control level to the next: what can be computed beside it is kept out of it.
    for i in range(signal.shape[0]):
        for channel in range(signal.shape[1]):
            own = state[channel]
            fixed_state, lead_before, turned_before = own[0], own[1], own[2]
            side_before, control, fast_state, held, held_before = own[3:8]
            # The mean of two samples, or modulation would fill the band up to half the sample rate.
            place = min(last, (held + held_before) * (STEPS / 2.0))  # the last row too where there is no number
            whole = int(place)
            between, at = place - whole, sliding[np.uint64(whole)]  # unsigned: not checked for counting from the end
            now, before, pole = at[0] + between * at[3], at[1] + between * at[4], at[2] + between * at[5]
            # Side path: side = a·x + b, where the decoder has to solve for x.
            lead_b = lead_kept * fixed_state
            turned_b = lead_b - lead_before - fixed_pole * turned_before
            a = now * lead_now
            b = now * turned_b + (before * turned_before + pole * side_before)
            sample = gains[channel, 0] * signal[i, channel]
            x = (sample - b) * (1.0 / (1.0 + a)) if decode else sample
            side = a * x + b
            added = side
            if abs(side) > ceiling:
                added = min(ceiling, max(-ceiling, side))
                if decode:
                    x = sample - added
                    side = a * x + b
            out[i, channel] = gains[channel, 1] * (x if decode else x + added)
            lead = lead_now * x + lead_b
            own[0] = fixed_state + 2.0 * (low_now * x + low_kept * fixed_state - fixed_state)
            own[1], own[2] = lead, lead - lead_before - fixed_pole * turned_before
            control = (boost_1 * side_before - boost_2 * control) + boost_0 * side
            fast_state += fast * (control * control - fast_state)
            level = MEAN_OF_RMS * np.sqrt(fast_state)
            own[3], own[4], own[5] = side, control, fast_state
            own[6] = max((1.0 - slow) * held + slow * level, level - large_change)
            own[7] = held


@numba.njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract"})  # type: ignore[untyped-decorator, unused-ignore]
def type_a(  # noqa: PLR0917 - compiled code is called by position
    signal: Floats, out: Floats, coefficients: Floats, state: Floats, gains: Floats, decode: bool
) -> None:
    """Type A over a block, shape (frames, channels).

    `coefficients` are from `noise_reduction.type_a_coefficients`; `state` has a row of `TYPE_A_STATES` per channel,
    `gains` one of those ahead of the circuit and after it.
    """
    gain, threshold, ceiling, slow, large_change = coefficients[:5]
    fast, sections = coefficients[5:9], coefficients[9:].reshape(3, 9)
    a, b = np.empty(4), np.empty(4)
    for j in range(3):
        a[j] = sections[j, 0]
    a[3] = 1.0 - a[0] - a[1]
    for i in range(signal.shape[0]):
        for channel in range(signal.shape[1]):
            own = state[channel]
            # Each band is a·x + b: the low-pass, the high-pass, the higher high-pass, and what the first two leave.
            for j in range(3):
                b[j] = own[4 * j]
            b[3] = -b[0] - b[1]
            total_a, total_b = 0.0, 0.0
            for k in range(4):
                level = (own[16 + k] / threshold) ** 2
                side_gain = gain / np.sqrt(np.sqrt(1.0 + level * level))
                total_a += side_gain * a[k]
                total_b += side_gain * b[k]
            sample = gains[channel, 0] * signal[i, channel]
            x = (sample - total_b) / (1.0 + total_a) if decode else sample
            added = min(ceiling, max(-ceiling, total_a * x + total_b))
            if decode:
                x = sample - added
            out[i, channel] = gains[channel, 1] * (x if decode else x + added)
            for k in range(4):
                band = a[k] * x + b[k]
                if k < 3:
                    for n in range(3):
                        own[4 * k + n] = sections[k, 1 + n] * x - sections[k, 5 + n] * band + own[4 * k + n + 1]
                    own[4 * k + 3] = sections[k, 4] * x - sections[k, 8] * band
                own[12 + k] += fast[k] * (band * band - own[12 + k])
                level = MEAN_OF_RMS * np.sqrt(own[12 + k])
                held = own[16 + k] + slow * (level - own[16 + k])
                own[16 + k] = max(held, level - large_change)


def warm() -> None:
    """Compile all kernels before a stream needs them."""
    silence, gains = np.zeros((2, 1)), np.ones((1, 2))
    for decode in (False, True):
        type_b(silence, silence.copy(), np.full(11 + 2 * 6, 0.5), np.zeros((1, TYPE_B_STATES)), gains, decode)
        type_a(silence, silence.copy(), np.full(9 + 3 * 9, 0.5), np.zeros((1, TYPE_A_STATES)), gains, decode)
