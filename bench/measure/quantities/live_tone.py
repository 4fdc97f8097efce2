"""The live meter of one tone, as shown by an adjust step while a trimmer is turned.

It measures the last window of the input (half a second by default), so a step in level is approached linearly and shown
in full after that time. A tone that has just started is measured from its start.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Floats
from bench.figures import hertz
from bench.measure.quantities.speed import speed_of_tone
from bench.measure.reading import Channel, NoReading, Result
from bench.measure.signal.blocks import Samples
from bench.measure.signal.spectral_peaks import hann_power, strongest_peaks
from bench.measure.tone.demodulator import HALF, Spectra
from bench.measure.tone.estimate import measure_stretch
from bench.measure.tone.finding.finder import FoundTone, side_of
from bench.measure.tone.finding.frames import make_frames

SEARCH_RANGE = 0.065
"""Search range around the nominal frequency: enough for the worst speed error of a domestic machine, and for 3000 Hz
against 3150 Hz."""
SHORTEST_S = 0.1
NEIGHBOUR, NEAREST_HZ = 0.01, 60.0
"""Another peak with at least this fraction of the tone's power is filtered out, unless it is nearer than the second
and may be hum."""
UNSTEADY = 0.006
"""A tone's median deviation in frequency is at most this fraction of it; flutter of 0.3 % causes less."""
VAGUE_DB = 1.0
"""A level with a larger uncertainty is that of noise."""
READ_EVERY = 2
"""Chunks of 64 ms per reading."""


@dataclass(frozen=True, slots=True)
class WatchState:
    """The present state of the input."""

    asked_hz: float
    """Frequency of the requested tone."""
    sides: tuple[Channel, ...]
    reason: str
    """Why there is no reading: the end of "no reading, because …"; empty if the tone is present."""
    other_tone_hz: float | None
    """Frequency of the strongest tone, if it is not the requested one."""
    tone: FoundTone | None = None
    """The measured tone, if it is present; with its pair only where the channels are compared."""

    @property
    def tone_present(self) -> bool:
        """Whether the requested tone is present."""
        return self.tone is not None

    @property
    def frequency_hz(self) -> float | None:
        """Measured frequency of the requested tone."""
        return None if self.tone is None else self.tone.frequency_hz

    @property
    def levels(self) -> tuple[Result, ...]:
        """`level` of each channel, dBFS."""
        if self.tone is None:
            return tuple(self._nothing("level", side) for side in self.sides)
        return tuple(self.tone.level(c, self.asked_hz) for c in range(len(self.sides)))

    @property
    def speed(self) -> tuple[Result, ...]:
        """`speed_error` of each channel, relative to the requested frequency."""
        if self.tone is None:
            return tuple(self._nothing("speed_error", side) for side in self.sides)
        return tuple(speed_of_tone(self.tone, self.asked_hz))

    def _nothing(self, quantity: str, channel: Channel) -> NoReading:
        return NoReading(quantity, channel, self.reason, frequency_hz=self.asked_hz)


class _View(NamedTuple):
    """The input from which the next reading is taken."""

    centre: int | None
    z: list[NDArray[np.complex128]]
    end_s: float
    tone_hz: float
    clear_hz: float
    other: float | None


