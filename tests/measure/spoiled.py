"""Stereo tones with everything that a tape and a mains lead add, made from their definitions alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Tone:
    """A tone in two channels."""

    hz: float
    dbfs: float
    seconds: float
    speed: float = 0.0
    """Speed error of the tape, as a fraction: 0.01 is 1 % fast."""
    flutter: tuple[tuple[float, float], ...] = ()
    """Rate in Hz and peak deviation, as a fraction of the speed."""
    delay_s: float = 0.0
    """Delay of the right channel."""
    right_db: float = 0.0
    """Level of the right channel relative to the left."""
    harmonics: tuple[float, ...] = ()
    """Amplitudes of harmonics 2, 3 … relative to the fundamental."""


def stereo(tone: Tone, rate: float, rng: np.random.Generator | None = None) -> Floats:
    """Shape (frames, 2). Phases are random with a generator, else zero."""
    t = np.arange(round(tone.seconds * rate)) / rate
    start = rng.uniform(0, 2 * np.pi) if rng else 0.0
    phases = [rng.uniform(0, 2 * np.pi) if rng else 0.0 for _ in tone.flutter]
    out = []
    for lag, db in ((0.0, 0.0), (tone.delay_s, tone.right_db)):
        turns = (1.0 + tone.speed) * (t - lag)
        for (fm, peak), phase in zip(tone.flutter, phases, strict=True):
            turns = turns + peak / (2 * np.pi * fm) * np.sin(2 * np.pi * fm * (t - lag) + phase)
        angle = 2 * np.pi * tone.hz * turns + start
        x = np.sin(angle)
        for k, part in enumerate(tone.harmonics, 2):
            x = x + part * np.sin(k * angle + 0.4 * k)
        out.append(10.0 ** ((tone.dbfs + db) / 20.0) * x)
    return np.stack(out, axis=1)


def hiss(frames: int, dbfs: float, rate: float, rng: np.random.Generator) -> Floats:
    """White noise whose rms within 20 kHz is that of a sine of this level, independent in two channels."""
    rms = 10.0 ** (dbfs / 20.0) / np.sqrt(2.0) * np.sqrt(rate / 40000.0)
    return np.asarray(rms * rng.standard_normal((frames, 2)))


def hum(frames: int, dbfs: float, rate: float, rng: np.random.Generator, mains_hz: float = 50.0) -> Floats:
    """Mains hum: the fundamental at this level, second and third harmonic 3 and 6 dB below; stronger on the right."""
    t = np.arange(frames) / rate
    x = np.zeros(frames)
    for k in range(3):
        x += 10.0 ** ((dbfs - 3.0 * k) / 20.0) * np.sin(2 * np.pi * mains_hz * (k + 1) * t + rng.uniform(0, 2 * np.pi))
    return np.stack([x, 1.2 * x], axis=1)


def silence(seconds: float, rate: float) -> Floats:
    """Two silent channels."""
    return np.zeros((round(seconds * rate), 2))


def after(parts: Sequence[Floats]) -> Floats:
    """Join parts one after another."""
    return np.concatenate(list(parts))


def knowledge(seconds: float, snr_db: float) -> float:
    """K of the Cramér-Rao bounds: samples × SNR of a sample = 2 · 20 kHz · T · SNR in 20 kHz."""
    return float(2.0 * 20000.0 * seconds * 10.0 ** (snr_db / 10.0))
