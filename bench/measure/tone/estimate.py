"""What a steady stretch of baseband says: level, frequency, phase between channels, each with its uncertainty.

First everything that is not the tone is fitted and taken out (direct current, the tone's own image and harmonics,
hum), then the tone's phase is followed, so that flutter spreads nothing. Level: A = mean of the part in phase with
the tone. Frequency: least squares on the phase (`phase_fit`). Phase between channels: angle of the mean of
z_left · conj(z_right). Uncertainties come from the density N of what noise is left beside the tone: √(N/T).
Bounds reached: those of a steady tone in white noise (Rife and Boorstyn, IEEE Trans. Inf. Theory IT-20, 1974):
level 8.686/√K dB, frequency √(12/K)/(2π T) Hz, phase difference √(2/K) rad with K = samples × SNR of a sample.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bench.measure.tone.baseband import Complexes, Floats, density, low_pass, straight, turned_back
from bench.measure.tone.channel_phase import LOW_HZ, NEAR_HZ, Scene, Voice, follow_again, follow_tone
from bench.measure.tone.demodulator import PASS, Baseband
from bench.measure.tone.phase_fit import fit_rates, modelled, rough_slope, slope

FAR, CLEAR_PASS = 0.35, 0.4
"""A neighbour nearer than the first, in parts of the baseband rate, is filtered out; in parts of its distance, what
is then still passed."""
SLOWEST, WANDERS = 6, 2.7
"""A lag whose slowest so many lines are so much stronger than its noise wanders (noise does that once in a thousand
times): its mean is then known no better than those lines tell."""
DB = 20.0 / float(np.log(10.0))


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
        return DB * float(np.log(max(self.amplitude, 1e-12)))

    @property
    def dbfs_uncertainty(self) -> float:
        """Expanded (k = 2), dB."""
        return DB * self.amplitude_uncertainty / self.amplitude if self.amplitude > 0.0 else float("inf")


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


def measure_stretch(
    z: Baseband,
    rate: float,
    oscillator_hz: float,
    tone_hz: float | None = None,
    clear_hz: float = 1e9,
    *,
    glance: bool = False,
    hum: tuple[float, Sequence[float]] | None = None,
) -> tuple[tuple[ChannelTone, ...], PhasePair | None]:
    """Measure a steady stretch.

    Args:
        z: baseband of the stretch alone, shape (points, channels).
        rate: points a second.
        oscillator_hz: the frequency that became zero.
        tone_hz: about where the tone lies.
        clear_hz: how far the nearest other tone is.
        glance: whether flutter may stay in the frequency, which saves most of the work.
        hum: a mains line near the tone, if there is one: its frequency, and its amplitude in each channel beside the
            stretch.

    Returns:
        Each channel's tone, and the pair of channels when there are two and both hold the tone.
    """
    near = tone_hz if tone_hz is not None else oscillator_hz
    reach = PASS * rate / 2
    if clear_hz < FAR * rate:
        reach = CLEAR_PASS * clear_hz
        z = _narrowed(z, rate, near - oscillator_hz, clear_hz)
    scene = Scene(rate, oscillator_hz, reach)
    lead = int(np.argmax(np.sum(np.abs(z) ** 2, axis=0)))
    offset = _offset(z[:, lead], rate, near - oscillator_hz, max(4.0, 0.012 * near))
    order = [lead, *(c for c in range(z.shape[1]) if c != lead)]
    turn: Floats = np.asarray(2 * np.pi * offset / rate * (np.arange(len(z)) - (len(z) - 1) / 2), dtype=np.float64)
    voices: dict[int, Voice] = {}
    for c in order:
        guide = turn if c == lead else voices[lead].phase
        voices[c] = follow_tone(
            z[:, c], scene, offset, guide, lines=None if c == lead else voices[lead].lines, glance=glance
        )
    if hum is not None:
        _under(voices, hum, oscillator_hz, oscillator_hz + offset, len(z) / rate)
    rates = (
        None if glance else fit_rates(voices[lead].noisy_phase(), rate, voices[lead].reach_hz, oscillator_hz + offset)
    )
    if rates and oscillator_hz + offset < NEAR_HZ:
        model = modelled(voices[lead].noisy_phase(), rate, rates)
        for c, voice in voices.items():
            again = follow_again(z[:, c], scene, offset, model, voice.lines)
            again.hum, again.hum_turns = voice.hum, voice.hum_turns
            voices[c] = again
    tones = tuple(_tone(voices[c], rate, oscillator_hz, rates) for c in range(z.shape[1]))
    pair = _pair(voices[0], voices[1], scene) if len(tones) == 2 and all(t.present for t in tones) else None
    return tones, pair


def _under(
    voices: dict[int, Voice], hum: tuple[float, Sequence[float]], oscillator_hz: float, tone_hz: float, seconds: float
) -> None:
    """Note hum that goes on under the tone, where it was not found beside it and fitted.

    What is as strong beside the stretch as in it is the tone itself, going on.
    """
    hz, amplitudes = hum
    for c, voice in voices.items():
        if amplitudes[c] < 0.5 * voice.amplitude and all(
            abs(f + oscillator_hz - hz) > 0.005 * hz + 0.5 / seconds for f in voice.lines
        ):
            voice.hum, voice.hum_turns = amplitudes[c], abs(tone_hz - hz) * seconds


def _narrowed(z: Baseband, rate: float, offset: float, clear_hz: float) -> Baseband:
    """Only what lies nearer than the nearest other tone; what the filter can't see whole is left out."""
    taps = low_pass(CLEAR_PASS * clear_hz, clear_hz, rate)
    if len(taps) > len(z) // 2:
        return z
    turn = np.exp(-2j * np.pi * offset / rate * np.arange(len(z)))
    half = len(taps) // 2
    out = np.stack([np.convolve(z[:, c] * turn, taps, mode="valid") for c in range(z.shape[1])], axis=1)
    return np.asarray(out * np.conj(turn[half : half + len(out)])[:, None])


