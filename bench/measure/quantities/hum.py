"""Hum: the mains frequency and its harmonics.

Formula
    The signal up to 800 Hz is divided into segments of four seconds with 50 % overlap under a Hann window. The mains
    frequency is the one, near 50 or 60 Hz, whose harmonics stand out most; within 4 %, because hum recorded on a tape
    follows the tape's speed. The power of a line is that of its bins minus the surrounding noise; levels are means of
    power over the segments: 20 lg(peak amplitude) dBFS. The total is the sum of the powers.
    A line counts as a harmonic if it lies where the strongest of the first three predicts it and is not much stronger
    than both of the two preceding harmonics of its parity (odd harmonics decrease, and so do even ones). So the residue
    of an erased 400 Hz tone is not hum, although 400 Hz is eight times 50 Hz.
Unit and reference
    dBFS, full-scale sine = 0 (AES17).
Source
    Common practice, no source.
Accuracy
    Lines 10 dB above the noise in their band: 0.3 dB or better, as stated. Mains frequency within 0.02 Hz.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Floats
from bench.measure.catalogue import FULL_SCALE, HUM_LINE, HUM_TOTAL
from bench.measure.meters import Options
from bench.measure.method import Method
from bench.measure.reading import Channel, Measured, NoReading, Reading, Result
from bench.measure.tone.chunk_meter import SpectraMeter
from bench.measure.tone.coherent import HANN_OVERLAP
from bench.measure.tone.demodulator import Spectra
from bench.measure.tone.follower import Chunk
from bench.measure.tone.meter import CaptureCheck

MAINS_HZ = (50.0, 60.0)
SEARCH_RANGE = 0.04
"""Search range around the mains frequency, as a fraction: a tape with recorded hum may be replayed at another speed."""
TOP_HZ = 780.0
CENTRE_HZ = 400.0
SEGMENT_S = 4.0
SHORTEST_S = 1.0
HIGHEST = 15
"""The highest harmonic of 50 Hz below `TOP_HZ`."""
STANDS_OUT = 8.0
"""Least power of a line, in standard deviations of the surrounding noise; more if there are few segments."""
AGREES_HZ, AGREES = 0.03, 2e-4
"""Greatest distance of a line from its multiple of the mains frequency: in Hz, and as a fraction of its frequency."""
VAGUE_HZ = 3.0
"""A further allowance, in Hz, times the ratio of noise scatter to line power: faint lines are less certain."""
LARGEST_RISE = 4.0
"""A harmonic may have this many times the power (6 dB) of the stronger of the two before it, odd or even."""


class HumMeter(SpectraMeter):
    """`hum` of each channel: the total first, then each line found."""

    needs_peaks = False

    def __init__(
        self, sample_rate: float, channels: int, options: Options | None = None, spectra: Spectra | None = None
    ) -> None:
        super().__init__(sample_rate, channels, options, spectra)
        self._centre = self.spectra.nearest_bin(CENTRE_HZ)
        self._length = round(SEGMENT_S * self.spectra.rate)
        self._z = np.zeros((0, channels), dtype=np.complex128)
        self._sum = np.zeros((self._length, channels))
        self._segments = 0

    def batch(self, chunks: list[Chunk]) -> None:
        """Add the band to the segments."""
        z = self.spectra.basebands([c.spectrum for c in chunks], chunks[0].number, self._centre)
        z = z[self.inside(self.spectra.start_of(chunks[0].number), len(z))]
        self._z = np.concatenate([self._z, z])
        while len(self._z) >= self._length:
            self._sum += _power(self._z[: self._length], self._length)
            self._segments += 1
            self._z = self._z[self._length // 2 :]

    def conclude(self, capture: CaptureCheck) -> Measured:
        """The lines that were found."""
        width = 1.0
        if not self._segments and len(self._z) >= SHORTEST_S * self.spectra.rate:
            self._sum = _power(self._z, self._length)
            self._segments = 1
            width = self._length / len(self._z)
        because = ""
        if not capture.peak > 0.0:
            because = "the capture is digital silence"
        elif not self._segments:
            because = f"the capture is shorter than {SHORTEST_S:g} s"
        if because:
            return Measured(tuple(NoReading("hum", s, because) for s in self.sides))
        spectrum = _Spectrum(self._sum / self._segments, self._segments, width, self.spectra, self._centre)
        readings: list[Result] = []
        warnings: list[str] = []
        mains = spectrum.mains()
        for channel, side in enumerate(self.sides):
            lines, others = ([], []) if mains is None else spectrum.harmonics(mains, channel)
            warnings += [
                f"{side}: a line at {x.hz:.1f} Hz does not go with the mains' other harmonics and is not counted as hum"
                for x in others
            ]
            if mains is None or not lines:
                words = "no line at 50 or 60 Hz and its harmonics rises above the noise"
                readings.append(NoReading("hum", side, words))
                continue
            power = sum(x.power for x in lines)
            spread = float(np.sqrt(sum(x.spread**2 for x in lines)))
            readings.append(
                _reading(side, mains, power, spread, Method(HUM_TOTAL, lines_hz=tuple(x.hz for x in lines)))
            )
            readings += [
                _reading(side, x.hz, x.power, x.spread, Method(f"{HUM_LINE} {x.order} times the mains frequency"))
                for x in lines
            ]
        return Measured(tuple(readings), tuple(warnings))


@dataclass(frozen=True, slots=True)
class _Line:
    order: int
    """Multiple of the mains frequency."""
    hz: float
    power: float
    """Squared peak amplitude, corrected for noise."""
    spread: float
    """Standard deviation of the power."""
    noise: float
    """Standard deviation of the noise power in its bins."""


class _Spectrum:
    """The mean power spectrum, and the lines in it.

    Args:
        power: (bins, channels).
        segments: number of segments that were averaged.
        width: width of a line relative to that under the full window.
        spectra: the source of the baseband.
        centre: the bin that was shifted to zero frequency.
    """

    def __init__(self, power: Floats, segments: int, width: float, spectra: Spectra, centre: int) -> None:
        self._power, self._all = power, power.sum(axis=1)
        self._independent = max(1.0, segments / HANN_OVERLAP)
        self._threshold = STANDS_OUT * (1.0 + 0.7 / self._independent)
        self._lobe = int(np.ceil(2.0 * width))
        self._bin_hz = spectra.rate / len(power)
        self._zero = centre * spectra.bin_hz

    def orders(self, mains: float) -> range:
        """The harmonics within the band."""
        return range(1, min(HIGHEST, int(TOP_HZ / mains)) + 1)

    def mains(self) -> float | None:
        """The mains frequency whose harmonics stand out most; one of the first three must be present."""
        bins = np.arange(-len(self._all) // 2, len(self._all) // 2)
        lobe, floor, count = self._around(self._all, bins)
        noise = floor * np.sqrt(1.5 * count / self._independent)
        out = (self._all[lobe].sum(axis=0) - floor * count) / np.maximum(noise, 1e-30)
        best, best_score = None, 0.0
        for nominal in MAINS_HZ:
            for hz in np.arange(nominal * (1 - SEARCH_RANGE), nominal * (1 + SEARCH_RANGE), self._bin_hz / 8):
                orders = np.array(self.orders(float(hz)))
                found = out[self._bin(orders * hz) + len(self._all) // 2]
                if found[:3].max() > self._threshold:
                    score = float(np.sum(np.log(found[found > self._threshold])))
                    if score > best_score:
                        best, best_score = float(hz), score
        if best is None:
            return None
        mains = self._refine(best)
        inside = any(abs(mains / nominal - 1.0) <= SEARCH_RANGE for nominal in MAINS_HZ)
        return mains if inside else None  # outside it is a tone, whose leakage lay within the range

    def harmonics(self, mains: float, channel: int) -> tuple[list[_Line], list[_Line]]:
        """The mains lines in one channel, and other lines near multiples of the mains frequency."""
        own, others = _separated(self._lines(self._power[:, channel], mains), mains)
        return (own, others) if any(x.order <= 3 for x in own) else ([], own + others)

    def _lines(self, power: Floats, mains: float) -> list[_Line]:
        """The lines at multiples of a frequency that stand out, lowest first."""
        lines = (self._line(power, order, order * mains) for order in self.orders(mains))
        return [x for x in lines if x is not None]

    def _line(self, power: Floats, order: int, hz: float) -> _Line | None:
        lobe, floor, bins = self._around(power, self._bin(hz))
        excess = float(power[lobe].sum() - floor * bins)
        noise = max(float(floor * np.sqrt(1.5 * bins / self._independent)), 1e-30)
        if excess <= self._threshold * noise:
            return None
        spread = np.sqrt(noise**2 + 3.0 * excess * float(floor) / self._independent)
        return _Line(order, self._middle(power, hz), excess, float(spread), noise)

    def _bin(self, hz: Floats | float) -> NDArray[np.int64]:
        """The bin of a frequency; negative below the oscillator."""
        return np.rint((np.asarray(hz) - self._zero) / self._bin_hz).astype(np.int64)

    def _around(self, power: Floats, middle: NDArray[np.int64]) -> tuple[NDArray[np.int64], Floats, int]:
        """The bins of a line (along the first axis), the mean surrounding noise per bin, and the number of bins."""
        half, count = self._lobe + 1, len(power)
        lobe = np.add.outer(np.arange(-half, half + 1), middle) % count
        away = np.concatenate([np.arange(-5 * half, -2 * half), np.arange(2 * half, 5 * half)])
        median_to_mean = (1.0 - 1.0 / (9.0 * self._independent)) ** -3
        beside = power[np.add.outer(away, middle) % count]
        return lobe, np.asarray(np.median(beside, axis=0) * median_to_mean), len(lobe)

    def _middle(self, power: Floats, hz: float) -> float:
        middle = self._bin(hz)
        lobe, floor, _ = self._around(power, middle)
        over = np.maximum(power[lobe] - floor, 0.0) + 1e-300
        places = np.arange(len(lobe)) - len(lobe) // 2 + int(middle)
        return self._zero + float(np.average(places, weights=over)) * self._bin_hz

    def _refine(self, hz: float) -> float:
        """The mains frequency from the strongest of the first three lines, then from all lines that agree with it.

        Each is weighted by its signal-to-noise ratio and by its order, which divides its error.
        """
        lines = self._lines(self._all, hz)
        first = max((x for x in lines if x.order <= 3), key=lambda x: x.power, default=None)
        if first is None:
            return hz
        own, _ = _separated(lines, first.hz / first.order)
        weights = [x.order**2 * min(x.power / x.noise, 1e4) for x in own]
        return float(np.average([x.hz / x.order for x in own], weights=weights))


def _separated(lines: list[_Line], mains: float) -> tuple[list[_Line], list[_Line]]:
    """The mains lines, and those that merely lie near a multiple; each lowest first."""
    own: list[_Line] = []
    others: list[_Line] = []
    for line in lines:
        off = abs(line.hz - line.order * mains)
        agrees = off < AGREES_HZ + AGREES * line.hz + VAGUE_HZ * line.noise / line.power
        like = max((x.power for x in own if x.order in {line.order - 2, line.order - 4}), default=0.0)
        (own if agrees and (line.order <= 3 or line.power < LARGEST_RISE * like) else others).append(line)
    return own, others


def _power(z: NDArray[np.complex128], length: int) -> Floats:
    """Power in each bin under a Hann window; the bins of a line add up to its squared peak amplitude."""
    w = np.sin(np.pi * (np.arange(len(z)) + 0.5) / len(z)) ** 2
    spectrum = np.fft.fft(z * w[:, None], length, axis=0)
    return np.asarray(np.abs(spectrum) ** 2 / (length * np.sum(w * w)))


def _reading(side: Channel, hz: float, power: float, spread: float, method: Method) -> Reading:
    uncertainty = float(np.hypot(2.0 * 4.343 * spread / power, 0.05))
    return Reading(
        "hum",
        side,
        float(10.0 * np.log10(power)),
        uncertainty,
        frequency_hz=hz,
        method=method,
        reference=FULL_SCALE,
    )
