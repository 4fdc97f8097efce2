"""Measurement of a steady stretch of baseband: level, frequency and interchannel phase, with their uncertainties.

Everything but the tone is fitted and subtracted first (DC, the tone's image and harmonics, hum). Then the tone's phase
is followed, so that flutter does not spread the tone. Level: A = mean of the component in phase with the tone, with
dropouts bridged. Frequency: least squares on the phase (`phase_fit`). Interchannel phase: angle of the mean of
z_left · conj(z_right). There are two uncertainties. For this stretch alone it is √(N/T), from the density N of the
noise around the tone. For the machine, the wander of level, delay and speed from one stretch to the next is added
(`wander`).
Bounds attained: those of a steady tone in white noise (Rife and Boorstyn, IEEE Trans. Inf. Theory IT-20, 1974):
level 8.686/√K dB, frequency √(12/K)/(2π T) Hz, phase difference √(2/K) rad, with K = samples × SNR of a sample.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Complexes, Floats
from bench.measure.tone import wander
from bench.measure.tone.baseband import density, derotated, low_pass
from bench.measure.tone.channel_phase import NEAR_HZ, BasebandFacts, IsolatedTone, follow_again, follow_tone
from bench.measure.tone.demodulator import PASS, Baseband
from bench.measure.tone.phase_fit import fit_rates, mean_hz, modelled, rough_slope, slope
from bench.measure.tone.wander import NONE, Wander

NEIGHBOUR_LIMIT, NEIGHBOUR_PASS = 0.35, 0.4
"""A neighbouring tone is filtered out if it is nearer than the first fraction of the baseband rate; the passband of the
filter extends to the second fraction of that distance."""
LONGEST_DELAY_S = 400e-6
"""The longest plausible delay between the channels: more than a degree of azimuth on a cassette."""
COHERENT = 0.8
"""Least share of a channel's amplitude that is in phase with the leading channel: a phase that wanders by 0.67 rad rms
leaves this much. Our own choice."""
MASKING_HUM = 0.5
"""Hum beside a stretch with at least this fraction of the amplitude in it: there is no tone, or it continues."""
WEAVE_HZ = 25.0
"""Faster changes in the delay are not weave."""
WEAVE_RELATIVE = 0.02
"""Relative standard uncertainty of the weave of a stretch, because its ends and dropouts are excluded."""
DROPOUT_RESIDUE = 0.3
"""Standard uncertainty due to bridged dropouts, as a fraction of their effect on the level: their slopes, and dropouts
too shallow to be distinguished from wander."""
COPIED_PHASE, COPIED_LEVEL, LEAST_NOISE = 0.2, 0.5, 1e-13
"""The channels carry the same signal if the noise of the phase and of the level between them are below these fractions
of what their own noises would make it. Tape gives 0.6 or more for the level, a mono input 0, joint stereo of a coder
0.06 and 0.2 to 0.45. Their noise must have at least the third density re the tone, per Hz."""
DB = 20.0 / float(np.log(10.0))


@dataclass(frozen=True, slots=True)
class ChannelTone:
    """A tone in one channel."""

    amplitude: float
    """Peak, full scale 1; 0 if there is no tone."""
    amplitude_uncertainty: float
    """For this stretch, from noise alone; expanded (k = 2)."""
    frequency_hz: float
    frequency_noise_hz: float
    """Uncertainty for this stretch, from noise alone; expanded (k = 2)."""
    drift_hz: float = 0.0
    """Frequency at the end minus frequency at the start, from a straight line."""
    drift_uncertainty_hz: float = 0.0
    """For the machine; expanded (k = 2)."""
    present: bool = True
    level_wander: Wander = NONE
    """Uncertainty of the machine's level due to wander, dB."""
    frequency_wander: Wander = NONE
    """Uncertainty of the machine's frequency due to wander, Hz."""

    @property
    def dbfs(self) -> float:
        """Level, dB re a full-scale sine."""
        return DB * float(np.log(max(self.amplitude, 1e-12)))

    @property
    def dbfs_noise(self) -> float:
        """Uncertainty of the mean level of this stretch, from noise alone; expanded (k = 2), dB."""
        return DB * self.amplitude_uncertainty / self.amplitude if self.amplitude > 0.0 else float("inf")

    @property
    def dbfs_uncertainty(self) -> float:
        """Uncertainty of the machine's level; expanded (k = 2), dB."""
        return float(np.hypot(self.dbfs_noise, 2.0 * self.level_wander.total))

    @property
    def frequency_uncertainty_hz(self) -> float:
        """Uncertainty of the machine's frequency; expanded (k = 2)."""
        return float(np.hypot(self.frequency_noise_hz, 2.0 * self.frequency_wander.total))


