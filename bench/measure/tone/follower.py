"""Follows one tone, and its harmonics, through a stream that may contain other signals.

The tone is the strongest within a frequency range that lasts for half a second; a louder one that starts later
replaces it. Spectra are buffered until it is recognised, so that its start is not lost. The output is a baseband
without gaps; the meter decides whether the tone is present in every part of it.

For low tones a second filter removes harmonics, and the image at twice the frequency, from envelope and phase. `flat`
has its passband edge at three tenths of the tone's frequency and its stopband edge at nine tenths (Kaiser window, at
most 100 points long). `smooth` is Gaussian, 6 dB down at three tenths (at most 400 Hz), and does not ring at the edge
of a dropout.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bench.measure.tone.demodulator import HALF, POINTS, Baseband, Spectra

# No published source gives these figures: they are our own choice, checked by tests/measure/tone and the rough tapes.

KEPT = 14
"""Spectra that are buffered."""
PROVEN = 8
"""A tone must be in this many spectra to be followed."""
BRIEF = 4
"""The number that is enough if the capture ends before that."""
TAKEOVER_RATIO = 1.26
"""Power ratio (1 dB) by which a later tone must exceed the followed one to replace it."""
STEADY, STEADY_BINS = 0.005, 0.15
"""Greatest standard deviation of the frequency of a steady tone, as a fraction of it or of a bin."""
STEADY_RANGE, WOW_RANGE = 0.012, 0.025
"""Greatest distance of a candidate from its mean frequency, as a fraction: for a tone that must be steady, and for any
other, which wow of 2 % peak may move."""
SAME_TONE = 0.03
"""A tone within this fraction of the followed one's frequency is the same tone at another speed."""
PASS, STOP = 0.3, 0.9
"""Edges of the flat filter, as fractions of the tone's frequency."""
LONGEST = 48
"""Greatest half length of a filter, in points."""
SMOOTH_HZ = (30.0, 400.0)
"""Bounds of the smooth filter's 6 dB point."""


Peaks = list[tuple[float, float]]
"""Frequency in Hz and power of each peak of a chunk, strongest first."""


class Chunk(NamedTuple):
    """A chunk of the stream."""

    number: int
    spectrum: NDArray[np.complex128]
    peaks: Peaks


@dataclass(slots=True)
class _Candidate:
    hz: float
    power: float
    first: int
    last: int
    count: int = 1
    spread: float = 0.0
    """Variance of its frequency, Hz²."""


@dataclass(frozen=True, slots=True)
class Piece:
    """Consecutive chunks of a followed tone."""

    spectra: list[NDArray[np.complex128]]
    first: int
    """Number of the first chunk."""
    fresh: bool
    """Whether it starts a newly followed tone, which replaces the one before it."""


