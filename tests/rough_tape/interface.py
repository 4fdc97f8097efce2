"""From the output of a machine to a file: the converter, its clock, and processing that was left on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

Floats = NDArray[np.float64]


def captured(samples: Floats, rng: np.random.Generator, bits: int, offset: float = 1e-4) -> Floats:
    """Add an offset and dither, and round."""
    steps = 2.0 ** (bits - 1)
    dither = rng.random(samples.shape) + rng.random(samples.shape) - 1.0
    moved = samples + rng.uniform(-offset, offset, samples.shape[1])
    return np.asarray(np.clip(np.round(moved * steps + dither), -steps, steps - 1) / steps)


def automatic_gain(samples: Floats, rate: float, target_dbfs: float = -12.0, most_db: float = 30.0) -> Floats:
    """An automatic gain, down at once and up slowly; common practice, no source."""
    step = max(1, round(0.01 * rate))
    count = len(samples) // step
    size = np.abs(samples[: count * step]).reshape(count, -1).max(axis=1)
    gain, out = most_db, np.empty(count)
    for n, peak in enumerate(size):
        wanted = min(most_db, target_dbfs - 20.0 * np.log10(max(peak, 1e-6)))
        gain += (wanted - gain) * (0.3 if wanted < gain else 0.003)
        out[n] = gain
    smooth = np.interp(np.arange(len(samples)) / step, np.arange(count) + 0.5, out)
    return np.asarray(samples * 10.0 ** (smooth / 20.0)[:, None])


def clipped(samples: Floats, high: float, low: float, rate: float) -> Floats:
    """An amplifier that clips before the converter, asymmetrically, and a coupling capacitor after it."""
    cut = np.clip(samples, low, high)
    pole = np.exp(-2 * np.pi * 5.0 / rate)
    return np.asarray(lfilter([1.0, -1.0], [1.0, -pole], cut, axis=0))
