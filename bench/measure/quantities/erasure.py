"""Erasure: the reduction of a recorded tone by erasing.

Formula
    The band around the tone is divided into segments of two seconds with 50 % overlap under a Hann window, and their
    power spectra are averaged. The residue is the power, minus the noise, of the narrow range (1 % of the frequency, at
    least 12 Hz, which covers flutter sidebands) within 3 % of the tone that stands out most from the surrounding noise.
    erasure = recorded level − 20 lg(residue).
Unit and reference
    dB, positive; relative to the recorded level: the one given, or that of the recorded part if the capture contains
    one (the erased part is then at least 20 dB below it).
Source
    IEC 60094-3 and DIN 45500 part 4 (erased at 1 kHz, selective measurement; as quoted in print).
Accuracy
    0.05 dB, and the noise in the narrow range. If noise masks the residue, the value is a lower limit, with the bound
    "at least". Nearby mains lines are excluded, but for high harmonics within the narrow range: they are too weak to
    matter there. If a strong one coincides with the tone, or may do so because the speed is not known, the residue may
    be hum, and the bound is "at least" too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Floats
from bench.figures import hertz
from bench.measure.meters import Options
from bench.measure.method import Method
from bench.measure.reading import Channel, Measured, NoReading, Reading, Result, Source, budget_of
from bench.measure.tone.chunk_meter import SpectraMeter
from bench.measure.tone.coherent import HANN_OVERLAP
from bench.measure.tone.demodulator import Spectra
from bench.measure.tone.follower import Chunk, Follower, Piece
from bench.measure.tone.meter import CaptureCheck
from bench.measure.tone.wander import NONE, of_level

SEGMENT = 4096
"""Baseband points: two seconds."""
SHORTEST = 1024
PIECE, PIECE_HOP = 1024, 512
PIECES = range(768, 768 + 4 * PIECE_HOP, PIECE_HOP)
"""Points of a piece, whose levels show wander, and from one piece to the next. The pieces of a segment begin at these
points, so that those of successive segments follow each other."""
SEARCH_RANGE = 0.03
WIDTH = 0.01
"""Width of the narrow range, as a fraction of the frequency."""
NARROWEST_HZ = 6.0
"""Least half width of the narrow range, for flutter sidebands."""
ERASED_RATIO = 0.01
"""Greatest power ratio of an erased part to a recorded one: −20 dB."""
METHOD_DB = 0.05
"""Error from sidebands that strong flutter shifts out of the narrow range (k = 2)."""
STANDS_OUT = 5.5
MAINS_HZ = (50.0, 60.0)
MAINS_LINES = 12
"""Higher harmonics of the mains are too weak to be taken for a residue."""
LINE_HZ = 2.5
"""Half width of a hum line: that of the window, and the drift of the mains frequency."""
TONE_HZ = 1.5
"""Half width of the tone: that of the window, and slow flutter."""
HUM_NEAR_HZ, HUM_SHARE = 1.0, 0.05
"""If more than the second fraction of the residue lies within the first of a mains line, it may be hum."""
RESIDUE_SNR, WITHOUT_RESIDUE = 4.0, 0.35
"""A piece with less than the second fraction of the others' power has no residue, provided that they exceed the noise
by at least the first factor."""
NOT_ERASED = 2.0
"""A piece at an end with more than this many times the usual residue lies where erasing sets in or stops: bias and
erase current rise and fall in a fraction of a second."""
METHOD = Method("residue in a narrow band around the tone")


class ErasureMeter(SpectraMeter):
    """`erasure` of each channel. Options: `frequency`, `reference_level`."""

    def __init__(
        self, sample_rate: float, channels: int, options: Options | None = None, spectra: Spectra | None = None
    ) -> None:
        super().__init__(sample_rate, channels, options, spectra)
        asked = self.options.frequency
        self._follower = Follower(self.spectra, 100.0, 20000.0) if asked is None else None
        self._hz = asked or 0.0
        self._z = np.zeros((0, channels), dtype=np.complex128)
        self._bin_hz = self.spectra.rate / SEGMENT
        self._powers: list[NDArray[np.float32]] = []
        """Power spectrum of each segment, (bins of the band, channels); the bins of a line add up to its squared
        amplitude."""
        self._pieces: list[NDArray[np.float32]] = []
        """The same of its pieces, (pieces, bins, channels)."""

    def batch(self, chunks: list[Chunk]) -> None:
        """Add the band around the tone to the segments."""
        if self._follower is None:
            self._add([c.spectrum for c in chunks], chunks[0].number)
            return
        self._follow(self._follower.take(chunks))

    def _follow(self, pieces: list[Piece]) -> None:
        for piece in pieces:
            if piece.fresh and self._follower is not None:
                self._hz, self._z, self._powers, self._pieces = self._follower.tone_hz, self._z[:0], [], []
            self._add(piece.spectra, piece.first)

    def _add(self, spectra: list[NDArray[np.complex128]], first: int) -> None:
        if self.too_high(self._hz):
            return
        z = self.spectra.basebands(spectra, first, self.spectra.nearest_bin(self._hz))
        self._z = np.concatenate([self._z, z[self.inside(self.spectra.start_of(first), len(z))]])
        while len(self._z) >= SEGMENT:
            self._powers.append(self._band(self._z[:SEGMENT]))
            self._pieces.append(np.stack([self._band(self._z[at : at + PIECE]) for at in PIECES]))
            self._z = self._z[SEGMENT // 2 :]

    def _band(self, z: NDArray[np.complex128]) -> NDArray[np.float32]:
        w = np.sin(np.pi * (np.arange(len(z)) + 0.5) / len(z)) ** 2
        power = np.abs(np.fft.fft(z * w[:, None], axis=0)) ** 2 / (len(z) * np.sum(w * w))
        bin_hz = self.spectra.rate / len(z)
        middle = round((self._hz - self.spectra.nearest_bin(self._hz) * self.spectra.bin_hz) / bin_hz)
        half = int(min(350.0, max(30.0, (SEARCH_RANGE + WIDTH) * self._hz)) / bin_hz)
        return np.asarray(power[np.arange(middle - half, middle + half + 1)], dtype=np.float32)

    def conclude(self, capture: CaptureCheck) -> Measured:
        """The erasure of each channel."""
        if self._follower is not None:
            self._follow(self._follower.finish())
        if not self._powers and len(self._z) >= SHORTEST:
            self._powers = [self._band(self._z)]
            self._bin_hz = self.spectra.rate / len(self._z)
        because = self._why_not(capture)
        readings: list[Result] = []
        warnings: list[str] = []
        for channel, side in enumerate(self.sides):
            if because:
                readings.append(self._nothing(side, because))
                continue
            powers = np.array(self._powers, dtype=np.float64)[..., channel]
            pieces = np.array(self._pieces, dtype=np.float64)[..., channel] if self._pieces else np.zeros((0, 0, 0))
            reading, warning = self._channel(powers, pieces, side)
            readings.append(reading)
            warnings += [warning] if warning else []
        return Measured(tuple(readings), tuple(warnings))

    def _why_not(self, capture: CaptureCheck) -> str:
        if self.too_high(self._hz):
            return self.too_high(self._hz)
        if self._powers:
            return ""
        if not capture.peak > 0.0:
            return "the capture is digital silence"
        if self._hz:
            return "the capture is too short: erasure needs half a second"
        return "no steady tone was found; name the erased one with --frequency"

    def _channel(self, powers: Floats, pieces: Floats, side: Channel) -> tuple[Result, str]:
        """The erasure of a channel, and a warning.

        Args:
            powers: of each segment, (segments, bins).
            pieces: of their pieces, (segments, pieces, bins); none if the capture is shorter than a segment.
            side: the channel.
        """
        totals = powers.sum(axis=1)
        if not totals.max() > 0.0:
            return self._nothing(side, "this channel is digital silence"), ""
        erased, recorded = parts(totals)
        level, moves = self.options.reference_level, NONE
        every_s = PIECE_HOP / self.spectra.rate
        if level is not None and totals.max() < ERASED_RATIO * 10.0 ** (level / 10.0):
            # Nothing is as loud as the recording was, so a quiet part is not the erased one: the tape ended there.
            erased[:], recorded[:] = True, False
        words = f"{level:g} dBFS" if level is not None else "the recorded part"
        if level is None:
            if not recorded.any():
                because = (
                    "the capture holds no recorded and erased part to compare; give the level at which the tone was "
                    "recorded with --reference-level, or the tone with --frequency"
                )
                return self._nothing(side, because), ""
            level = float(np.median(10.0 * np.log10(totals[recorded])))
            moves = of_level(10.0 * np.log10(pieces[recorded].sum(axis=2).ravel()), 1.0 / every_s, 0.0)
        known = self._follower is not None and bool(recorded.any())
        residue = self._residue(powers[erased].mean(axis=0), int(erased.sum()), known=known)
        if residue.found and len(pieces):
            near = self._near(residue.inside, powers.shape[1], pieces.shape[2])
            each = pieces[erased][:, :, near].sum(axis=2)
            floor, width = residue.floor * SEGMENT / PIECE, near.stop - near.start
            there = with_residue(each.ravel() - floor * width, floor * float(np.sqrt(1.5 * width)))
            whole = there.reshape(each.shape).all(axis=1)
            if whole.any():
                erased[np.flatnonzero(erased)[~whole]] = False
                residue = self._residue(powers[erased].mean(axis=0), int(erased.sum()), known=known)
        if residue.found and residue.hum_hz is not None:
            value = level - 10.0 * float(np.log10(residue.power))
            warning = (
                f"erasure, {side}: what is left near {hertz(self._hz)} may be mains hum at {hertz(residue.hum_hz)}: "
                f"it is at least {value:.1f} dB"
            )
            return self._reading(side, value, 0.0, words, bound="at least"), warning
        if residue.found:
            value = level - 10.0 * float(np.log10(residue.power))
            noise_db = 4.343 * residue.spread / residue.power
            reading = self._reading(side, value, math.hypot(2.0 * noise_db, METHOD_DB), words)
            own: dict[Source, float] = {"noise": 2.0 * noise_db, "method": METHOD_DB}
            reading = replace(reading, budget=budget_of(reading.uncertainty, own))
            left = NONE
            if len(pieces):
                each = pieces[erased][:, :, self._near(residue.inside, powers.shape[1], pieces.shape[2])].sum(axis=2)
                level_db = 4.343 * each.ravel() / each.mean()
                left = of_level(level_db, 1.0 / every_s, noise_db**2 * level_db.size * every_s)
            within, slower = math.hypot(moves.within, left.within), math.hypot(moves.slower, left.slower)
            return reading.wandering(within, slower), ""
        most = max(residue.power, 0.0) + 3.0 * residue.spread
        value = level - 10.0 * float(np.log10(most))
        warning = f"erasure, {side}: the noise near {hertz(self._hz)} hides the residue; it is at least {value:.1f} dB"
        return self._reading(side, value, 0.0, words, bound="at least"), warning

    def _residue(self, power: Floats, segments: int, *, known: bool) -> Residue:
        """The residue: the narrow range that stands out most.

        Args:
            power: in each bin of the band.
            segments: number of segments that were averaged.
            known: whether the actual frequency of the tone is known, not just the nominal one.
        """
        half = int(np.ceil(max(NARROWEST_HZ, 0.5 * WIDTH * self._hz) / self._bin_hz))
        independent = max(1.0, segments / HANN_OVERLAP)
        width = 2 * half + 1
        floor = float(np.median(power)) * (1.0 - 1.0 / (9.0 * independent)) ** -3
        hz = self._hz + self._bin_hz * (np.arange(len(power)) - len(power) // 2)
        lines = [m * k for m in MAINS_HZ for k in range(1, int(hz[-1] / m) + 1) if m * k > hz[0]]
        narrow = LINE_HZ + half * self._bin_hz

        def may_be_tone(line: float) -> bool:
            beside = (LINE_HZ + TONE_HZ if _is_strong(line) else narrow) if known else SEARCH_RANGE * self._hz
            return abs(line - self._hz) <= beside

        upon = [line for line in lines if may_be_tone(line)]
        clear = np.array([line for line in lines if line not in upon])
        power = np.where((np.abs(hz[:, None] - clear) < LINE_HZ).any(axis=1), floor, power)
        sums = np.convolve(power, np.ones(width), mode="valid") - floor * width
        middle, reach = len(sums) // 2, int(np.ceil(SEARCH_RANGE * self._hz / self._bin_hz))
        first = max(0, middle - reach)
        at = first + int(np.argmax(sums[first : middle + reach + 1]))
        excess = float(sums[at])
        inside = slice(at, at + width)

        def share(line: float) -> float:
            """Fraction of the residue at this line."""
            return float((power[inside] - floor)[np.abs(hz[inside] - line) < HUM_NEAR_HZ].sum()) / max(excess, 1e-300)

        hum = next((line for line in upon if _is_strong(line) and share(line) > HUM_SHARE), None)
        noise = floor * np.sqrt(1.5 * width / independent)
        found = excess > STANDS_OUT * noise * (1.0 + 0.7 / independent)
        spread = np.sqrt(noise**2 + 3.0 * max(excess, 0.0) * floor / independent)
        return Residue(excess, float(spread), found, hum, inside, floor)

    def _near(self, inside: slice, bins: int, piece_bins: int) -> slice:
        """The bins of a piece that hold what a range of bins of a segment holds, with the wider line of a piece."""
        ratio = SEGMENT // PIECE
        first, last = ((edge - bins // 2) / ratio + piece_bins // 2 for edge in (inside.start, inside.stop - 1))
        return slice(max(0, math.floor(first) - 1), math.ceil(last) + 2)

    def _reading(
        self,
        side: Channel,
        value: float,
        uncertainty: float,
        reference: str,
        *,
        bound: Literal["at least"] | None = None,
    ) -> Reading:
        return Reading(
            "erasure",
            side,
            value,
            uncertainty,
            frequency_hz=self.options.frequency or self._hz,
            method=METHOD,
            bound=bound,
            reference=reference,
        )

    def _nothing(self, side: Channel, because: str) -> NoReading:
        return NoReading("erasure", side, because, frequency_hz=self.options.frequency, method=METHOD)


def _is_strong(line_hz: float) -> bool:
    """Whether a line is a low harmonic of the mains."""
    return any(line_hz % mains == 0 and line_hz / mains < MAINS_LINES for mains in MAINS_HZ)


@dataclass(frozen=True, slots=True)
class Residue:
    """The remainder of an erased tone."""

    power: float
    """Squared peak amplitude, corrected for noise."""
    spread: float
    """Its standard deviation."""
    found: bool
    """Whether it stands out from the noise."""
    hum_hz: float | None
    """Frequency of the mains line that it may be."""
    inside: slice
    """Its bins."""
    floor: float
    """Power of the noise in each bin."""


def with_residue(excess: Floats, noise: float) -> NDArray[np.bool_]:
    """Mask of the pieces with residue: all except those at the ends, where the capture continues without the tape.

    If noise is too strong to distinguish pieces, all count. The outermost pieces with residue are excluded too,
    because they hold only part of it, and so are those at the ends in which erasing sets in or stops.

    Args:
        excess: power of each piece minus its noise.
        noise: standard deviation of the noise.
    """
    kept = np.ones(len(excess), dtype=bool)
    usual = float(np.percentile(excess, 75))
    if usual < RESIDUE_SNR * noise:
        return kept
    holds = np.flatnonzero(excess > WITHOUT_RESIDUE * usual)
    first, last = int(holds[0]), int(holds[-1]) + 1
    first, last = first + (first > 0), last - (last < len(excess))
    if last <= first:
        return kept
    most = NOT_ERASED * float(np.median(excess[first:last]))
    while last - first > 2 and excess[first] > most:
        first += 1
    while last - first > 2 and excess[last - 1] > most:
        last -= 1
    kept[:first] = kept[last:] = False
    return kept


def parts(totals: Floats) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Masks of erased and of recorded segments.

    Args:
        totals: power of each segment.

    Returns:
        Erased segments: all if there is no step of 20 dB, otherwise without those next to a louder one. Recorded
        segments: those within 1 dB of the loudest if there is such a step, without those next to a softer one;
        otherwise none.
    """
    quiet = totals < ERASED_RATIO * totals.max()
    if not quiet.any():
        return np.ones(len(totals), dtype=bool), np.zeros(len(totals), dtype=bool)
    return _inner(quiet), _inner(totals > 0.8 * totals.max())


def _inner(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The segments of a mask that are not next to any other; all of them where there is no such segment."""
    inner = mask & (np.convolve(~mask, np.ones(3), mode="same") < 0.5)
    return inner if inner.any() else mask
