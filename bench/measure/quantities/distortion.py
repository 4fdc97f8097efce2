"""Harmonic distortion of a steady tone.

Formula
    The phase φ(t) of the fundamental is tracked; harmonic n is the mean of x(t)·exp(−i n φ(t)), so flutter and speed
    errors, which shift a harmonic n times as far as the fundamental, do not spread it. With peak amplitudes a_n:
    third harmonic = 100 a3/a1, second = 100 a2/a1; THD of the fundamental = 100 √(Σ a_n²)/a1, of the total signal =
    100 √(Σ a_n²)/√(a1² + Σ a_n²), n from 2 to 10 as far as half the sample rate and 22 kHz allow.
Unit and reference
    %, of the fundamental or of the total signal, as the method says. 10 % of the fundamental is 9.950 % of the total.
Source
    IEC 60268-3 (harmonic distortion; ratio to the total signal, from memory); K3 = 3 % for MOL, DIN 45500.
Accuracy
    0.07 % of the reading, and the noise near each harmonic: its contribution is removed and its scatter included in the
    uncertainty, as is the effect of hum near the fundamental on its phase. A harmonic at a multiple of the mains
    frequency cannot be separated from hum; a warning says so. Fundamentals from 60 Hz. Where the level of the tone
    changes in steps, distortion is measured at the level held longest.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bench.figures import hertz, number
from bench.measure.catalogue import OF_FUNDAMENTAL, OF_TOTAL
from bench.measure.meters import Options
from bench.measure.method import Method
from bench.measure.reading import Channel, Measured, NoReading, Reading, Result, budget_of
from bench.measure.tone.chunk_meter import SpectraMeter
from bench.measure.tone.coherent import Estimate, estimate
from bench.measure.tone.demodulator import Spectra
from bench.measure.tone.follower import Chunk, Follower
from bench.measure.tone.harmonics import Harmonics
from bench.measure.tone.meter import SEARCH_RANGE, CaptureCheck

LOWEST_HZ = 60.0
HIGHEST_HZ = 10500.0
"""If no frequency is requested, the fundamental is searched for below this."""
PLATEAU_DB = 1.0
"""Blocks within this of the most frequent level belong to the tone that is measured."""
MAINS_HZ, HUM_TOP_HZ = (50.0, 60.0), 400.0
"""Above this, harmonics of hum are seldom as strong as distortion."""
HOP_S = 0.13
METHOD_UNCERTAINTY = 7e-4
"""Relative uncertainty of the method itself (k = 2)."""


class DistortionMeter(SpectraMeter):
    """`third_harmonic`, `second_harmonic` and `thd` of each channel. Options: `fundamental`."""

    def __init__(
        self, sample_rate: float, channels: int, options: Options | None = None, spectra: Spectra | None = None
    ) -> None:
        super().__init__(sample_rate, channels, options, spectra)
        asked = self.options.fundamental
        low, high = (
            (LOWEST_HZ, HIGHEST_HZ) if asked is None else (asked * (1 - SEARCH_RANGE), asked * (1 + SEARCH_RANGE))
        )
        self._follower = Follower(self.spectra, low, high)
        self._harmonics = Harmonics(self._follower)

    def batch(self, chunks: list[Chunk]) -> None:
        """Follow the fundamental."""
        for piece in self._follower.take(chunks):
            self._harmonics.take(piece)

    def conclude(self, capture: CaptureCheck) -> Measured:
        """The readings at the level that the tone holds longest."""
        for piece in self._follower.finish():
            self._harmonics.take(piece)
        readings: list[Result] = []
        warnings: list[str] = []
        for channel, side in enumerate(self.sides):
            more, more_warnings = self._channel(channel, side, capture)
            readings += more
            warnings += [w for w in more_warnings if w not in warnings]
        return Measured(tuple(readings), tuple(warnings))

    def _channel(self, channel: int, side: Channel, capture: CaptureCheck) -> tuple[list[Result], list[str]]:
        asked = self.options.fundamental
        because = self.too_high(asked) if asked is not None else ""
        level, ratio, frequency = self._harmonics.blocks(channel)
        kept = plateau(level)
        if not because and kept.sum() < 2:
            because = capture.why_nothing() if not self._follower.tone_hz else "the tone is too short or not steady"
            if asked is not None and self._follower.tone_hz == 0.0 and because == "no steady tone was found":
                because = f"no steady tone near {hertz(asked)} was found"
        if because:
            return [NoReading(q, side, because, frequency_hz=asked, method=Method(m)) for q, m in _ALL], []
        hz = float(np.mean(frequency[kept])) if asked is None else asked
        warnings = []
        spread = float(np.ptp(level[np.isfinite(level)]))
        if spread > 2.0 * PLATEAU_DB:
            warnings.append(
                f"the level of the tone changes by {spread:.1f} dB: distortion is that at "
                f"{number(float(np.mean(level[kept])), 1)} dBFS, which it holds longest"
            )
        ripple = float(np.mean(self._harmonics.ripple(channel)[kept]))
        estimates = {
            n: estimate(ratio[kept, k]).within(METHOD_UNCERTAINTY + 0.5 * (n * n + 1) * ripple)
            for k, n in enumerate(self._harmonics.orders)
        }
        warnings += [w for n in (2, 3) for w in _on_mains(n, float(np.mean(frequency[kept])), int(kept.sum()))]
        wanted = {
            "third_harmonic": estimates.get(3),
            "second_harmonic": estimates.get(2),
            "thd": total(list(estimates.values())),
        }
        readings = [self._one(q, wanted[q], side=side, hz=hz, method=m, warnings=warnings) for q, m in _ALL]
        return readings, list(dict.fromkeys(warnings))

    def _one(
        self, quantity: str, found: Estimate | None, *, side: Channel, hz: float, method: str, warnings: list[str]
    ) -> Result:
        if found is None:
            order = 3 if quantity == "third_harmonic" else 2
            because = (
                f"harmonic {order} of {hertz(hz)} lies above what a sample rate of {hertz(self.sample_rate)} holds"
            )
            return NoReading(quantity, side, because, frequency_hz=hz, method=Method(method))
        of_total = method == OF_TOTAL
        if not found.found:
            ceiling = 100.0 * _share(found.ceiling, of_total)
            warnings.append(f"{side}: noise hides harmonics; where the reading says so, it is the most they can be")
            return Reading(
                quantity,
                side,
                ceiling,
                0.0,
                frequency_hz=hz,
                method=Method(method),
                bound="at most",
                reference=_reference(method),
            )
        slope = (1.0 + found.power) ** -1.5 if of_total else 1.0
        return Reading(
            quantity,
            side,
            100.0 * _share(found.size, of_total),
            100.0 * found.uncertainty * slope,
            budget=budget_of(100.0 * found.uncertainty * slope, found.by_source),
            frequency_hz=hz,
            method=Method(method),
            reference=_reference(method),
        )


_ALL = (
    ("third_harmonic", OF_FUNDAMENTAL),
    ("second_harmonic", OF_FUNDAMENTAL),
    ("thd", OF_FUNDAMENTAL),
    ("thd", OF_TOTAL),
)


def plateau(level_db: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Mask of the blocks at the level that is held longest; the higher one if two are held equally long."""
    valid = np.isfinite(level_db)
    if not valid.any():
        return valid
    near = np.abs(level_db[:, None] - level_db[None, valid]) < PLATEAU_DB if len(level_db) < 2000 else None
    if near is None:
        counts, edges = np.histogram(level_db[valid], bins=np.arange(-200.0, 10.0, 0.25))
        smooth = np.convolve(counts, np.ones(8), mode="same")
        middle = float(edges[len(smooth) - 1 - int(np.argmax(smooth[::-1]))])
    else:
        score = np.where(valid, near.sum(axis=1) + 1e-4 * np.nan_to_num(level_db), -np.inf)
        middle = float(level_db[int(np.argmax(score))])
    return valid & (np.abs(level_db - middle) < PLATEAU_DB)


