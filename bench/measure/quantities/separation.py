"""Separation: the level of the driven channel's tone relative to its residue in the other channel.

Formula
    The phase φ(t) of the driven channel is tracked; the residue is the mean of x_other(t)·exp(−iφ(t)), which is a band
    of a fraction of a hertz that follows the tone through flutter and speed errors.
    separation = −20 lg(|residue| / a_driven).
Unit and reference
    dB, positive; relative to the driven channel.
Source
    IEC 60094-3 / DIN 45500 part 4 measure with a selective filter at 1 kHz and from 500 to 6300 Hz (as quoted in
    print); the tracking band is common practice in synchronous detection, no source.
Accuracy
    0.003 dB, and the noise of the other channel in that band, which is included in the uncertainty, as is hum near the
    tone in both channels. If they mask the residue, the value is a lower limit, with the bound "at least".
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bench.figures import hertz
from bench.measure.meters import Options
from bench.measure.method import Method
from bench.measure.quantities.distortion import plateau
from bench.measure.reading import Measured, NoReading, Reading, budget_of
from bench.measure.signal.blocks import Rows
from bench.measure.tone import wander
from bench.measure.tone.chunk_meter import SpectraMeter
from bench.measure.tone.coherent import BLOCK, HOP, Estimate, beside, estimate, window
from bench.measure.tone.demodulator import Spectra
from bench.measure.tone.follower import Chunk, Follower, Piece
from bench.measure.tone.harmonics import FLAT
from bench.measure.tone.meter import SEARCH_RANGE, CaptureCheck
from bench.measure.tone.wander import Wander

LOWEST_HZ, HIGHEST_HZ = 60.0, 20000.0
METHOD_UNCERTAINTY = 3e-4
"""Relative uncertainty of the method itself (k = 2)."""
ENOUGH = 8
"""After this many blocks, a tone of nearly the same level in both channels is dropped."""
LATEST = 64
SILENT_DB = 20.0
"""The other channel is silent if it holds no residue and its noise is this far below that of the driven channel; of the
two channels of a tape, the tone adds modulation noise to one only (our own choice)."""
METHOD = Method("residue of the other channel in a narrow band that follows the tone")


class SeparationMeter(SpectraMeter):
    """`separation` of two channels. Options: `driven`, `frequency`.

    Args:
        sample_rate: frames per second.
        channels: 1 or 2.
        options: of the measurement.
        spectra: a shared source of chunks.
        least_db: a tone whose levels in the two channels differ by less is dropped.
    """

    def __init__(
        self,
        sample_rate: float,
        channels: int,
        options: Options | None = None,
        spectra: Spectra | None = None,
        *,
        least_db: float = 0.0,
    ) -> None:
        super().__init__(sample_rate, channels, options, spectra)
        self._least = 10.0 ** (least_db / 20.0)
        asked = self.options.frequency
        low, high = (
            (LOWEST_HZ, HIGHEST_HZ) if asked is None else (asked * (1 - SEARCH_RANGE), asked * (1 + SEARCH_RANGE))
        )
        self._follower = Follower(self.spectra, low, high)
        self._z = np.zeros((0, channels), dtype=np.complex128)
        self._level, self._noise, self._hz, self._beat = Rows((2,)), Rows((2,)), Rows((2,)), Rows((2,))
        self._ratio, self._quiet, self._own_quiet = Rows((2,), np.complex128), Rows((2,)), Rows((2,))
        self._beside = beside()

    def batch(self, chunks: list[Chunk]) -> None:
        """Follow the tone."""
        self._take(self._follower.take(chunks))

    def _take(self, pieces: list[Piece]) -> None:
        for piece in pieces if self.channels == 2 else ():
            if not piece.fresh and len(self._level) > ENOUGH and self._alike():
                continue
            if piece.fresh:
                self._z = self._z[:0]
                self._level, self._noise, self._hz, self._beat = Rows((2,)), Rows((2,)), Rows((2,)), Rows((2,))
                self._ratio, self._quiet, self._own_quiet = Rows((2,), np.complex128), Rows((2,)), Rows((2,))
            z = self._follower.baseband(piece)
            self._z = np.concatenate([self._z, z[self.inside(self._follower.start_of(piece), len(z))]])
            while len(self._z) >= BLOCK:
                self._block(self._z[:BLOCK])
                self._z = self._z[HOP:]

    def _alike(self) -> bool:
        low, high = np.sort(np.median(np.nan_to_num(self._level.latest(LATEST)), axis=0))
        return bool(high < self._least * low)

    def _block(self, z: NDArray[np.complex128]) -> None:
        """Measure one block: levels, residue in each channel, the noise and hum around it, and frequency.

        Hum in both channels intermodulates and adds to the residue: with relative amplitude e in the driven channel, it
        modulates the phase by which the other channel, with its hum h, is rotated, and leaves e h / 2 at zero
        frequency. The ripple of the driven envelope is e² / 2, and h² is the power around the residue.
        """
        size = np.abs(z)
        w = window()
        mean = np.maximum(w @ size, 1e-30)
        whole = (size.min(axis=0) > FLAT * mean) & (size.max(axis=0) < (2.0 - FLAT) * mean)
        back = np.conj(z) / np.maximum(size, 1e-30)
        turn = np.angle([np.vdot(b[1:], b[:-1]) for b in back.T]) * self.spectra.rate / (2 * np.pi)
        hz = self._follower.oscillator_hz + turn
        whole &= self._follower.near(hz)
        residue = z[:, ::-1] * back
        ratio = w.astype(np.complex128) @ residue / mean
        beside_tone = np.abs(self._beside @ residue) ** 2 / mean**2
        noise = np.mean(beside_tone, axis=0)
        ripple = np.maximum(w @ size**2 / mean**2 - 1.0, 0.0)
        around = np.maximum(w @ np.abs(residue) ** 2 / mean**2 - np.abs(ratio) ** 2, 0.0)
        self._level.append(np.where(whole, mean, np.nan))
        self._ratio.append(ratio)
        self._beat.append(np.sqrt(0.5 * ripple * around))
        self._noise.append(noise)
        self._quiet.append(np.median(beside_tone, axis=0))
        self._own_quiet.append(np.median(np.abs(self._beside @ size) ** 2, axis=0) / mean**2)
        self._hz.append(hz)

    def conclude(self, capture: CaptureCheck) -> Measured:
        """Separation at the level that the driven tone holds longest."""
        self._take(self._follower.finish())
        asked, because = self.options.frequency, ""
        if self.channels != 2:
            because = "the capture has one channel, and separation needs two"
        elif asked is not None and self.too_high(asked):
            because = self.too_high(asked)
        elif not len(self._level):
            because = capture.why_nothing()
            if asked is not None and because == "no steady tone was found":
                because = f"no steady tone near {hertz(asked)} was found"
        if because:
            return self._nothing(because)
        driven = self._driven(self._level.all())
        kept = plateau(20.0 * np.log10(self._level.all()[:, driven]))
        if kept.sum() < 2:
            return self._nothing(f"the {self.sides[driven]} channel holds no steady tone long enough")
        ratio, noise, hz, beat = (rows.all()[kept, driven] for rows in (self._ratio, self._noise, self._hz, self._beat))
        residue = estimate(ratio, float(noise.mean())).within(METHOD_UNCERTAINTY, float(beat.mean()))
        quiet, own = (float(np.median(rows.all()[kept, driven])) for rows in (self._quiet, self._own_quiet))
        if not residue.found and quiet < 10 ** (-SILENT_DB / 10) * own:
            return self._nothing(f"no tape noise is heard on the {self.sides[1 - driven]} channel: is it connected?")
        moves = wander.of_ratio(ratio, HOP / self.spectra.rate, float(noise.mean()))
        return self._measured(driven, residue, moves, asked if asked is not None else float(hz.mean()))

    def _driven(self, amplitude: NDArray[np.float64]) -> int:
        if self.options.driven is not None:
            return 0 if self.options.driven == "left" else 1
        typical = [np.nanmedian(a) if np.isfinite(a).any() else 0.0 for a in amplitude.T]
        return int(np.argmax(typical))

    def _measured(self, driven: int, residue: Estimate, moves: Wander, hz: float) -> Measured:
        method = replace(METHOD, driven="left" if driven == 0 else "right")
        reference = f"{self.sides[driven]} channel"
        if not residue.found:
            least = float(-20.0 * np.log10(max(residue.ceiling, 1e-15)))
            warning = (
                f"separation at {hertz(hz)}: noise or hum of the {self.sides[1 - driven]} channel hides the residue; "
                f"it is at least {least:.1f} dB"
            )
            reading = Reading(
                "separation",
                "left-right",
                least,
                0.0,
                frequency_hz=hz,
                method=method,
                bound="at least",
                reference=reference,
            )
            return Measured((reading,), (warning,))
        value = -20.0 * float(np.log10(residue.size))
        own = -20.0 * float(np.log10(1.0 - min(0.9, residue.uncertainty / residue.size)))
        warnings: tuple[str, ...] = ()
        if value < 0.0 and self.options.driven is not None:
            warnings = (f"the {self.sides[1 - driven]} channel is the louder one: was it driven?",)
        elif value < 3.0 and self.options.driven is None:
            warnings = (f"both channels carry {hertz(hz)}: drive one only, and name it with --driven",)
        return Measured(
            (
                Reading(
                    "separation",
                    "left-right",
                    value,
                    own,
                    budget=budget_of(own, residue.by_source),
                    frequency_hz=hz,
                    method=method,
                    reference=reference,
                ).wandering(moves.within, moves.slower),
            ),
            warnings,
        )

    def _nothing(self, because: str) -> Measured:
        return Measured((NoReading("separation", "left-right", because, frequency_hz=self.options.frequency),))
