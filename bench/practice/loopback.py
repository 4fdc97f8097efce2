"""Loopback: a simulated interface whose output is connected to its input.

It has a gain, a one-pole high-pass and low-pass filter, a cubic term for the third harmonic, white noise and a delay. A
fault can add automatic gain control, which raises soft sounds as the sound settings of laptops do. The figures are
those of an ordinary interface: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from bench.arrays import Floats
from bench.practice.facts import Table
from bench.practice.physics import with_values

RATE = 48000
CHUNK = 960
"""Frames processed at a time; the automatic gain changes from one chunk to the next."""

AUTOMATIC_GAIN_TARGET = 10 ** (-14 / 20)
"""Peak level to which the automatic gain raises its input."""
LARGEST_GAIN = 10 ** (30 / 20)
GAIN_SMOOTHING = 0.85
"""Fraction of the previous gain that remains after a chunk."""


@dataclass(frozen=True, slots=True)
class LoopbackFacts:
    """Figures of the interface."""

    gain_db: float = -1.5
    full_scale_output_v: float = 1.95
    """Rms volts of a full-scale sine at its output."""
    noise_dbfs: float = -92.0
    """White noise, rms re a full-scale sine."""
    third_harmonic_percent: float = 0.004
    """Third harmonic of a full-scale sine."""
    low_hz: float = 4.0
    high_hz: float = 120000.0
    """The −3 dB frequencies."""
    delay_ms: float = 24.0
    automatic_gain: bool = False
    swapped_channels: bool = False
    clock_ppm: float = 18.0
    """Error of its sample clock; positive is fast."""


def loopback_facts(changes: Sequence[tuple[str, Table]]) -> LoopbackFacts:
    """An ordinary interface with its faults.

    Args:
        changes: name and `[practice]` table of each fault.

    Raises:
        Problem: an unknown key, or a value of the wrong kind.
    """
    facts = LoopbackFacts()
    for name, table in changes:
        facts = with_values(facts, table, name, "practice loop")
    return facts


class PracticeLoopback:
    """Output to input, at 48 kHz.

    Args:
        facts: figures of the interface.
        seed: random seed of its noise.
    """

    rate = RATE

    def __init__(self, facts: LoopbackFacts, *, seed: int) -> None:
        self.facts = facts
        self._rng = np.random.default_rng([seed, 0x10])
        self._delay_line = np.zeros((round(facts.delay_ms * RATE / 1000), 2))
        low, high = (np.exp(-2 * np.pi * hz / RATE) for hz in (facts.low_hz, facts.high_hz))
        self._low = (np.array([1.0, -1.0]) * (1 + low) / 2, np.array([1.0, -low]))
        self._high = (np.array([1 - high]), np.array([1.0, -high]))
        self._filter_states = [np.zeros((1, 2)), np.zeros((1, 2))]
        self._automatic_gain = 1.0
        self._sent = np.zeros((RATE, 2))

    def process(self, sent: Floats) -> Floats:
        """The input for this output; shape (frames, 2), full scale ±1."""
        self._sent = np.concatenate([self._sent, sent])[-RATE:]
        delayed = np.concatenate([self._delay_line, sent])
        x, self._delay_line = delayed[: len(sent)], delayed[len(sent) :]
        facts = self.facts
        x = x * 10 ** (facts.gain_db / 20)
        x = x - 4 * facts.third_harmonic_percent / 100 * x**3
        for n, (b, a) in enumerate((self._low, self._high)):
            x, self._filter_states[n] = lfilter(b, a, x, axis=0, zi=self._filter_states[n])
        x = x + 10 ** (facts.noise_dbfs / 20) / np.sqrt(2) * self._rng.standard_normal(x.shape)
        if facts.swapped_channels:
            x = x[:, ::-1]
        return self._apply_automatic_gain(x) if facts.automatic_gain else x

    def _apply_automatic_gain(self, x: Floats) -> Floats:
        out = np.empty_like(x)
        for at in range(0, len(x), CHUNK):
            piece = x[at : at + CHUNK]
            wanted = min(LARGEST_GAIN, max(1.0, AUTOMATIC_GAIN_TARGET / max(float(np.abs(piece).max()), 1e-9)))
            self._automatic_gain = GAIN_SMOOTHING * self._automatic_gain + (1 - GAIN_SMOOTHING) * wanted
            out[at : at + CHUNK] = piece * self._automatic_gain
        return out

    def voltmeter_v(self) -> float:
        """Reading of a voltmeter at the output: rms of the last second of the louder channel, volts."""
        return float(np.sqrt(2 * np.mean(self._sent**2, axis=0)).max()) * self.facts.full_scale_output_v

    def counter_hz(self) -> float:
        """Reading of a counter at the output: the strongest tone of the last second, Hz; 0 in silence.

        Both halves are shifted down by the frequency of the strongest line; their phase difference gives the remainder.
        """
        x = self._sent[:, 0] + self._sent[:, 1]
        half = RATE // 2
        spectrum = np.abs(np.fft.rfft(x[:half] * np.hanning(half)))
        if not spectrum.max() > 0:
            return 0.0
        near = float(np.argmax(spectrum)) * RATE / half
        shifted = x * np.exp(-2j * np.pi * near * np.arange(RATE) / RATE)
        first, second = (np.sum(part * np.hanning(half)) for part in (shifted[:half], shifted[half:]))
        off = float(np.angle(second / first)) / (2 * np.pi) * RATE / half
        return (near + off) * (1 + self.facts.clock_ppm * 1e-6)