@dataclass(frozen=True, slots=True)
class PhasePair:
    """The right channel relative to the left."""

    lag_rad: float
    """Lag of the right channel, -π…π."""
    noise_rad: float
    """Uncertainty of the lag for this stretch, from noise alone; expanded (k = 2)."""
    frequency_hz: float
    """Mean frequency over the same samples."""
    weave_rad: float
    """Standard deviation of the lag over time, corrected for noise."""
    weave_uncertainty_rad: float
    """For the machine; expanded (k = 2)."""
    weave_noise_rad: float = 0.0
    """Uncertainty of the weave for this stretch alone; expanded (k = 2)."""
    wander: Wander = NONE
    """Uncertainty of the machine's lag due to weave, radians."""
    balance_wander: Wander = NONE
    """Uncertainty of the machine's balance (left minus right) due to wander, dB."""
    copied: bool = False
    """Whether both channels carry the same signal with the same noise, so that nothing shows a delay."""

    @property
    def uncertainty_rad(self) -> float:
        """Uncertainty of the machine's lag; expanded (k = 2)."""
        return float(np.hypot(self.noise_rad, 2.0 * self.wander.total))


def measure_stretch(
    z: Baseband,
    rate: float,
    oscillator_hz: float,
    tone_hz: float | None = None,
    clear_hz: float = 1e9,
    *,
    glance: bool = False,
    paired: bool = True,
    hum: tuple[float, Sequence[float]] | None = None,
) -> tuple[tuple[ChannelTone, ...], PhasePair | None]:
    """Measure a steady stretch.

    Args:
        z: baseband of the stretch alone, shape (points, channels).
        rate: points per second.
        oscillator_hz: the frequency that was shifted to zero.
        tone_hz: approximate frequency of the tone.
        clear_hz: distance of the nearest other tone.
        glance: whether to skip fitting flutter when finding the frequency, which saves most of the work.
        paired: whether to compare the channels.
        hum: a mains line near the tone, if there is one: its frequency, and its amplitude in each channel just outside
            the stretch.

    Returns:
        The tone in each channel, and the pair of channels if it is wanted and both hold the tone.
    """
    near = tone_hz if tone_hz is not None else oscillator_hz
    reach = PASS * rate / 2
    if clear_hz < NEIGHBOUR_LIMIT * rate:
        reach = NEIGHBOUR_PASS * clear_hz
        z = _narrowed(z, rate, near - oscillator_hz, clear_hz)
    facts = BasebandFacts(rate, oscillator_hz, reach)
    lead = int(np.argmax(np.sum(np.abs(z) ** 2, axis=0)))
    offset = _offset(z[:, lead], rate, near - oscillator_hz, max(4.0, 0.012 * near))
    order = [lead, *(c for c in range(z.shape[1]) if c != lead)]
    turn: Floats = np.asarray(2 * np.pi * offset / rate * (np.arange(len(z)) - (len(z) - 1) / 2), dtype=np.float64)
    isolated: dict[int, IsolatedTone] = {}
    for c in order:
        guide = turn if c == lead else isolated[lead].phase
        isolated[c] = follow_tone(
            z[:, c], facts, offset, guide, lines=None if c == lead else isolated[lead].lines, glance=glance
        )
        isolated[c].present = _present(isolated[c], isolated[lead], near, len(z) / rate)
    if hum is not None:
        _note_masked_hum(isolated, hum, oscillator_hz, oscillator_hz + offset, len(z) / rate)
    rates = (
        None
        if glance
        else fit_rates(isolated[lead].noisy_phase(), rate, isolated[lead].reach_hz, oscillator_hz + offset)
    )
    if rates and oscillator_hz + offset < NEAR_HZ:
        model = modelled(isolated[lead].noisy_phase(), rate, rates)
        for c, before in isolated.items():
            again = follow_again(z[:, c], facts, offset, model, before.lines)
            again.hum, again.hum_turns, again.present = before.hum, before.hum_turns, before.present
            isolated[c] = again
    tones = tuple(_tone(isolated[c], rate, oscillator_hz, rates) for c in range(z.shape[1]))
    both = paired and len(tones) == 2 and all(t.present for t in tones)
    return tones, _pair(isolated[0], isolated[1], facts) if both else None


def _note_masked_hum(
    isolated: dict[int, IsolatedTone],
    hum: tuple[float, Sequence[float]],
    oscillator_hz: float,
    tone_hz: float,
    seconds: float,
) -> None:
    """Note hum that is masked by the tone, if it was not resolved and fitted as a line.

    A line that is as strong outside the stretch as inside it is the tone itself, which continues; but in a channel
    beside one in which it does not continue, it is hum.
    """
    hz, amplitudes = hum
    ends = any(amplitudes[c] < MASKING_HUM * tone.amplitude for c, tone in isolated.items())
    for c, tone in isolated.items():
        if amplitudes[c] >= MASKING_HUM * tone.amplitude:
            tone.present = tone.present and not ends
        elif all(abs(f + oscillator_hz - hz) > 0.005 * hz + 0.5 / seconds for f in tone.lines):
            tone.hum, tone.hum_turns = amplitudes[c], abs(tone_hz - hz) * seconds