def total(parts: list[Estimate]) -> Estimate | None:
    """The total power of several harmonics."""
    if not parts:
        return None
    power = sum(p.power for p in parts)
    share = sum(max(p.power, 0.0) * p.relative for p in parts) / max(power, 1e-30)
    noise = sum(p.noise_power for p in parts)
    spread = sum(2.0 * max(p.power, 0.0) * p.noise_power + p.noise_power**2 for p in parts)
    # The noise power that would give a single harmonic the same scatter.
    return Estimate(power, spread / (2.0 * power) if power > noise else noise, parts[0].blocks, share)


def _on_mains(order: int, fundamental_hz: float, blocks: int) -> list[str]:
    """The warning that a harmonic at a multiple of the mains frequency cannot be separated from hum."""
    hz, seconds = order * fundamental_hz, blocks * HOP_S
    on = [m for m in MAINS_HZ if hz < HUM_TOP_HZ and abs(hz - m * round(hz / m)) < max(0.5, 2.0 / seconds)]
    if not on:
        return []
    mains = " and ".join(f"{m:g}" for m in on)
    return [f"harmonic {order} lies at {hertz(hz)}, a multiple of {mains} Hz mains: hum there counts as distortion"]


def _share(ratio: float, of_total: bool) -> float:
    return ratio / float(np.sqrt(1.0 + ratio * ratio)) if of_total else ratio


def _reference(method: str) -> str:
    return method.removeprefix("of ")
