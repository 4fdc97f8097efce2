"""Headroom: how high a tape can be driven, from tones of rising level, continuous or in steps.

Formula
    Maximum output level: the level of the fundamental at which the third harmonic reaches 3 % (−30.46 dB), from a
    straight line through the blocks around that point (level against 20 lg K3). Saturated output level: the highest
    mean level over half a second of the tone near 10 kHz.
Unit and reference
    dB relative to the reference level; relative to a full-scale sine if none is given.
Source
    K3 = 3 % ("ca. 30,5 dB", DIN 45500; MOL at 315 Hz on cassette and slow reel, 1 kHz on reel), SOL at 10 kHz: tape
    data sheets. The rest is common practice, no source.
Accuracy
    0.05 dB, a twentieth of the range of levels that the line spans, and the scatter about it. If a tone does not reach
    3 %, the reading is its highest level, with the bound "at least".
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from bench.arrays import Floats
from bench.measure.meters import Options
from bench.measure.method import Method
from bench.measure.reading import Channel, Measured, NoReading, Reading, Result
from bench.measure.tone import wander
from bench.measure.tone.chunk_meter import SpectraMeter
from bench.measure.tone.coherent import HOP
from bench.measure.tone.demodulator import Spectra
from bench.measure.tone.follower import Chunk, Follower
from bench.measure.tone.harmonics import Harmonics
from bench.measure.tone.meter import SEARCH_RANGE, CaptureCheck

MOL, SOL = "maximum_output_level", "saturated_output_level"
MOL_RANGE_HZ = (200.0, 1500.0)
SOL_HZ = 10000.0
K3_DB = 20.0 * float(np.log10(0.03))
"""3 %."""
METHODS = {
    MOL: Method("level at 3 % third harmonic in a rising tone"),
    SOL: Method("highest output of a rising 10 kHz tone"),
}
WITHIN_DB = (1.5, 3.0, 6.0, 12.0)
"""Ranges around 3 % of the blocks for the straight line; the smallest one with blocks on both sides is used."""
RISES_DB = 3.0
"""A tone that rises by less than this does not count as rising."""
OWN_DB = 0.05
CURVATURE = 0.05
"""Deviation of the curve from the straight line, as a fraction of the range of levels, which is larger for coarse
steps."""
ENDS, APART_DB, FEWEST_BETWEEN = 0.15, 1.5, 2
"""A rise needs this many levels, this far apart, between its ends, which are this fraction of it each. The tones of a
response, at two or three levels, do not show where the tape saturates."""
SMOOTHED = 3
"""The number of blocks averaged for the saturated level: half a second."""
STILL_RISING = 0.3
"""If the slope of the last quarter is a larger fraction of that of the first, the tone has not saturated."""


class HeadroomMeter(SpectraMeter):
    """`maximum_output_level` and `saturated_output_level` of each channel. Options: `reference_level`."""

    def __init__(
        self, sample_rate: float, channels: int, options: Options | None = None, spectra: Spectra | None = None
    ) -> None:
        super().__init__(sample_rate, channels, options, spectra)
        self._low = Harmonics(Follower(self.spectra, *MOL_RANGE_HZ), highest=3)
        self._high = Harmonics(
            Follower(self.spectra, SOL_HZ * (1 - SEARCH_RANGE), SOL_HZ * (1 + SEARCH_RANGE)), highest=1
        )

    def batch(self, chunks: list[Chunk]) -> None:
        """Follow both tones."""
        for harmonics in (self._low, self._high):
            for piece in harmonics.follower.take(chunks):
                harmonics.take(piece)

    def conclude(self, capture: CaptureCheck) -> Measured:
        """Both levels, as far as their tones were found."""
        for harmonics in (self._low, self._high):
            for piece in harmonics.follower.finish():
                harmonics.take(piece)
        readings: list[Result] = []
        warnings: list[str] = []
        for channel, side in enumerate(self.sides):
            for reading, warning in (self._mol(channel, side, capture), self._sol(channel, side, capture)):
                readings.append(reading)
                warnings += [warning] if warning else []
        if self.options.reference_level is None and any(isinstance(r, Reading) for r in readings):
            warnings.append("no --reference-level was given: levels are relative to a full-scale sine")
        return Measured(tuple(readings), tuple(warnings))

    def _mol(self, channel: int, side: Channel, capture: CaptureCheck) -> tuple[Result, str]:
        level, ratio, frequency = self._low.blocks(channel)
        sounds = np.isfinite(level)
        if sounds.sum() < 4 or ratio.shape[1] < 2:
            return self._nothing(MOL, side, self._why(capture, "a tone of 200 to 1500 Hz")), ""
        hz = float(np.nanmedian(frequency[sounds]))
        level, third = level[sounds], 20.0 * np.log10(np.abs(ratio[sounds, 1]) + 1e-12)
        near = level > level.max() - 20.0
        level, third = level[near], third[near]
        over = third >= K3_DB
        rises = float(np.ptp(level)) >= RISES_DB
        if not over.any() and not rises:
            return self._nothing(MOL, side, "the tone does not rise, and its third harmonic is below 3 %", hz), ""
        if not over.any():
            most = float(np.percentile(level, 95))
            worst = 100.0 * 10.0 ** (float(np.percentile(third, 95)) / 20.0)
            warning = f"{side}: the third harmonic reaches only {worst:.2g} %, so the maximum output level is higher"
            return self._reading(MOL, side, most, 0.0, hz, bound="at least"), warning
        if over.all():
            words = "the third harmonic is over 3 % throughout: begin the tone lower"
            return self._nothing(MOL, side, words, hz), ""
        if not rises:
            return self._nothing(MOL, side, "the tone does not rise", hz), ""
        value, uncertainty, blocks = crossing(level, third)
        every_s = HOP / self.spectra.rate
        moves = wander.of_rising(level, every_s, blocks * every_s)
        return self._reading(MOL, side, value, uncertainty, hz).wandering(moves.within, moves.slower), ""

    def _sol(self, channel: int, side: Channel, capture: CaptureCheck) -> tuple[Result, str]:
        if self.too_high(SOL_HZ):
            return self._nothing(SOL, side, self.too_high(SOL_HZ)), ""
        level, _, frequency = self._high.blocks(channel)
        sounds = np.isfinite(level)
        if sounds.sum() < 4:
            return self._nothing(SOL, side, self._why(capture, "a tone of 10 kHz")), ""
        hz, level = float(np.nanmedian(frequency[sounds])), level[sounds]
        if float(np.ptp(level)) < RISES_DB:
            return self._nothing(SOL, side, "the tone near 10 kHz does not rise", hz), ""
        smooth = np.convolve(level, np.ones(SMOOTHED) / SMOOTHED, mode="valid")
        value = float(smooth.max())
        if levels_between(level[: int(np.argmax(smooth)) + SMOOTHED]) < FEWEST_BETWEEN:
            return self._nothing(SOL, side, "the tone near 10 kHz does not rise gradually", hz), ""
        if still_rising(smooth):
            warning = f"{side}: the output at 10 kHz still rises at the end, so the saturated output level is higher"
            return self._reading(SOL, side, value, 0.0, hz, bound="at least"), warning
        scatter = float(np.std(np.diff(level[level > value - 1.0]))) if np.sum(level > value - 1.0) > 3 else 0.1
        every_s = HOP / self.spectra.rate
        moves = wander.of_rising(level, every_s, SMOOTHED * every_s)
        reading = self._reading(SOL, side, value, float(np.hypot(OWN_DB, scatter)), hz)
        return reading.wandering(moves.within, moves.slower), ""

    def _why(self, capture: CaptureCheck, tone: str) -> str:
        why = capture.why_nothing()
        return f"{tone} that rises was not found" if why == "no steady tone was found" else why

    def _reading(
        self,
        quantity: str,
        side: Channel,
        dbfs: float,
        uncertainty: float,
        hz: float,
        *,
        bound: Literal["at least"] | None = None,
    ) -> Reading:
        reference = self.options.reference_level
        return Reading(
            quantity,
            side,
            dbfs - (reference or 0.0),
            uncertainty,
            frequency_hz=hz,
            method=METHODS[quantity],
            bound=bound,
            reference="full-scale sine" if reference is None else f"{reference:g} dBFS",
        )

    def _nothing(self, quantity: str, side: Channel, because: str, hz: float | None = None) -> NoReading:
        return NoReading(quantity, side, because, frequency_hz=hz, method=METHODS[quantity])


def crossing(level: Floats, third: Floats) -> tuple[float, float, int]:
    """The level at 3 % third harmonic, its expanded uncertainty (k = 2), dB, and the number of blocks used.

    Args:
        level: level of the fundamental in each block, dB.
        third: level of the third harmonic re the fundamental, dB, with blocks above and below 3 %.
    """
    off = third - K3_DB
    near = np.abs(off) <= WITHIN_DB[-1]
    for within in WITHIN_DB:
        near = np.abs(off) <= within
        if (near & (off >= 0.0)).sum() >= 2 and (near & (off < 0.0)).sum() >= 2:
            break
    else:
        near = np.zeros(len(off), dtype=bool)
        near[np.argsort(np.where(off >= 0.0, off, np.inf))[:2]] = True
        near[np.argsort(np.where(off < 0.0, -off, np.inf))[:2]] = True
    x, y = off[near], level[near]
    slope, value = np.polyfit(x, y, 1) if np.ptp(x) > 1e-9 else (0.0, float(y.mean()))
    scatter = float(np.std(y - value - slope * x)) * np.sqrt(len(x) / max(1, len(x) - 2))
    bent = CURVATURE * float(np.ptp(y))
    return float(value), float(np.hypot(np.hypot(OWN_DB, bent), 2.0 * scatter / np.sqrt(len(x)))), len(x)


def levels_between(level: Floats) -> int:
    """The number of different levels between the ends of a rise, each held for at least two blocks.

    Args:
        level: level of each block up to the highest one, dB.
    """
    low, high = float(level.min()), float(level.max())
    margin = ENDS * (high - low)
    between = level[(level > low + margin) & (level < high - margin)]
    _, held = np.unique(np.floor((between - low - margin) / APART_DB), return_counts=True)
    return int(np.sum(held >= 2))


def still_rising(level: Floats) -> bool:
    """Whether the slope of the last quarter is more than three tenths of that of the first."""
    quarter = max(2, len(level) // 4)
    t = np.arange(quarter)
    first, last = np.polyfit(t, level[:quarter], 1)[0], np.polyfit(t, level[-quarter:], 1)[0]
    return bool(last > STILL_RISING * max(first, 0.0) and level[-quarter:].max() >= level.max() and first > 0.0)