def _present(own: IsolatedTone, lead: IsolatedTone, tone_hz: float, seconds: float) -> bool:
    """Whether a channel holds the tone: it stands out of the noise, and its phase keeps to that of the leading channel.

    The phase of a channel without the tone follows the hum near it. No plausible change in the delay between the
    channels turns the phase of a low tone by half a cycle; a high tone has no hum near it.
    """
    if own.amplitude <= 4.5 * np.sqrt(own.noise / seconds):
        return False
    if own is lead or tone_hz * LONGEST_DELAY_S > 0.5:
        return True
    along = np.where(own.kept, own.z * np.exp(-1j * lead.phase), 0.0)
    return bool(abs(along.mean()) > COHERENT * own.kept.mean() * own.amplitude)


def _narrowed(z: Baseband, rate: float, offset: float, clear_hz: float) -> Baseband:
    """The band nearer than the nearest other tone; only the valid part of the convolution is kept."""
    taps = low_pass(NEIGHBOUR_PASS * clear_hz, clear_hz, rate)
    if len(taps) > len(z) // 2:
        return z
    turn = np.exp(-2j * np.pi * offset / rate * np.arange(len(z)))
    half = len(taps) // 2
    out = np.stack([np.convolve(z[:, c] * turn, taps, mode="valid") for c in range(z.shape[1])], axis=1)
    return np.asarray(out * np.conj(turn[half : half + len(out)])[:, None])


