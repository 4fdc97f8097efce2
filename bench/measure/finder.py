"""Finds steady tones in a stream: in any order, among speech, gaps, clicks, hum, hiss and direct current.

Each chunk's spectrum proposes peaks; a peak that stays is followed by the tracking demodulator, and `steady` says
where in its baseband a tone holds. Only such stretches are measured (`estimate`). Memory is bounded: a tone of any
length is measured in parts of about a minute, which are then combined.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bench.measure.estimate import ChannelTone, PhasePair, measure_stretch
from bench.measure.names import Channel, Reading, no_reading
from bench.measure.peaks import hann_power, strongest_peaks
from bench.measure.steady import SHORTEST_S, Frames, frame_points, make_frames, steady_runs
from bench.measure.tracking import HALF, Baseband, Samples, Spectra

TRACKS = 6
"""Peaks that are followed at once."""
KEPT = 5
"""Spectra that are kept, so that a tone's beginning is not lost when it is recognised."""
LEVEL_METHOD = "mean level of the steady tone, tracking demodulator"


@dataclass(frozen=True, slots=True)
class FoundTone:
    """A steady tone that was found and measured."""

    start_s: float
    """Start of the steady stretch, attack left out, from the start of the stream."""
    end_s: float
    frequency_hz: float
    """Measured: mean of the channels that hold it, weighted by their power."""
    frequency_uncertainty_hz: float
    """Expanded (k = 2), as all uncertainties here."""
    tones: tuple[ChannelTone, ...]
    """One for each channel; `present` is false where a channel does not hold the tone."""
    pair: PhasePair | None
    """The right channel against the left, when both hold the tone."""

    @property
    def duration_s(self) -> float:
        """Length of the steady stretch."""
        return self.end_s - self.start_s

    @property
    def dbfs(self) -> float:
        """Level of the louder channel, dB re a full-scale sine."""
        return max(t.dbfs for t in self.tones)

    @property
    def levels(self) -> tuple[Reading, ...]:
        """The level of each channel: `level` in dBFS, or no reading where a channel does not hold the tone."""
        return tuple(self.level(c) for c in range(len(self.tones)))

    def level(self, channel: int, asked_hz: float | None = None) -> Reading:
        """The level of one channel, told under the frequency asked for where one was."""
        tone, side = self.tones[channel], side_of(channel, len(self.tones))
        hz = self.frequency_hz if asked_hz is None else asked_hz
        if not tone.present:
            return no_reading(
                "level", side, f"this channel holds no tone of {self.frequency_hz:.0f} Hz", frequency_hz=hz
            )
        return Reading(
            "level",
            side,
            tone.dbfs,
            tone.dbfs_uncertainty,
            frequency_hz=hz,
            method=LEVEL_METHOD,
            reference="full-scale sine (AES17)",
        )

    @property
    def balance(self) -> Reading | None:
        """Left minus right, dB; None for one channel."""
        if len(self.tones) != 2:
            return None
        left, right = self.tones
        if not (left.present and right.present):
            return no_reading("balance", "left-right", "one channel holds no tone", frequency_hz=self.frequency_hz)
        return Reading(
            "balance",
            "left-right",
            left.dbfs - right.dbfs,
            float(np.hypot(left.dbfs_uncertainty, right.dbfs_uncertainty)),
            frequency_hz=self.frequency_hz,
            method=f"{LEVEL_METHOD}, left minus right",
            reference="right channel",
        )


def side_of(channel: int, channels: int) -> Channel:
    """What a channel is called."""
    return "mono" if channels == 1 else ("left", "right")[channel]


@dataclass(slots=True)
class _Track:
    """One peak being followed."""

    centre: int
    tone_hz: float
    power: float
    oscillator_hz: float
    first_point: int
    z: Baseband
    frames: Frames
    misses: int = 0
    done: int = 0
    """Frames before this are dealt with."""
    found: list[FoundTone] = field(default_factory=list)


