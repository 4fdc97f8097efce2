"""An interface whose output is plugged into its input: what the practice loop does to what is sent.

A gain, a one-pole high-pass and low-pass, a cubic for the third harmonic, white noise, a delay; and, where the sheet of
the fault says so, an automatic gain that lifts what is soft, as the sound settings of laptops do. Figures are common
practice for a plain interface, no source.
"""

from __future__ import annotations

import dataclasses
import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from bench.problem import Problem

Floats = NDArray[np.float64]

RATE = 48000
CHUNK = 960
"""Frames in which it works: the automatic gain moves from one to the next."""

GAIN_AIM = 10 ** (-14 / 20)
"""Peak to which the automatic gain brings what it hears."""
MOST_LIFT = 10 ** (30 / 20)
GAIN_SLOWNESS = 0.85
"""What is left of the old gain after a chunk."""


@dataclass(frozen=True, slots=True)
class LoopFacts:
    """What the loop is like."""

    gain_db: float = -1.5
    full_scale_output_v: float = 1.95
    """Rms volts of a full-scale sine at its output."""
    noise_dbfs: float = -92.0
    """White, rms re a full-scale sine."""
    third_harmonic_percent: float = 0.004
    """Of a full-scale sine."""
    low_hz: float = 4.0
    high_hz: float = 120000.0
    """Where it has lost 3 dB."""
    delay_ms: float = 24.0
    automatic_gain: bool = False
    swapped_channels: bool = False
    clock_ppm: float = 18.0
    """How much too fast its sample clock runs."""


def loop_facts(changes: Sequence[tuple[str, Mapping[str, float | str | bool]]]) -> LoopFacts:
    """A plain interface with what faults change in it.

    Args:
        changes: name and `[practice]` table of each.

    Raises:
        Problem: a key or a value that the practice loop does not know.
    """
    known = {f.name: f for f in dataclasses.fields(LoopFacts)}
    values: dict[str, float | bool] = {}
    for name, table in changes:
        for key, value in table.items():
            if key not in known:
                near = difflib.get_close_matches(key, known, n=1)
                hint = f"did you mean {near[0]}?" if near else f"it may be one of {', '.join(known)}"
                raise Problem(f"{name}: practice.{key} is nothing the practice loop knows; {hint}")
            switch = known[key].type == "bool"
            if isinstance(value, bool) != switch or isinstance(value, str):
                raise Problem(f"{name}: practice.{key} must be {'true or false' if switch else 'a number'}")
            values[key] = value if isinstance(value, bool) else float(value)
    return LoopFacts(**values)  # type: ignore[arg-type]


class PracticeLoop:
    """Output to input, at 48 kHz.

    Args:
        facts: what it is like.
        seed: draws its noise.
    """

    rate = RATE

    def __init__(self, facts: LoopFacts, *, seed: int) -> None:
        self.facts = facts
        self._rng = np.random.default_rng([seed, 0x10])
        self._line = np.zeros((round(facts.delay_ms * RATE / 1000), 2))
        low, high = (np.exp(-2 * np.pi * hz / RATE) for hz in (facts.low_hz, facts.high_hz))
        self._low = (np.array([1.0, -1.0]) * (1 + low) / 2, np.array([1.0, -low]))
        self._high = (np.array([1 - high]), np.array([1.0, -high]))
        self._kept = [np.zeros((1, 2)), np.zeros((1, 2))]
        self._lift = 1.0
        self._sent = np.zeros((RATE, 2))

    @property
    def sent(self) -> Floats:
        """The last second that was sent."""
        return self._sent

    def process(self, sent: Floats) -> Floats:
        """What comes in while this goes out; shape (frames, 2), full scale ±1."""
        self._sent = np.concatenate([self._sent, sent])[-RATE:]
        line = np.concatenate([self._line, sent])
        x, self._line = line[: len(sent)], line[len(sent) :]
        facts = self.facts
        x = x * 10 ** (facts.gain_db / 20)
        x = x - 4 * facts.third_harmonic_percent / 100 * x**3
        for n, (b, a) in enumerate((self._low, self._high)):
            x, self._kept[n] = lfilter(b, a, x, axis=0, zi=self._kept[n])
        x = x + 10 ** (facts.noise_dbfs / 20) / np.sqrt(2) * self._rng.standard_normal(x.shape)
        if facts.swapped_channels:
            x = x[:, ::-1]
        return self._levelled(x) if facts.automatic_gain else x

    def _levelled(self, x: Floats) -> Floats:
        out = np.empty_like(x)
        for at in range(0, len(x), CHUNK):
            piece = x[at : at + CHUNK]
            wanted = min(MOST_LIFT, max(1.0, GAIN_AIM / max(float(np.abs(piece).max()), 1e-9)))
            self._lift = GAIN_SLOWNESS * self._lift + (1 - GAIN_SLOWNESS) * wanted
            out[at : at + CHUNK] = piece * self._lift
        return out

    def volts(self) -> float:
        """What a voltmeter at the output reads now: rms of the last second of the louder channel."""
        return float(np.sqrt(2 * np.mean(self._sent**2, axis=0)).max()) * self.facts.full_scale_output_v

    def hertz(self) -> float:
        """What a counter at the output reads now, of the strongest tone of the last second; 0 in silence.

        Its two halves are turned back by the frequency of the highest line: the phase between them is the rest.
        """
        x = self._sent[:, 0] + self._sent[:, 1]
        half = RATE // 2
        spectrum = np.abs(np.fft.rfft(x[:half] * np.hanning(half)))
        if not spectrum.max() > 0:
            return 0.0
        near = float(np.argmax(spectrum)) * RATE / half
        turned = x * np.exp(-2j * np.pi * near * np.arange(RATE) / RATE)
        first, second = (np.sum(part * np.hanning(half)) for part in (turned[:half], turned[half:]))
        off = float(np.angle(second / first)) / (2 * np.pi) * RATE / half
        return (near + off) * (1 + self.facts.clock_ppm * 1e-6)
