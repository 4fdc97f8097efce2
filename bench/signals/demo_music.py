"""A short piece of synthetic music, used if no other is given."""

from __future__ import annotations

import numpy as np

from bench.arrays import Floats
from bench.signals.tones import envelope

SECONDS = 10.0
BEAT_S = 0.5
PEAK = 0.7
SOFT_DB = -18.0
"""Level of the second half re the first: noise reduction acts on soft sounds."""
CHORDS_HZ = ((110.0, 220.0, 277.18, 329.63), (98.0, 196.0, 246.94, 293.66))
"""A major and G major, in equal temperament on 440 Hz; each half has one after the other."""
MELODY_HZ = (880.0, 659.26, 1108.73, 987.77, 1318.51, 880.0, 1479.98, 1108.73)
BAR_PARTIALS = (1.0, 2.757, 5.404, 8.933)
"""Partials of a struck bar with free ends, re the lowest: from the theory of thin beams."""
_TABLE = 16384


def demo_music(sample_rate: int) -> Floats:
    """Ten seconds of sustained chords with many harmonics, struck bars and a cymbal; a loud half, then a soft half.

    Bright and percussive sounds reveal lost treble, sustained sounds reveal an unsteady level.

    Args:
        sample_rate: frames per second, at least 32000.

    Returns:
        Shape (frames, 2), always the same, peak at -3 dB re full scale.
    """
    frames = round(SECONDS * sample_rate)
    out = np.zeros((frames, 2))
    rng = np.random.default_rng(1962)
    half = frames // 2
    for loud, start in ((1.0, 0), (10 ** (SOFT_DB / 20), half)):
        for bar, chord in enumerate(CHORDS_HZ):
            at, length = start + bar * half // 2, half // 2
            _mix_in(out, at, 0.11 * loud * _chord(chord, length, sample_rate))
        for n in range(round(SECONDS / 2 / BEAT_S) * 2):
            at = start + round(n * BEAT_S / 2 * sample_rate)
            _mix_in(out, at, 0.16 * loud * (1.0 if n % 4 == 0 else 0.6) * _cymbal(rng, sample_rate))
            if n % 2 == 0:
                hz = MELODY_HZ[n // 2 % len(MELODY_HZ)]
                _mix_in(out, at, 0.22 * loud * _struck_bar(hz, sample_rate))
    return np.asarray(out * (PEAK / np.abs(out).max()))


def _mix_in(out: Floats, at: int, sound: Floats) -> None:
    end = min(len(out), at + len(sound))
    out[at:end] += sound[: end - at]


def _chord(chord: tuple[float, ...], frames: int, rate: int) -> Floats:
    """Notes with harmonics up to 16 kHz that fall by 4.5 dB per octave, with different phases in the two channels."""
    n = np.arange(frames)
    out = np.zeros((frames, 2))
    for note, hz in enumerate(chord):
        harmonics = np.arange(1, int(16000 / hz) + 1)
        spectrum = np.zeros(_TABLE // 2 + 1, dtype=complex)
        spectrum[harmonics] = harmonics**-0.75 * np.exp(2.399j * harmonics**2) * _TABLE / 8
        turn = np.fft.irfft(spectrum, _TABLE)
        for channel in range(2):
            phase = n * hz / rate + 0.37 * note * channel
            out[:, channel] += np.interp(phase % 1.0, np.arange(_TABLE + 1) / _TABLE, np.append(turn, turn[0]))
    swell = np.minimum(1.0, n / (0.08 * rate)) * np.minimum(1.0, (frames - n) / (0.15 * rate))
    return np.asarray(out * swell[:, None])


def _cymbal(rng: np.random.Generator, rate: int) -> Floats:
    """Noise around a sixth of the sample rate that decays in a quarter of a second."""
    n = np.arange(round(0.25 * rate))
    white = rng.standard_normal((n.size + 4, 2))
    # (1 - z)(1 + z)³: nothing at 0 Hz, and little above the band of a cassette.
    bright = white[4:] + 2 * white[3:-1] - 2 * white[1:-3] - white[:-4]
    return np.asarray(0.25 * bright * (np.exp(-n / (0.05 * rate)) * envelope(n, n.size, rate))[:, None])


def _struck_bar(hz: float, rate: int) -> Floats:
    """A struck bar: the higher a partial, the faster its decay."""
    n = np.arange(round(1.2 * rate))
    sound = np.zeros(n.size)
    for partial in BAR_PARTIALS:
        if partial * hz < 16000:
            sound += (
                partial**-0.5 * np.exp(-n * partial**0.7 / (0.3 * rate)) * np.sin(2 * np.pi * partial * hz * n / rate)
            )
    sound *= envelope(n, n.size, rate)
    return np.stack((sound, 0.8 * sound), axis=1)