class ToneFinder:
    """Finds steady tones, fed block by block.

    Args:
        sample_rate: frames a second.
        channels: 1 or 2.
    """

    def __init__(self, sample_rate: float, channels: int) -> None:
        self._spectra = Spectra(sample_rate, channels)
        self._recent: list[tuple[int, NDArray[np.complex128]]] = []
        self._chunk = 0
        self._peaks: list[list[tuple[float, float]]] = []
        self._tracks: list[_Track] = []

    def feed(self, samples: Samples) -> list[FoundTone]:
        """Take in frames of shape (frames, channels); returns the tones that have just ended, oldest first."""
        return self._take(self._spectra.feed(samples))

    def finish(self) -> list[FoundTone]:
        """The stream is over: what was still sounding."""
        found = self._take(self._spectra.finish())
        for track in self._tracks:
            found += self._close(track)
        self._tracks = []
        return _sorted(found)

    @property
    def current(self) -> FoundTone | None:
        """The strongest tone that sounds now and has been steady for at least 0.4 s, measured so far."""
        best: FoundTone | None = None
        for track in self._tracks:
            if track.misses:
                continue
            runs = steady_runs(track.frames.tail(track.done), track.tone_hz)
            if not runs:
                continue
            first, last = runs[-1]
            if len(track.frames) - track.done - last > 6:
                continue
            tone = self._measure(track, track.done + first, track.done + last)
            if best is None or tone.dbfs > best.dbfs:
                best = tone
        return best

    # ------------------------------------------------------------ chunk by chunk

    def _take(self, spectra: list[NDArray[np.complex128]]) -> list[FoundTone]:
        found = []
        for spectrum in spectra:
            found += self._step(spectrum)
        return _sorted(found)

    def _step(self, spectrum: NDArray[np.complex128]) -> list[FoundTone]:
        self._recent = [*self._recent[-KEPT + 1 :], (self._chunk, spectrum)]
        power = hann_power(spectrum)
        peaks = strongest_peaks(power, self._spectra.bin_hz)
        found = []
        for track in list(self._tracks):
            self._extend(track, spectrum, self._chunk)
            if not self._still_there(track, power):
                track.misses += 1
            else:
                track.misses = 0
            if track.misses >= 3:
                self._tracks.remove(track)
                found += self._close(track)
            elif self._chunk % 8 == 0:
                found += self._harvest(track)
        self._open(peaks)
        self._peaks = [*self._peaks[-2:], peaks]
        self._chunk += 1
        return found

    def _still_there(self, track: _Track, power: NDArray[np.float64]) -> bool:
        reach = max(2, round(0.012 * track.tone_hz / self._spectra.bin_hz))
        here = float(power[max(1, track.centre - reach) : track.centre + reach + 1].max())
        track.power = max(0.7 * track.power, here)
        return here > 0.05 * track.power and here > 0.0

    def _open(self, peaks: list[tuple[float, float]]) -> None:
        """A peak that was there in the two chunks before as well is followed from now on."""
        for hz, power in peaks:
            apart = max(3.0 * self._spectra.bin_hz, 0.012 * hz)
            if any(abs(t.tone_hz - hz) < apart and not t.misses for t in self._tracks) or len(self._peaks) < 2:
                continue
            reach = max(0.7 * self._spectra.bin_hz, 0.01 * hz)
            if not all(any(abs(h - hz) < reach and p > 0.1 * power for h, p in old) for old in self._peaks):
                continue
            if len(self._tracks) >= TRACKS:
                weakest = min(self._tracks, key=lambda t: t.power)
                if weakest.power > 0.1 * power:
                    continue
                self._tracks.remove(weakest)
            centre = self._spectra.nearest_bin(hz)
            first = self._spectra.start_of(self._recent[0][0])
            oscillator = centre * self._spectra.bin_hz
            empty = np.zeros((0, self._spectra.channels), dtype=np.complex128)
            none = np.zeros(0)
            block, blocks = frame_points(hz, self._spectra.rate)
            frames = Frames(block * blocks, block * blocks / self._spectra.rate, none, none, none)
            track = _Track(centre, hz, power, oscillator, first, empty, frames)
            for chunk, spectrum in self._recent:
                self._extend(track, spectrum, chunk)
            self._tracks.append(track)

    def _extend(self, track: _Track, spectrum: NDArray[np.complex128], chunk: int) -> None:
        track.z = np.concatenate([track.z, self._spectra.baseband(spectrum, chunk, track.centre)])
        ready = len(track.frames) * track.frames.points
        more = make_frames(track.z[ready:], self._spectra.rate, track.tone_hz, track.oscillator_hz)
        track.frames = track.frames.joined(more)

    # ------------------------------------------------------------ measuring

    def _harvest(self, track: _Track) -> list[FoundTone]:
        """Measure the stretches that have ended."""
        runs = steady_runs(track.frames.tail(track.done), track.tone_hz)
        settled = len(track.frames) - track.done - round(2 * SHORTEST_S / track.frames.seconds)
        found = []
        for first, last in runs:
            if last < settled:
                found.append(self._measure(track, track.done + first, track.done + last))
                track.found.append(found[-1])
        ended = [last for _, last in runs if last < settled]
        if ended:
            track.done += ended[-1]
        return found

    def _close(self, track: _Track) -> list[FoundTone]:
        return [
            self._measure(track, track.done + first, track.done + last)
            for first, last in steady_runs(track.frames.tail(track.done), track.tone_hz)
        ]

    def _measure(self, track: _Track, first: int, last: int) -> FoundTone:
        """Measure the stretch between two frames."""
        rate = self._spectra.rate
        start, stop = first * track.frames.points, last * track.frames.points
        start = max(start, -track.first_point + HALF // 12)
        stop = min(stop, self._spectra.points() - track.first_point - HALF // 12)
        tones, pair = measure_stretch(track.z[start:stop], rate, track.oscillator_hz)
        weights = np.array([t.amplitude**2 for t in tones]) + 1e-30
        return FoundTone(
            start_s=(track.first_point + start) / rate,
            end_s=(track.first_point + stop) / rate,
            frequency_hz=float(np.average([t.frequency_hz for t in tones], weights=weights)),
            frequency_uncertainty_hz=min(t.frequency_uncertainty_hz for t in tones),
            tones=tones,
            pair=pair,
        )


def _sorted(found: list[FoundTone]) -> list[FoundTone]:
    return sorted(found, key=lambda f: f.start_s)


def find_tones(samples: Samples, sample_rate: float) -> list[FoundTone]:
    """All steady tones of an array of shape (frames, channels)."""
    finder = ToneFinder(sample_rate, samples.shape[1])
    return [*finder.feed(samples), *finder.finish()]
