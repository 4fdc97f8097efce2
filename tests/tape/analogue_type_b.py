"""A Type B circuit as a network of two RC sections, stepped finely: a model that shares no filter with the program.

Each section is stepped exactly for a straight line between two samples. The figures are those of the static law (our
fit to the data sheet) with the time constants of the detector, 1 ms and 100 ms (from memory).
"""

from __future__ import annotations

import math

import numba
import numpy as np


@numba.njit(nogil=True)  # type: ignore[untyped-decorator, unused-ignore]
def _step(angle: float) -> tuple[float, float, float]:
    """What an RC low-pass keeps of its voltage, and takes of the input at the end and at the start of a step."""
    kept = math.exp(-angle)
    mean = (1 - kept) / angle
    return kept, 1 - mean, mean - kept


@numba.njit(nogil=True)  # type: ignore[untyped-decorator, unused-ignore]
def analogue_type_b(signal: np.ndarray, rate: float, decoding: bool) -> np.ndarray:
    """Encode or decode one channel; at 14 kHz it needs a rate of about 700 kHz."""
    share, per_sample = 1 - 170.7 / 1822.9, 2 * math.pi / rate
    out = np.empty_like(signal)
    first, second, x_before, lead_before, side_before, mean_square, held = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    kept_1, new_1, old_1 = _step(1822.9 * per_sample)
    for n in range(signal.size):
        corner = 172.5 * (1 + (7.676 * math.pi / 2 * held) ** 2.847)
        kept_2, new_2, old_2 = _step(corner * per_sample)
        first_b, second_b = kept_1 * first + old_1 * x_before, kept_2 * second + old_2 * lead_before
        a = 2.339 * (1 - share * new_1) * (1 - new_2)
        b = -2.339 * share * first_b * (1 - new_2) - second_b
        x = (signal[n] - b) / (1 + a) if decoding else signal[n]
        added = min(0.26, max(-0.26, a * x + b))
        if decoding:
            x = signal[n] - added
        out[n] = x if decoding else x + added
        first = first_b + new_1 * x
        lead = 2.339 * (x - share * first)
        second = second_b + new_2 * lead
        side = lead - second
        control = side + (side - side_before) / (850.8 * per_sample)
        mean_square += (control**2 - mean_square) / (0.001 * rate)
        level = math.sqrt(8 * mean_square) / math.pi
        held = max(held + (level - held) / (0.1 * rate), level - 0.12)
        x_before, lead_before, side_before = x, lead, side
    return out