def _offset(z: Complexes, rate: float, about_hz: float, reach_hz: float) -> float:
    """Where the tone's strongest line lies, relative to the oscillator."""
    turned = turned_back(z, 2 * np.pi * about_hz / rate * np.arange(len(z), dtype=np.float64))
    block = max(1, min(int(rate / (8.0 * reach_hz)), len(z) // 64))
    turned = turned[: len(z) // block * block].reshape(-1, block).mean(axis=1)
    rate /= block
    size = 1 << (2 * len(turned) - 1).bit_length()
    power = np.abs(np.fft.fft(turned * np.hanning(len(turned) + 2)[1:-1], size)) ** 2
    hz = np.fft.fftfreq(size, 1.0 / rate)
    return about_hz + float(hz[int(np.argmax(np.where(np.abs(hz) <= reach_hz, power, 0.0)))])


def _tone(voice: Voice, rate: float, oscillator_hz: float, rates: list[float] | None) -> ChannelTone:
    seconds = len(voice.z) / rate
    sd = float(np.hypot(np.sqrt(voice.noise_level * voice.spread / seconds), voice.hum_level))
    present = voice.amplitude > 4.5 * np.sqrt(voice.noise / seconds)
    phase = voice.noisy_phase()
    fit = rough_slope(phase, rate, voice.reach_hz) if rates is None else slope(phase, rate, rates, voice.reach_hz)
    return ChannelTone(
        amplitude=voice.amplitude if present else 0.0,
        amplitude_uncertainty=2.0 * sd,
        frequency_hz=oscillator_hz + fit.frequency_hz,
        frequency_uncertainty_hz=2.0 * float(np.hypot(fit.deviation_hz, voice.hum_slope / seconds)),
        drift_hz=fit.drift_hz,
        drift_uncertainty_hz=2.0 * fit.drift_deviation_hz,
        present=bool(present),
    )


def _pair(left: Voice, right: Voice, scene: Scene) -> PhasePair:
    rate = scene.rate
    kept = left.kept & right.kept
    product = left.z * np.conj(right.z)
    mean = complex(product[kept].mean())
    share = float(kept.mean())
    seconds = len(product) / rate * share
    off = np.where(kept, np.imag(product * np.conj(mean)) / abs(mean) ** 2, 0.0)
    off = _less_flutter(off, left, right, rate)
    noise, lowest = density(off, rate, LOW_HZ, 0.95 * scene.reach_hz)
    wander = float(np.mean(np.abs(np.fft.rfft(off)[1 : 1 + SLOWEST]) ** 2)) / (len(off) * rate)
    lowest = max(lowest, wander if wander > WANDERS * noise else 0.0)
    block = max(1, round(0.02 * rate))
    count = len(off) // block
    slow = off[: count * block].reshape(count, block).mean(axis=1)
    weave = max(0.0, float(np.var(slow)) - noise * rate / block)
    doubt = noise * rate / block * float(np.sqrt(2.0 / max(1, count)))
    hum = sum((v.hum_level / max(v.amplitude, 1e-12)) ** 2 for v in (left, right))
    return PhasePair(
        lag_rad=float(np.angle(mean)),
        uncertainty_rad=2.0 * float(np.sqrt(lowest / share * max(left.spread, right.spread) / seconds + hum)),
        frequency_hz=scene.oscillator_hz + _mean_frequency(left, right, rate),
        weave_rad=float(np.sqrt(weave)),
        weave_uncertainty_rad=doubt / float(np.sqrt(weave)) if weave > doubt else float(np.sqrt(2.0 * doubt)),
    )


def _less_flutter(off: Floats, left: Voice, right: Voice, rate: float) -> Floats:
    """The lag's changes less those that a constant delay makes of the flutter: lag = 2π f(t) τ."""
    lead = left if left.amplitude >= right.amplitude else right
    few = max(2, round(0.01 * rate))
    moved = np.zeros(len(off))
    moved[few:-few] = lead.phase[2 * few :] - lead.phase[: -2 * few]
    inner = moved[few:-few] - moved[few:-few].mean()
    power = float(np.sum(inner**2))
    if power <= 0.0:
        return off
    moved[few:-few] = inner
    return np.asarray(off - moved * float(np.sum(moved * off)) / power)


def _mean_frequency(left: Voice, right: Voice, rate: float) -> float:
    """Averaged over the samples: the phase from half a point before the first to half a point after the last."""
    lead = left if left.amplitude >= right.amplitude else right
    phase = lead.noisy_phase()
    few = min(12, len(phase) // 4)
    t: Floats = np.arange(few, dtype=np.float64) + 0.5
    evenly = np.ones(few)
    _, start = straight(t, phase[:few], evenly)
    _, end = straight(t, phase[-1 : -few - 1 : -1], evenly)
    return (end - start) / (2 * np.pi * len(phase) / rate)