def _offset(z: Complexes, rate: float, about_hz: float, reach_hz: float) -> float:
    """Frequency of the tone's strongest line, relative to the oscillator."""
    turned = derotated(z, 2 * np.pi * about_hz / rate * np.arange(len(z), dtype=np.float64))
    block = max(1, min(int(rate / (8.0 * reach_hz)), len(z) // 64))
    turned = turned[: len(z) // block * block].reshape(-1, block).mean(axis=1)
    rate /= block
    size = 1 << (2 * len(turned) - 1).bit_length()
    power = np.abs(np.fft.fft(turned * np.hanning(len(turned) + 2)[1:-1], size)) ** 2
    hz = np.fft.fftfreq(size, 1.0 / rate)
    return about_hz + float(hz[int(np.argmax(np.where(np.abs(hz) <= reach_hz, power, 0.0)))])


def _tone(isolated: IsolatedTone, rate: float, oscillator_hz: float, rates: list[float] | None) -> ChannelTone:
    seconds = len(isolated.z) / rate
    sd = float(np.hypot(np.sqrt(isolated.noise_level * isolated.spread / seconds), isolated.hum_level))
    phase = isolated.noisy_phase()
    fit = (
        rough_slope(phase, rate, isolated.reach_hz)
        if rates is None
        else slope(phase, rate, rates, isolated.reach_hz, oscillator_hz)
    )
    course, course_rate = wander.means(isolated.level_course(), rate)
    noise_db = isolated.noise_level * (DB / max(isolated.amplitude, 1e-12)) ** 2
    return ChannelTone(
        amplitude=isolated.amplitude if isolated.present else 0.0,
        amplitude_uncertainty=2.0 * sd,
        frequency_hz=oscillator_hz + fit.frequency_hz,
        frequency_noise_hz=2.0 * float(np.hypot(fit.deviation_hz, isolated.hum_slope / seconds)),
        drift_hz=fit.drift_hz,
        drift_uncertainty_hz=2.0 * fit.drift_deviation_hz,
        present=isolated.present,
        level_wander=replace(
            wander.of_level(course, course_rate, noise_db), dropouts=DROPOUT_RESIDUE * isolated.lost_db
        ),
        frequency_wander=fit.wander_hz,
    )


def _pair(left: IsolatedTone, right: IsolatedTone, facts: BasebandFacts) -> PhasePair:
    rate = facts.rate
    kept = left.kept & right.kept
    product = left.z * np.conj(right.z)
    mean = complex(product[kept].mean())
    share = float(kept.mean())
    seconds = len(product) / rate * share
    turned = product * np.conj(mean) / abs(mean) ** 2
    off = np.where(kept, np.imag(turned), 0.0)
    off = _without_flutter(off, left, right, facts)
    reach = 0.95 * facts.reach_hz
    slow = min(WEAVE_HZ, 0.3 * reach)
    phase_noise, lowest = density(off, rate, slow, reach)
    levels = [v.along.real / max(v.amplitude, 1e-12) for v in (left, right)]
    level_noise, _ = density(np.where(kept, levels[0] - levels[1], 0.0), rate, slow, reach)
    own_noise = sum(v.noise / max(v.amplitude, 1e-12) ** 2 for v in (left, right))
    course, course_rate = _lag_course(turned, kept, rate)
    lag = float(course.mean())
    course = _without_flutter(course - lag, left, right, facts, round(rate / course_rate))
    hz = facts.oscillator_hz + _mean_frequency(left, right, rate)
    better, delay_wander = wander.of_delay(course, course_rate, lowest, 1.0 / (2 * np.pi * hz))
    weaves = wander.wanders(course, course_rate, lowest)
    apart = wander.means(left.level_course() - right.level_course(), rate)[0]
    noise_db = sum(v.noise_level * (DB / max(v.amplitude, 1e-12)) ** 2 for v in (left, right))
    weave, own = _weave(course, course_rate, lowest)
    others = wander.of_weave(weave, delay_wander, len(course) / course_rate)
    lost_db = float(np.hypot(left.lost_db, right.lost_db))
    hum = sum((v.hum_level / max(v.amplitude, 1e-12)) ** 2 for v in (left, right))
    return PhasePair(
        lag_rad=float(np.angle(mean)) + (lag + better if weaves else 0.0),
        noise_rad=2.0 * float(np.sqrt(lowest / share * max(left.spread, right.spread) / seconds + hum)),
        frequency_hz=hz,
        weave_rad=weave,
        weave_noise_rad=2.0 * own,
        weave_uncertainty_rad=2.0 * float(np.hypot(own, others)),
        wander=delay_wander,
        balance_wander=replace(wander.of_level(apart, course_rate, noise_db), dropouts=DROPOUT_RESIDUE * lost_db),
        copied=own_noise > LEAST_NOISE
        and phase_noise < COPIED_PHASE * own_noise
        and level_noise < COPIED_LEVEL * own_noise,
    )


def _lag_course(turned: Complexes, kept: NDArray[np.bool_], rate: float) -> tuple[Floats, float]:
    """The lag over time, relative to the angle of the product's mean, and its rate.

    Angles are taken of means over a few points, which reduces noise. The mean of angles weights all of the time
    equally; the mean product gives less weight to moments when a channel is weak.
    """
    sums, course_rate = wander.means(np.where(kept, turned.real, 0.0), rate)
    across, _ = wander.means(np.where(kept, turned.imag, 0.0), rate)
    there, _ = wander.means(kept.astype(np.float64), rate)
    at = np.arange(len(sums))
    known = there > 0.3
    if not known.any():
        return np.zeros(len(sums)), course_rate
    return np.interp(at, at[known], np.arctan2(across[known], sums[known])), course_rate


def _weave(course: Floats, rate: float, noise: float) -> tuple[float, float]:
    """Standard deviation of a lag over time, up to 25 Hz, and its standard uncertainty for this stretch."""
    if len(course) < 4:
        return 0.0, float(np.sqrt(noise * rate))
    power = np.abs(np.fft.rfft(course - course.mean())) ** 2 / len(course) ** 2
    power = 2.0 * power[1:]
    own = noise * rate / len(course) * 2.0
    weave = float(np.sum(power - own))
    chance = own * float(np.sqrt(len(power)))
    if weave <= chance:
        return float(np.sqrt(max(0.0, weave))), float(np.sqrt(chance))
    own = np.hypot(chance / (2.0 * np.sqrt(weave)), WEAVE_RELATIVE * np.sqrt(weave))
    return float(np.sqrt(weave)), float(own)


def _without_flutter(
    off: Floats, left: IsolatedTone, right: IsolatedTone, facts: BasebandFacts, every: int = 1
) -> Floats:
    """The lag's changes without those that flutter makes through a constant delay: lag = 2π f(t) τ.

    Args:
        off: the lag's changes, each the mean of `every` points of the stretch.
        left: the left channel.
        right: the right channel.
        facts: of their baseband.
        every: points of the stretch per point of `off`.
    """
    lead = left if left.amplitude >= right.amplitude else right
    few = max(2, round(0.01 * facts.rate))
    moved = np.zeros(len(lead.phase))
    moved[few:-few] = lead.phase[2 * few :] - lead.phase[: -2 * few]
    inner = moved[few:-few] - moved[few:-few].mean()
    moved[few:-few] = inner
    moved = moved[: len(off) * every].reshape(len(off), every).mean(axis=1)
    power = float(np.sum(moved**2))
    if power <= 0.0:
        return off
    most = LONGEST_DELAY_S * facts.rate / (2 * few)
    return np.asarray(off - moved * float(np.clip(np.sum(moved * off) / power, -most, most)))


def _mean_frequency(left: IsolatedTone, right: IsolatedTone, rate: float) -> float:
    """Mean frequency of the stronger channel, relative to the oscillator."""
    lead = left if left.amplitude >= right.amplitude else right
    return mean_hz(lead.noisy_phase(), rate)
