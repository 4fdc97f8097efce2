"""Announcements, as on reference tapes: a synthetic voice."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

Floats = NDArray[np.float64]

FORMANTS = ((700, 1200, 2600), (300, 2300, 3000), (450, 800, 2500), (350, 2000, 2700), (550, 1700, 2500))
"""Formants of five vowels, Hz (from memory)."""


def announcement(rng: np.random.Generator, seconds: float, rate: float, dbfs: float) -> Floats:
    """One channel of speech: syllables of vowels and hisses, with a pitch that moves by a few semitones."""
    out = np.zeros(int(seconds * rate))
    pitch = rng.uniform(95.0, 210.0)
    at = 0
    while at < len(out):
        count = min(int(rng.uniform(0.12, 0.35) * rate), len(out) - at)
        t = np.arange(count) / rate
        hz = pitch * 2.0 ** ((rng.uniform(-3, 3) + rng.uniform(-4, 4) * t / t[-1]) / 12.0) if count > 1 else pitch
        turns = np.cumsum(np.broadcast_to(hz, count)) / rate
        source = np.diff(np.floor(turns), prepend=0.0) + 0.01 * rng.standard_normal(count)
        for formant in FORMANTS[rng.integers(len(FORMANTS))]:
            r = np.exp(-np.pi * 90.0 / rate)
            source = lfilter([1.0 - r], [1.0, -2 * r * np.cos(2 * np.pi * formant / rate), r * r], source)
        out[at : at + count] += source / (np.abs(source).max() + 1e-12) * np.hanning(count) ** 0.5
        at += count
        hiss = min(int(rng.uniform(0.03, 0.12) * rate), len(out) - at)
        out[at : at + hiss] += 0.1 * np.diff(rng.standard_normal(hiss + 1)) * np.hanning(max(hiss, 1))
        at += hiss
    return np.asarray(out * 10.0 ** (dbfs / 20.0))
