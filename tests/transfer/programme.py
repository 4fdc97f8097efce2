"""Programme to record and decode, and measurements of the result that are independent of the program."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.signal import welch

TONES = tuple((hz, db) for hz in (4000.0, 10000.0) for db in (-20.0, -30.0, -40.0))
TONE_S = 0.8
OCTAVES = (63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
"""Nominal mid-band frequencies (IEC 61260-1)."""


def pink_bursts(seconds: float, rate: int, seed: int = 0) -> np.ndarray:
    """Pink noise at -20 dB rms re a sine of 1, in bursts of 1/3 s that alternate by 20 dB; shape (frames, 2)."""
    n = round(seconds * rate)
    rng = np.random.default_rng(seed)
    spectrum = np.fft.rfft(rng.standard_normal((n, 2)), axis=0)
    hz = np.fft.rfftfreq(n, 1 / rate)
    spectrum[1:] /= np.sqrt(hz[1:, None])
    spectrum[(hz < 30) | (hz > 15000)] = 0
    noise = np.fft.irfft(spectrum, n, axis=0)
    noise *= 0.07 / np.std(noise)
    loud = (np.arange(n) * 3 // rate) % 2
    return np.asarray(noise * np.where(loud, 1.0, 0.1)[:, None])


def tones(rate: int) -> np.ndarray:
    """Each of `TONES` for `TONE_S`, re a sine of 1; shape (frames, 2)."""
    t = np.arange(round(TONE_S * rate)) / rate
    sound = np.concatenate([10 ** (db / 20) * np.sin(2 * np.pi * hz * t) for hz, db in TONES])
    return np.stack((sound, sound), axis=1)


def tone_levels(sound: np.ndarray, rate: int) -> np.ndarray:
    """Level of each of `TONES` in both channels, dB, by windowed power within 3 % of it; (tones, 2)."""
    length = round(TONE_S * rate)
    out = []
    for n, (hz, _) in enumerate(TONES):
        part = sound[n * length + length // 2 : (n + 1) * length - length // 20]
        power = np.abs(np.fft.rfft(part * np.hanning(len(part))[:, None], axis=0)) ** 2
        bins = np.fft.rfftfreq(len(part), 1 / rate)
        inside = np.abs(bins / hz - 1) < 0.03
        out.append(10 * np.log10(4 * power[inside].sum(axis=0) / (1.5 * (len(part) / 2) ** 2 * 2)))
    return np.array(out)


def octave_levels(sound: np.ndarray, rate: int) -> np.ndarray:
    """Level in each of `OCTAVES` and both channels, dB; (octaves, 2)."""
    bins, power = welch(sound, rate, nperseg=8192, axis=0)
    return np.array(
        [
            10 * np.log10(power[(bins > hz / 2**0.5) & (bins < hz * 2**0.5)].sum(axis=0) * (bins[1] - bins[0]))
            for hz in OCTAVES
        ]
    )


def blocks(sound: np.ndarray, frames: int = 65536) -> Iterator[np.ndarray]:
    for at in range(0, len(sound), frames):
        yield sound[at : at + frames]
