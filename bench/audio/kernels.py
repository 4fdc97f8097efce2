"""Compiled loops over samples."""

from __future__ import annotations

import numba
import numpy as np

from bench.arrays import Floats


@numba.njit(cache=True, nogil=True)  # type: ignore[untyped-decorator, unused-ignore]
def quantise(samples: Floats, drawn: np.ndarray, bits: int, out: np.ndarray) -> None:
    """Round samples to `bits` bits in the top bits of 32, clipped at full scale, with triangular dither.

    Args:
        samples: of shape (frames, channels), full scale ±1.
        drawn: random numbers of 32 bits, whose halves are the two of each sample's dither.
        bits: of the result.
        out: the result, of the same shape.
    """
    full = 2.0 ** (bits - 1)
    for frame in range(samples.shape[0]):
        for channel in range(samples.shape[1]):
            two = drawn[frame, channel]
            dither = (float(two >> 16) - float(two & 0xFFFF)) * 2.0**-16
            step = np.rint(samples[frame, channel] * full + dither)
            out[frame, channel] = np.int32(min(max(step, -full), full - 1)) << (32 - bits)
