"""What a steady stretch of baseband says: level, frequency, phase between channels, each with its uncertainty.

Level: A = mean |z| less the share of the noise, in dB re a full-scale sine (AES17). Frequency: slope of the phase by
least squares. Phase between channels: angle of the mean of z_left · conj(z_right). All three reach the Cramér-Rao
bound of a steady tone in white noise (Rife and Boorstyn, IEEE Trans. Inf. Theory IT-20, 1974): level 8.686/√K dB,
frequency √(12/K)/(2π T) Hz, phase difference √(2/K) rad with K = samples × SNR of a sample.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bench.measure.tracking import Baseband

Floats = NDArray[np.float64]
DB = 20.0 / np.log(10.0)


@dataclass(frozen=True, slots=True)
class ChannelTone:
    """A tone in one channel."""

    amplitude: float
    """Peak, full scale 1; 0 when there is no tone."""
    amplitude_uncertainty: float
    """Expanded (k = 2)."""
    frequency_hz: float
    frequency_uncertainty_hz: float
    drift_hz: float = 0.0
    """Frequency at the end minus at the start, by a straight line."""
    drift_uncertainty_hz: float = 0.0
    present: bool = True

    @property
    def dbfs(self) -> float:
        """Level, dB re a full-scale sine."""
        return float(20.0 * np.log10(max(self.amplitude, 1e-12)))

    @property
    def dbfs_uncertainty(self) -> float:
        """Expanded (k = 2), dB."""
        return DB * self.amplitude_uncertainty / max(self.amplitude, 1e-12)


@dataclass(frozen=True, slots=True)
class PhasePair:
    """The right channel against the left."""

    lag_rad: float
    """How far the right channel is behind, -π…π."""
    uncertainty_rad: float
    """Expanded (k = 2)."""
    frequency_hz: float
    """Averaged over the same samples."""
    weave_rad: float
    """Standard deviation of the lag over time, the noise's share taken out."""
    weave_uncertainty_rad: float


def measure_stretch(z: Baseband, rate: float, oscillator_hz: float) -> tuple[tuple[ChannelTone, ...], PhasePair | None]:
    """Measure a steady stretch.

    Args:
        z: baseband of the stretch alone, shape (points, channels).
        rate: points a second.
        oscillator_hz: the frequency that became zero.

    Returns:
        Each channel's tone, and the pair of channels when there are two and both hold the tone.
    """
    lead = int(np.argmax(np.sum(np.abs(z) ** 2, axis=0)))
    phase = np.unwrap(np.angle(z[:, lead]))
    tones = tuple(_channel(z[:, c], phase, rate, oscillator_hz) for c in range(z.shape[1]))
    pair = None
    if len(tones) == 2 and all(t.present for t in tones):
        pair = _pair(z, tones, rate)
    return tones, pair


def _channel(z: NDArray[np.complex128], lead_phase: Floats, rate: float, oscillator_hz: float) -> ChannelTone:
    n = len(z)
    seconds = n / rate
    level = np.abs(z)
    noise = _noise_density(level, rate)
    mean = float(level.mean())
    amplitude = mean - noise * rate * 0.35 / max(mean, 1e-12)
    t = (np.arange(n) - (n - 1) / 2) / rate
    phase = np.unwrap(np.angle(z))
    slope = float(np.sum(t * phase) / np.sum(t * t))
    frequency = oscillator_hz + slope / (2 * np.pi)
    coherent = abs(np.mean(z * np.exp(-1j * lead_phase)))
    present = coherent > 4.0 * np.sqrt(noise / seconds) and amplitude > 0
    sd = float(np.sqrt(noise / seconds))
    return ChannelTone(
        amplitude=amplitude if present else 0.0,
        amplitude_uncertainty=float(2.0 * sd),
        frequency_hz=frequency,
        frequency_uncertainty_hz=float(2.0 * sd / max(mean, 1e-12) * np.sqrt(12.0) / (2 * np.pi * seconds)),
        present=bool(present),
    )


def _noise_density(level: Floats, rate: float) -> float:
    """Two-sided density of the in-phase noise at zero frequency, from the level's own spectrum up to 200 Hz."""
    spectrum = np.abs(np.fft.rfft(level - level.mean())) ** 2 / (len(level) * rate)
    hz = np.fft.rfftfreq(len(level), 1 / rate)
    return float(np.mean(spectrum[(hz > 3.0) & (hz < 300.0)]))


def _pair(z: Baseband, tones: tuple[ChannelTone, ...], rate: float) -> PhasePair:
    product = z[:, 0] * np.conj(z[:, 1])
    mean = product.mean()
    seconds = len(z) / rate
    parts = [t.amplitude_uncertainty / t.amplitude for t in tones]
    turned = np.imag(product * np.conj(mean)) / abs(mean) ** 2
    block = max(1, round(0.02 * rate))
    slow = turned[: len(turned) // block * block].reshape(-1, block).mean(axis=1)
    noise = float(np.hypot(*parts)) / 2.0 * np.sqrt(seconds * rate / block)
    weave = float(np.sqrt(max(0.0, np.var(slow) - noise**2))) if len(slow) > 2 else 0.0
    return PhasePair(
        lag_rad=float(np.angle(mean)),
        uncertainty_rad=float(np.hypot(*parts)),
        frequency_hz=float(np.mean([t.frequency_hz for t in tones])),
        weave_rad=weave,
        weave_uncertainty_rad=noise / np.sqrt(max(1, len(slow))),
    )
