"""Everything that a capture can support, in one pass over it.

Each chunk of the stream is transformed once; the finder, every meter that uses chunks and the noise meter share the
pass. Memory grows by only a few numbers per second of capture. Quantities that the capture cannot support are omitted
instead of being given as "no reading":

- `level`, `balance`, `response`, `azimuth`, `speed` if their steady tones were found; response if two different tones
  were found, or if it was requested.
- `flutter` if a carrier near its nominal frequency lasts at least five seconds.
- `noise`, `signal_to_noise` from the parts without tones, if there is at least a second of steady hiss and not speech.
  `hum` always, without lines at the frequency of a tone.
- `distortion` of the strongest tone from 60 Hz to 10.5 kHz.
- `headroom` if a tone rises through 3 % third harmonic, or to saturation.
- `separation` if one channel is named as driven, or the other one is at least 15 dB below it.
- `erasure` if frequency and reference level are given and no tone of that frequency is near that level.
- `dropouts` of the strongest tone, if it lasts at least five seconds.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from bench.measure.catalogue import HUM_TOTAL
from bench.measure.meters import Options
from bench.measure.quantities.azimuth import AzimuthMeter
from bench.measure.quantities.distortion import DistortionMeter
from bench.measure.quantities.dropouts import DropoutMeter
from bench.measure.quantities.erasure import ErasureMeter
from bench.measure.quantities.flutter import FlutterMeter
from bench.measure.quantities.headroom import HeadroomMeter
from bench.measure.quantities.hum import HumMeter
from bench.measure.quantities.level import LevelMeter
from bench.measure.quantities.noise import INTERVAL_S, Weighted, noise_readings
from bench.measure.quantities.response import ResponseMeter
from bench.measure.quantities.separation import SeparationMeter
from bench.measure.quantities.speed import SpeedMeter
from bench.measure.reading import Measured, NoReading, Reading, Result
from bench.measure.signal.blocks import Samples
from bench.measure.signal.spectral_peaks import hann_power, strongest_peaks
from bench.measure.tone.chunk_meter import SpectraMeter
from bench.measure.tone.demodulator import Spectra
from bench.measure.tone.finding.finder import IDLE_HARVEST, FoundTone, ToneFinder, without_pieces
from bench.measure.tone.finding.found_tone import of_one_machine
from bench.measure.tone.meter import CaptureCheck

ONE_SIDED_DB = 15.0
"""A tone whose levels in the two channels differ by this was sent to one of them."""
LONG_S = 5.0
MARGIN_S = 0.5
"""Noise is not measured this close to a tone."""
AFTER_LOUD_S = 3.0
"""Decay time of the quasi-peak meter."""
QUIET_RATIO = 4.0
"""A part is noise if its power is at most this many times that of the quietest tenth."""
LEAST_NOISE_S = 1.0
HUM_BESIDE_TONE = 0.02
NEAR_REFERENCE_DB = 20.0
# These figures are our own choice; tests/measure/quantities/test_everything.py checks what follows from them.


class EverythingMeter:
    """All quantities that the capture supports. Options: all."""

    def __init__(self, sample_rate: float, channels: int, options: Options | None = None) -> None:
        self.sample_rate, self.channels = sample_rate, channels
        self.options = options or Options()
        more = sample_rate, channels, self.options
        self._spectra = Spectra(sample_rate, channels)
        self._finder = ToneFinder(sample_rate, channels, self._spectra, harvest=IDLE_HARVEST)
        self._tones: list[FoundTone] = []
        self._capture = CaptureCheck(sample_rate, channels)
        self._weighted = Weighted(sample_rate, channels)
        self._flutter = FlutterMeter(*more, self._spectra)
        self._distortion = DistortionMeter(*more, self._spectra)
        self._headroom = HeadroomMeter(*more, self._spectra)
        apart = 0.0 if self.options.driven is not None else ONE_SIDED_DB
        self._separation = SeparationMeter(*more, self._spectra, least_db=apart)
        self._erasure = ErasureMeter(*more, self._spectra)
        self._dropouts = DropoutMeter(*more, self._spectra)
        self._hum = HumMeter(*more, self._spectra)
        self._meters: list[SpectraMeter] = [self._flutter, self._distortion, self._headroom, self._dropouts, self._hum]
        if channels == 2:
            self._meters.append(self._separation)
        if self._may_be_erased:
            self._meters.append(self._erasure)

    def feed(self, samples: Samples) -> None:
        """Process samples of shape (frames, channels), full scale ±1."""
        hop = self._spectra.hop
        for at in range(0, len(samples), hop):
            part = samples[at : at + hop]
            self._capture.feed(part)
            self._weighted.idle = self._finder.holds
            self._weighted.feed(part)
            for spectrum in self._spectra.feed(part):
                self._chunk(spectrum)

    def finish(self) -> Measured:
        """End the stream and return the readings."""
        for spectrum in self._spectra.finish():
            self._chunk(spectrum)
        self._tones = of_one_machine(without_pieces([*self._tones, *self._finder.conclude()]))
        self._weighted.finish()
        readings: list[Result] = []
        warnings: list[str] = []
        for measured in self._all():
            there = [r for r in measured.readings if isinstance(r, Reading)]
            readings += there
            warnings += [w for w in measured.warnings if there and w not in warnings]
            warnings += self._missing_response(measured)
        if not readings:
            warnings.append(f"nothing could be measured: {self._capture.why_nothing()}")
        return self._capture.judged(Measured(tuple(readings), tuple(warnings)))

    def _missing_response(self, measured: Measured) -> list[str]:
        """Why a requested response has no reading."""
        why = [r.reason for r in measured.readings if r.quantity == "response" and isinstance(r, NoReading)]
        asked = bool(self.options.frequencies or self.options.sheet)
        return [f"no response: {why[0]}"] if asked and why and len(why) == len(measured.readings) else []

    def _chunk(self, spectrum: NDArray[np.complex128]) -> None:
        power = hann_power(spectrum, self._spectra.bin_hz)
        peaks = strongest_peaks(power, self._spectra.bin_hz)
        self._tones += self._finder.take(spectrum, peaks, power)
        for meter in self._meters:
            meter.take(spectrum, peaks)

    @property
    def _may_be_erased(self) -> bool:
        return self.options.frequency is not None and self.options.reference_level is not None

    def _all(self) -> list[Measured]:
        """The results of each quantity, without what the capture cannot support."""
        tones, capture, more = self._tones, self._capture, (self.sample_rate, self.channels, self.options)
        out = [LevelMeter(*more).conclude(tones, capture)]
        if self.options.frequencies or self.options.sheet or _different(tones) > 1:
            out.append(ResponseMeter(*more).conclude(tones, capture))
        if self.channels == 2:
            out.append(AzimuthMeter(*more).conclude(tones, capture))
        out.append(SpeedMeter(*more).conclude(tones, capture))
        flutter = self._flutter.close(capture)
        if self._flutter.seconds > 0.6 * LONG_S:
            out.append(flutter)
        out += [self._noise(), _without_tones(self._hum.close(capture), tones)]
        if tones:
            out.append(self._distortion.close(capture))
        headroom = self._headroom.close(capture)
        out.append(_only(headroom, [r for r in headroom.readings if isinstance(r, NoReading) or not r.bound]))
        if self.channels == 2 and tones:
            separation = self._separation.close(capture)
            least = -np.inf if self.options.driven is not None else ONE_SIDED_DB
            apart = [r for r in separation.readings if isinstance(r, Reading) and r.value > least]
            out.append(_only(separation, apart))
        if self._may_be_erased and not self._recorded():
            out.append(self._erasure.close(capture))
        dropouts = self._dropouts.close(capture)
        if self._dropouts.seconds > LONG_S:
            out.append(dropouts)
        return out

    def _recorded(self) -> bool:
        """Whether a tone of the requested frequency is near the reference level, and so not erased."""
        hz, level = self.options.frequency or 0.0, self.options.reference_level or 0.0
        return any(abs(t.frequency_hz / hz - 1.0) < 0.03 and t.dbfs > level - NEAR_REFERENCE_DB for t in self._tones)

    def _noise(self) -> Measured:
        frames = self._weighted.frames.all()
        if not len(frames):
            return Measured(())
        kept = quiet_intervals(self._weighted.intervals.all()[:, 1].sum(axis=1), self._tones)
        if frames[kept].sum() < LEAST_NOISE_S * self.sample_rate:
            return Measured(())
        return noise_readings(self._weighted, self._capture, self.options, kept)


def quiet_intervals(power: NDArray[np.float64], tones: Sequence[FoundTone]) -> NDArray[np.bool_]:
    """Mask of the intervals that contain only noise.

    Args:
        power: power of each interval.
        tones: all tones found.
    """
    begin = np.arange(len(power)) * INTERVAL_S
    free = power > 0.0
    for tone in tones:
        free &= (begin > tone.end_s + MARGIN_S) | (begin + INTERVAL_S < tone.start_s - MARGIN_S)
    if not free.any():
        return free
    loud = power > QUIET_RATIO * np.percentile(power[free], 10)
    if not tones and loud.mean() > 0.5:
        return np.zeros(len(power), dtype=bool)
    falling = np.convolve(loud, np.ones(round(AFTER_LOUD_S / INTERVAL_S) + 1))[: len(power)] > 0.5
    return free & ~falling


def _different(tones: Sequence[FoundTone]) -> int:
    """Number of different frequencies."""
    known: list[float] = []
    for tone in tones:
        if all(abs(tone.frequency_hz / hz - 1.0) > 0.03 for hz in known):
            known.append(tone.frequency_hz)
    return len(known)


def _only(measured: Measured, readings: Sequence[Result]) -> Measured:
    return Measured(tuple(readings), measured.warnings)


def _without_tones(hum: Measured, tones: Sequence[FoundTone]) -> Measured:
    """Hum, without the channels in which a line of it is a tone that was found."""

    def own(reading: Result) -> bool:
        hz = reading.frequency_hz
        return hz is None or all(abs(t.frequency_hz - hz) > HUM_BESIDE_TONE * hz for t in tones)

    lines = [r for r in hum.readings if r.method.name != HUM_TOTAL]
    taken = {r.channel for r in lines if not own(r)}
    return _only(hum, [r for r in hum.readings if (r.channel not in taken if r.method.name == HUM_TOTAL else own(r))])
