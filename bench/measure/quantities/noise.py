"""Noise, weighted in four ways, and signal-to-noise ratio.

Formula
    A-weighted rms and unweighted rms 22.4 Hz-22.4 kHz: 20 lg(√2 · rms) of the network's output over the whole capture.
    BS.468: highest indication of the quasi-peak meter, discharged at the start. 2 kHz average-responding: the same
    network shifted to 0 dB at 2 kHz, rectified average over the capture, scaled to the rms of a sine.
    signal_to_noise = reference level − noise, for each method.
Unit and reference
    dBFS: a full-scale sine at 1 kHz (average-responding: at 2 kHz) reads 0 (AES17). signal_to_noise in dB.
Source
    IEC 61672-1 (A); Recommendation ITU-R BS.468-4; JAES 27(3), 1979 (average-responding, 2 kHz); IEC 60268-1 (band).
Accuracy
    Networks: see `weighting`. The stated uncertainty of a mean is its scatter over the capture and 0.06 dB. That of the
    quasi-peak is 0.5 dB, the difference on steady noise between two meters within the standard's limits, and 2 dB if a
    click or a burst determines the reading (the limits for a burst of 1 ms); a warning then gives its time.
    Gaussian noise reads 1.05 dB less on an average-responding meter than its rms.
Everything in the capture counts as noise, including tones, except DC, which is removed first.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Floats
from bench.measure.catalogue import AVERAGE_2K, BS468_QUASI_PEAK, FULL_SCALE, NOISE_METHODS
from bench.measure.meters import Options
from bench.measure.method import Method
from bench.measure.quantities.hum import HumMeter
from bench.measure.reading import Channel, Measured, NoReading, Reading, Result, Source, budget_of
from bench.measure.signal.blocks import Rows, Samples, Segments
from bench.measure.signal.quasi_peak import BS468, QuasiPeak
from bench.measure.signal.rectifier import Rectifier
from bench.measure.signal.weighting import AVERAGE_REFERENCE_HZ, a_network, band_network, bs468_db, bs468_network
from bench.measure.tone.demodulator import Spectra
from bench.measure.tone.finding.finder import side_of
from bench.measure.tone.meter import CaptureCheck

INTERVAL_S = 0.25
LEAD_INTERVALS = 2
"""The DC offset is the mean of the first half second: whole cycles of 50 and 60 Hz."""
SHORTEST_S = 0.25
NETWORK_DB = 0.06
QUASI_PEAK_DB, BURST_DB = 0.5, 2.0
STEADY = 2.05
"""The quasi-peak reading of steady noise relative to its rectified average (measured: within 0.2 dB)."""
BURST = 1.35
"""An indication higher than that by this factor is caused by a click or a burst."""
SINE_PER_AVERAGE = np.pi / (2.0 * np.sqrt(2.0))
"""Rms of a sine relative to its rectified average."""


class Weighted:
    """The four indications, interval by interval. All are stored: 16 numbers per second and channel.

    Args:
        sample_rate: frames per second.
        channels: number of channels.
    """

    def __init__(self, sample_rate: float, channels: int) -> None:
        self.channels = channels
        self._segments = Segments(round(INTERVAL_S * sample_rate), channels)
        self._lead: list[Floats] = []
        self._direct: Floats | None = None
        self._networks = [n(sample_rate).sos for n in (a_network, band_network, bs468_network)]
        self._sample_rate = sample_rate
        self._discharge()
        self._rested = True
        self.idle = False
        """Set while a tone is known to sound: intervals are skipped (NaN), and the meters restart after them."""
        self.frames = Rows(())
        """Frames in each interval."""
        self.intervals = Rows((4, channels))
        """A-weighted mean square, band mean square, highest quasi-peak and rectified average; each (4, channels)."""

    def _discharge(self) -> None:
        self._states = [np.zeros((self.channels, len(sos), 2)) for sos in self._networks]
        self._rectifier = Rectifier(self._sample_rate, self.channels)
        self._quasi_peak = QuasiPeak(self._rectifier.rate, self.channels, BS468)

    def feed(self, samples: Samples) -> None:
        """Process samples."""
        for piece in self._segments.feed(samples):
            if self._direct is None:
                self._lead.append(piece.copy())
                if len(self._lead) == LEAD_INTERVALS:
                    self._start()
            else:
                self._interval(piece)

    def finish(self) -> None:
        """End the stream."""
        rest = self._segments.rest().copy()
        if self._direct is None:
            self._start(rest)
        if len(rest):
            self._interval(rest)

    def _start(self, rest: Floats | None = None) -> None:
        held = np.concatenate([*self._lead, *([] if rest is None else [rest])])
        self._direct = held.mean(axis=0) if len(held) else np.zeros(self.channels)
        for piece in self._lead:
            self._interval(piece)
        self._lead = []

    def _interval(self, piece: Floats) -> None:
        from bench.measure.signal import kernels

        assert self._direct is not None
        self.frames.append(len(piece))
        if self.idle:
            if not self._rested:
                self._discharge()
            self._rested = True
            self.intervals.append(np.full((4, self.channels), np.nan))
            return
        self._rested = False
        sound = kernels.take_off(piece, self._direct)
        out = np.empty_like(sound)
        row = np.empty((4, self.channels))
        for k, (sos, state) in enumerate(zip(self._networks, self._states, strict=True)):
            kernels.cascade(sound, sos, state, out)
            if k < 2:
                row[k] = kernels.mean_square(out)
        drive = self._rectifier.feed(out)
        row[2] = self._quasi_peak.feed(drive)
        row[3] = drive.mean(axis=1)
        self.intervals.append(row)


class NoiseMeter:
    """`noise` by four methods, `signal_to_noise` and `hum` of each channel. Options: `reference_level`."""

    def __init__(self, sample_rate: float, channels: int, options: Options | None = None) -> None:
        self.sample_rate, self.channels = sample_rate, channels
        self.options = options or Options()
        self._spectra = Spectra(sample_rate, channels)
        self._weighted = Weighted(sample_rate, channels)
        self._hum = HumMeter(sample_rate, channels, self.options, self._spectra)
        self._capture = CaptureCheck(sample_rate, channels)

    def feed(self, samples: Samples) -> None:
        """Process samples of shape (frames, channels), full scale ±1."""
        hop = self._spectra.hop
        for at in range(0, len(samples), hop):
            part = samples[at : at + hop]
            self._capture.feed(part)
            self._weighted.feed(part)
            for spectrum in self._spectra.feed(part):
                self._hum.take(spectrum)

    def finish(self) -> Measured:
        """End the stream and return the readings. The capture is judged once, for noise and hum together."""
        self._weighted.finish()
        for spectrum in self._spectra.finish():
            self._hum.take(spectrum)
        noise = noise_readings(self._weighted, self._capture, self.options)
        hum = self._hum.close(self._capture)
        return self._capture.judged(Measured((*noise.readings, *hum.readings), (*noise.warnings, *hum.warnings)))


def noise_readings(
    weighted: Weighted, capture: CaptureCheck, options: Options, kept: NDArray[np.bool_] | None = None
) -> Measured:
    """The readings from the intervals.

    Args:
        weighted: after its `finish`.
        capture: the check of the same stream.
        options: only `reference_level` is used.
        kept: mask of the intervals that count; None for all.
    """
    readings: list[Result] = []
    because = _why_not(capture)
    frames = weighted.frames.all()
    starts = INTERVAL_S * np.arange(len(frames), dtype=np.float64)
    intervals = weighted.intervals.all()
    if kept is not None:
        frames, starts, intervals = frames[kept], starts[kept], intervals[kept]
        if not because and frames.sum() < SHORTEST_S * capture.sample_rate:
            because = "no part of the capture is free of tones for long enough"
    warnings: list[str] = []
    for channel in range(weighted.channels):
        side = side_of(channel, weighted.channels)
        over = 0.0 if because else _burst(intervals[:, :, channel], frames)
        if over > 0.0:
            at = starts[int(np.argmax(intervals[:, NOISE_METHODS.index(BS468_QUASI_PEAK), channel]))]
            warnings.append(
                f"{side} channel: a click or burst near {at:.2f} s makes the quasi-peak reading, {over:.0f} dB above "
                "that of steady noise"
            )
        for k, method in enumerate(NOISE_METHODS):
            reading = _noise(side, method, intervals[:, k, channel], frames, because=because, burst=over > 0.0)
            readings.append(reading)
            if options.reference_level is not None:
                readings.append(_ratio(reading, options.reference_level))
    limit = band_network(capture.sample_rate).limit
    return Measured(tuple(readings), (*warnings, limit) if limit and not because else tuple(warnings))


def _why_not(capture: CaptureCheck) -> str:
    seconds = capture.frames / capture.sample_rate
    if not capture.peak > 0.0:
        return "the capture is digital silence"
    if seconds < SHORTEST_S:
        return f"the capture is too short: {seconds:.2f} s, and noise needs {SHORTEST_S:g} s"
    return ""


def _noise(side: Channel, method: str, column: Floats, frames: Floats, *, because: str, burst: bool) -> Result:
    """Noise by one method."""
    level = -np.inf
    parts: dict[Source, float] = {}
    if not because:
        if method == BS468_QUASI_PEAK:
            level = _db(float(column.max()) * np.sqrt(2.0))
            parts = {"method": BURST_DB if burst else QUASI_PEAK_DB}
        elif method == AVERAGE_2K:
            mean = float(np.average(column, weights=frames))
            to_2k = 10.0 ** (-float(bs468_db(AVERAGE_REFERENCE_HZ)[0]) / 20.0)
            level = _db(mean * SINE_PER_AVERAGE * np.sqrt(2.0) * to_2k)
            parts = _scatter_db(column, frames, 8.686)
        else:
            mean = float(np.average(column, weights=frames))
            level = _db(np.sqrt(2.0 * mean))
            parts = _scatter_db(column, frames, 4.343)
        if not np.isfinite(level):
            because = "this channel is digital silence"
    if because:
        return NoReading("noise", side, because, method=Method(method))
    whole = math.hypot(*parts.values())
    return Reading(
        "noise", side, level, whole, budget=budget_of(whole, parts), method=Method(method), reference=FULL_SCALE
    )


def _ratio(noise: Result, reference_level: float) -> Result:
    """The signal-to-noise ratio for a reference level."""
    if isinstance(noise, NoReading):
        return replace(noise, quantity="signal_to_noise")
    return replace(
        noise,
        quantity="signal_to_noise",
        value=reference_level - noise.value,
        reference=f"{reference_level:g} dBFS",
    )


def _burst(intervals: Floats, frames: Floats) -> float:
    """Rise of the highest indication above that of steady noise because of a click or a burst, dB; 0 without one.

    Args:
        intervals: indications of one channel, shape (intervals, methods).
        frames: number of frames in each interval.
    """
    steady = STEADY * float(np.average(intervals[:, NOISE_METHODS.index(AVERAGE_2K)], weights=frames))
    highest = float(intervals[:, NOISE_METHODS.index(BS468_QUASI_PEAK)].max())
    return _db(highest / steady) if highest > BURST * steady > 0.0 else 0.0


def _scatter_db(column: Floats, frames: Floats, slope: float) -> dict[Source, float]:
    """Expanded uncertainty components of a mean, dB: scatter of its intervals (if few, that of Gaussian noise)."""
    whole = column[frames >= 0.99 * frames.max()]
    mean = float(whole.mean())
    if len(whole) >= 8 and mean > 0.0:
        scatter = 2.0 * slope * float(whole.std(ddof=1)) / mean / np.sqrt(len(whole))
    else:
        scatter = 2.0 * slope / np.sqrt(5000.0 * INTERVAL_S * max(1, len(whole)))
    return {"other stretches": float(scatter), "method": NETWORK_DB}


def _db(amplitude: float) -> float:
    return float(20.0 * np.log10(amplitude)) if amplitude > 0.0 else -np.inf