class ToneWatch:
    """Watches for one tone in a stream fed block by block.

    Args:
        sample_rate: frames per second.
        channels: 1 or 2.
        frequency_hz: the tone's nominal frequency.
        window_s: length of the input that is measured.
        paired: whether to compare the channels, for azimuth.
    """

    def __init__(
        self, sample_rate: float, channels: int, frequency_hz: float, *, window_s: float = 0.5, paired: bool = True
    ) -> None:
        self.frequency_hz = frequency_hz
        self._paired = paired
        self._sides = tuple(side_of(c, channels) for c in range(channels))
        self._spectra = Spectra(sample_rate, channels)
        self._keep = max(2, round(window_s * self._spectra.rate / HALF))
        self._recent: list[NDArray[np.complex128]] = []
        self._power: Floats | None = None
        """Power spectrum of the last chunk."""
        self._chunk = 0
        self._centre: int | None = None
        self._z: list[NDArray[np.complex128]] = []
        self._other: float | None = None
        self._tone_hz = frequency_hz
        self._clear_hz = 1e9
        self._view = _View(None, [], 0.0, frequency_hz, 1e9, None)
        self._state: WatchState | None = None

    def feed(self, samples: Samples) -> None:
        """Process samples of shape (frames, channels)."""
        for spectrum in self._spectra.feed(samples):
            self._recent = [*self._recent[-self._keep + 1 :], spectrum]
            there = self._centre is not None
            self._follow()
            self._chunk += 1
            if self._chunk % READ_EVERY == 0 or there != (self._centre is not None):
                end_s = self._spectra.start_of(self._chunk) / self._spectra.rate
                self._view = _View(self._centre, self._z, end_s, self._tone_hz, self._clear_hz, self._other)
                self._state = None

    def now(self) -> WatchState:
        """The readings over the last window, updated about eight times a second."""
        if self._state is None:
            self._state = self._read()
        return self._state

    def _follow(self) -> None:
        bin_hz = self._spectra.bin_hz
        newest = hann_power(self._recent[-1])
        power = newest if self._power is None else newest + self._power
        self._power = newest
        peaks = strongest_peaks(power, bin_hz)
        reach = max(SEARCH_RANGE * self.frequency_hz, 1.5 * bin_hz)
        mine = [hz for hz, _ in peaks if abs(hz - self.frequency_hz) < reach]
        self._other = peaks[0][0] if peaks and (not mine or peaks[0][0] != mine[0]) else None
        if not mine:
            self._centre, self._z = None, []
            return
        strength = next(p for hz, p in peaks if hz == mine[0])
        self._tone_hz = mine[0]
        self._clear_hz = min(
            [abs(hz - mine[0]) for hz, p in peaks if hz != mine[0] and p > NEIGHBOUR * strength], default=1e9
        )
        centre = self._spectra.nearest_bin(mine[0])
        first = self._chunk + 1 - len(self._recent)
        if self._centre is None or abs(centre - self._centre) * bin_hz > max(2 * bin_hz, 0.012 * mine[0]):
            self._centre = centre
            self._z = [self._spectra.baseband(s, first + n, centre) for n, s in enumerate(self._recent)]
        else:
            new = self._spectra.baseband(self._recent[-1], self._chunk, self._centre)
            self._z = [*self._z[-self._keep + 1 :], new]

    def _read(self) -> WatchState:
        view = self._view
        if view.centre is None or not view.z:
            return self._nothing(f"no tone of {hertz(self.frequency_hz)} sounds")
        rate, oscillator = self._spectra.rate, view.centre * self._spectra.bin_hz
        z = np.concatenate(view.z)
        frames = make_frames(z, rate, view.tone_hz, oscillator)
        if len(frames) < 2:
            return self._nothing("the tone has only just started")
        level = frames.level_db
        away = np.flatnonzero(np.abs(level - np.median(level[-4:])) > 3.0 + 26.0 / np.sqrt(np.maximum(frames.snr, 1.0)))
        start = (int(away[-1]) + 2 if len(away) else 0) * frames.points
        z = z[start:]
        if len(z) < SHORTEST_S * rate:
            return self._nothing("the tone has only just started")
        held = frames.tail(start // frames.points).frequency_hz
        about = float(np.median(held)) + oscillator
        if np.median(np.abs(held + oscillator - about)) > UNSTEADY * about:
            return self._nothing(f"what sounds near {hertz(self.frequency_hz)} is no steady tone")
        clear = view.clear_hz if view.clear_hz > NEAREST_HZ else 1e9
        tones, pair = measure_stretch(z, rate, oscillator, about, clear, glance=True, paired=self._paired)
        if not any(t.present and t.dbfs_noise < VAGUE_DB for t in tones):
            return self._nothing(f"no tone of {hertz(self.frequency_hz)} rises above the noise")
        weights = np.array([t.amplitude**2 for t in tones]) + 1e-30
        tone = FoundTone(
            view.end_s - len(z) / rate,
            view.end_s,
            float(np.average([t.frequency_hz for t in tones], weights=weights)),
            min(t.frequency_uncertainty_hz for t in tones),
            tones,
            pair,
        )
        return self._found("", tone)

    def _nothing(self, because: str) -> WatchState:
        return self._found(because, None)

    def _found(self, because: str, tone: FoundTone | None) -> WatchState:
        return WatchState(self.frequency_hz, self._sides, because, self._view.other, tone)