class Follower:
    """Finds and follows the strongest tone of a range.

    Args:
        spectra: the source of the chunks; it may be shared.
        low_hz: lower end of the range.
        high_hz: upper end of the range.
        steady: whether its frequency must be steady, unlike that of a voice.
    """

    def __init__(self, spectra: Spectra, low_hz: float, high_hz: float, *, steady: bool = False) -> None:
        self.spectra = spectra
        self.low_hz, self.high_hz = low_hz, high_hz
        self._steady = steady
        self.tone_hz = 0.0
        """Approximate frequency of the followed tone; 0 while there is none."""
        self.centre = 0
        """The bin that is shifted to zero frequency."""
        self._power = 0.0
        self._since = 0
        self._recent: list[Chunk] = []
        self._candidates: list[_Candidate] = []

    @property
    def oscillator_hz(self) -> float:
        """The frequency that is shifted to zero."""
        return self.centre * self.spectra.bin_hz

    def take(self, chunks: list[Chunk]) -> list[Piece]:
        """Process the next chunks; returns those that belong to the followed tone."""
        out: list[Piece] = []
        for chunk in chunks:
            self._recent = [*self._recent[1 - KEPT :], chunk]
            for hz, power in chunk.peaks:
                if self.low_hz <= hz <= self.high_hz:
                    self._note(hz, power, chunk.number)
            self._candidates = [c for c in self._candidates if chunk.number - c.last <= 3]
            proven = [c for c in self._candidates if c.count >= PROVEN and self._holds(c)]
            if self._choose(proven):
                out.append(self._beginning())
            elif self.tone_hz and out:
                out[-1].spectra.append(chunk.spectrum)
            elif self.tone_hz:
                out.append(Piece([chunk.spectrum], chunk.number, fresh=False))
        return out

    def finish(self) -> list[Piece]:
        """End the stream; returns a tone too brief to have been followed, if there was no other."""
        if self.tone_hz or not self._recent:
            return []
        brief = [c for c in self._candidates if c.count >= BRIEF and self._holds(c)]
        return [self._beginning()] if self._choose(brief) else []

    def baseband(self, piece: Piece, multiple: int = 1, shape: Literal["flat", "smooth"] = "flat") -> Baseband:
        """The baseband of some chunks at a multiple of the followed bin, shape (points, channels).

        The oscillators of all multiples start in phase, so the phase of a harmonic is `multiple` times that of the
        fundamental, plus a constant.
        """
        taps = (_flat if shape == "flat" else _smooth)(self.spectra.rate, round(self.tone_hz, 1))
        return self.spectra.basebands(piece.spectra, piece.first, multiple * self.centre, _response(taps))

    def passes(self, offset_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Gain of the flat filter for a line at this distance from its oscillator: 1 apart from ripple."""
        taps = _flat(self.spectra.rate, round(self.tone_hz, 1))
        turn, middle = 2 * np.pi / self.spectra.rate * offset_hz, len(taps) // 2
        passed = np.full(offset_hz.shape, taps[middle])
        for n in range(1, middle + 1):  # tap by tap, because an outer product over an hour's blocks is too large
            passed += (taps[middle - n] + taps[middle + n]) * np.cos(n * turn)
        return passed

    @property
    def smooth_hz(self) -> float:
        """The 6 dB frequency of the smooth filter."""
        return _smooth_hz(self.tone_hz)

    def near(self, hz: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether a measured frequency is that of the followed tone, not of another in its place."""
        return np.abs(hz - self.tone_hz) < max(2.0 * self.spectra.bin_hz, SAME_TONE * self.tone_hz)

    def start_of(self, piece: Piece) -> int:
        """Index of the first of its points; point p lies at p / rate seconds."""
        return self.spectra.start_of(piece.first)

    def _note(self, hz: float, power: float, chunk: int) -> None:
        reach = max(0.7 * self.spectra.bin_hz, (STEADY_RANGE if self._steady else WOW_RANGE) * hz)
        for candidate in self._candidates:
            if abs(candidate.hz - hz) < reach:
                if candidate.last != chunk:
                    share = 1.0 / min(candidate.count + 1, 32)
                    candidate.spread += share * ((hz - candidate.hz) ** 2 - candidate.spread)
                    candidate.hz += share * (hz - candidate.hz)
                    candidate.power += share * (power - candidate.power)
                    candidate.count += 1
                    candidate.last = chunk
                return
        self._candidates.append(_Candidate(hz, power, chunk, chunk))

    def _holds(self, candidate: _Candidate) -> bool:
        most = max(STEADY_BINS * self.spectra.bin_hz, STEADY * candidate.hz)
        return not self._steady or candidate.spread < most**2

    def _choose(self, proven: list[_Candidate]) -> bool:
        """Whether a new tone is to be followed."""
        best = max(proven, key=lambda c: c.power, default=None)
        if best is not None and self._takes_over(best):
            self.tone_hz, self._power = best.hz, best.power
            self.centre = self.spectra.nearest_bin(best.hz)
            self._since = best.first - 1
            return True
        if best is not None and self._same(best):
            self._power = max(self._power, best.power)
        return False

    def _beginning(self) -> Piece:
        """The buffered chunks since the start of the tone."""
        kept = [c for c in self._recent if c.number >= self._since]
        return Piece([c.spectrum for c in kept], kept[0].number, fresh=True)

    def _same(self, candidate: _Candidate) -> bool:
        return bool(self.near(np.array(candidate.hz)))

    def _takes_over(self, candidate: _Candidate) -> bool:
        if not self.tone_hz:
            return True
        return candidate.power > TAKEOVER_RATIO * self._power and not self._same(candidate)


@lru_cache(maxsize=64)
def _flat(rate: float, tone_hz: float) -> tuple[float, ...]:
    """Taps of the flat filter, by Kaiser's design rule; its length limits the attenuation (at most 100 dB)."""
    if STOP * tone_hz >= 0.5 * rate:
        return (1.0,)
    width = 2 * np.pi * (STOP - PASS) * tone_hz / rate
    attenuation = min(100.0, 7.95 + 2.285 * width * 2 * LONGEST)
    half = min(LONGEST, int(np.ceil((attenuation - 7.95) / (2.285 * width) / 2)))
    cutoff = (PASS + STOP) * tone_hz / rate
    n = np.arange(-half, half + 1)
    beta = (
        0.1102 * (attenuation - 8.7)
        if attenuation > 50
        else 0.5842 * (attenuation - 21) ** 0.4 + 0.07886 * (attenuation - 21)
    )
    taps = np.sinc(cutoff * n) * np.kaiser(len(n), beta)
    return tuple(taps / taps.sum())


def _smooth_hz(tone_hz: float) -> float:
    return min(SMOOTH_HZ[1], max(SMOOTH_HZ[0], PASS * tone_hz))


@lru_cache(maxsize=64)
def _smooth(rate: float, tone_hz: float) -> tuple[float, ...]:
    """Taps of the Gaussian filter."""
    half_hz = _smooth_hz(tone_hz)
    sigma = np.sqrt(2.0 * np.log(2.0)) / (2 * np.pi * half_hz) * rate
    half = min(LONGEST, int(np.ceil(4.0 * sigma)))
    taps = np.exp(-0.5 * (np.arange(-half, half + 1) / sigma) ** 2)
    return tuple(taps / taps.sum())


@lru_cache(maxsize=64)
def _response(taps: tuple[float, ...]) -> NDArray[np.float64]:
    """Frequency response of symmetric taps at the bins of a chunk's baseband."""
    n = np.arange(len(taps)) - len(taps) // 2
    return np.asarray(np.cos(2 * np.pi / POINTS * np.outer(np.arange(-HALF, HALF), n)) @ np.array(taps))
