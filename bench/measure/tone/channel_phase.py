"""One channel of a steady stretch: isolate the tone, and follow its phase and level.

Model of the baseband: z(t) = A exp(iφ(t)) + Σ the tone's harmonics and image, DC, hum lines and their images, with
amplitudes by least squares. φ(t) is a straight line at first, then the phase that remains when the other terms are
subtracted. Clicks and dropouts are bridged.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Complexes, Floats
from bench.measure.tone.baseband import (
    density,
    derotated,
    floor_of,
    low_pass,
    one_sided_lines,
    oscillators,
    power_of,
    quick_length,
    smoothed,
    unwrapped,
    weighted_line,
)
from bench.measure.tone.dropout_mask import bridged, flaws

DB = 20.0 / float(np.log(10.0))
"""dB per unit of small relative change in amplitude."""
# No published source gives the following figures: they are our own choice, checked by
# tests/measure/tone/test_channel_phase.py and the rough tapes.

NEAR_HZ = 900.0
"""Below this, hum, DC, and the tone's image and harmonics lie within the baseband, so they are fitted."""
BAND_NOISE = 0.01
"""The phase is followed in a bandwidth in which the noise has at most this fraction of the tone's power."""
LOUD_NOISE = 0.02
"""Above this noise power in one quadrature, as a fraction of the tone's, phases are taken in the narrower band."""
NARROWEST_HZ = 3.0
"""If the phase can be followed only in a narrower band than this, the guide's phase is used."""
LIVE_HUM_HZ = 200.0
"""During a tone, hum is searched for only if the tone is below this."""
MOST_LINES = 8
MAINS_HZ, MAINS_TOLERANCE = (50.0, 60.0), 0.005
"""Mains frequencies, and their tolerance as a fraction."""
STRONG_LINE = 0.01
"""A line with more than this fraction of the tone's power is always fitted; a weaker one only at a hum frequency."""
SIDEBAND_RANGE = 0.04
"""Nearer to the tone than this fraction of its frequency, where flutter sidebands are strong, `SIDEBAND` applies."""
SIDEBAND = 0.004
"""A line that near and stronger than this fraction of the tone's power counts as a flutter sideband, not as hum."""
CLOSE_TURNS = 6.0
"""A line with fewer beats against the tone within the stretch is fitted with more iterations."""
HUM_SLOPE = 0.2
"""A phase ripple of 1 rad with one cycle tilts the least-squares line through it by at most 0.3 cycles."""
SETTLED_RAD = 1e-4
"""The iteration ends when the phase changes by less: the remaining error enters as its square, 1e-8 of the level."""
LOW_HZ = 3.0
"""Slower changes in level belong to the tone, not to the noise."""


@dataclass(frozen=True, slots=True)
class BasebandFacts:
    """The scale of a baseband."""

    rate: float
    """Points per second."""
    oscillator_hz: float
    """The frequency that was shifted to zero."""
    reach_hz: float
    """Half the passband of the filter around the tone."""


@dataclass(slots=True)
class IsolatedTone:
    """The tone of one channel, with everything else removed."""

    z: Complexes
    along: Complexes
    """`z` with the tone's phase removed."""
    phase: Floats
    """The tone's phase, smoothed."""
    kept: NDArray[np.bool_]
    """False where a click or dropout is bridged."""
    amplitude: float
    noise: float
    """Two-sided power spectral density of the noise in one quadrature, per Hz."""
    noise_level: float
    """The same near zero frequency, where it affects the mean level."""
    spread: float
    """The factor by which fitting hum and images raises the variance of the amplitude."""
    reach_hz: float
    """Bandwidth of the noise in `noisy_phase` on either side of the tone."""
    loud: bool
    """Whether noise is strong enough to cause cycle slips of the phase."""
    lines: tuple[float, ...] = ()
    """Lines found near the tone, relative to the oscillator, Hz."""
    hum: float = 0.0
    """Amplitude of hum that is too near the tone to be separated from it."""
    hum_turns: float = 0.0
    """Beats of that hum against the tone within the stretch."""
    present: bool = True
    """Whether the channel holds the tone at all."""
    _noisy: Floats | None = None

    def level_course(self) -> Floats:
        """The level over time, dB re its mean, with dropouts and clicks bridged."""
        return np.asarray(DB * (bridged(self.along.real, self.kept) / max(self.amplitude, 1e-12) - 1.0))

    @property
    def lost_db(self) -> float:
        """Reduction of the mean level by dropouts if they were not bridged."""
        if self.kept.all():
            return 0.0
        level = self.along.real
        return DB * max(0.0, float((bridged(level, self.kept) - level).mean())) / max(self.amplitude, 1e-12)

    @property
    def hum_level(self) -> float:
        """Standard uncertainty of the mean amplitude due to this hum."""
        return self.hum * min(1.0, 1.0 / (np.pi * max(self.hum_turns, 1e-9))) / float(np.sqrt(2.0))

    @property
    def hum_slope(self) -> float:
        """Frequency error due to this hum, which tilts the line through the phase, in cycles over the stretch."""
        return HUM_SLOPE * self.hum / max(self.amplitude, 1e-12) * min(1.0, 1.0 / max(self.hum_turns, 1e-9))

    def noisy_phase(self) -> Floats:
        """The phase including noise, unwrapped along the smoothed phase, with clicks and dropouts bridged."""
        if self._noisy is None:
            self._noisy = self._with_noise()
        return self._noisy

    def _with_noise(self) -> Floats:
        phase = self.phase.copy()
        if not self.loud:
            phase += np.angle(self.along)
        if self.kept.all():
            return np.asarray(phase)
        edges = np.flatnonzero(np.diff(np.concatenate([[1], self.kept.astype(np.int8), [1]])))
        few = 20
        for a, b in zip(edges[::2], edges[1::2], strict=True):
            if a < few or b > len(phase) - few:
                continue
            before = (phase[a - 1] - phase[a - few]) / (few - 1)
            after = (phase[b + few - 1] - phase[b]) / (few - 1)
            expected = phase[a - 1] + 0.5 * (before + after) * (b - a + 1)
            phase[b:] += 2 * np.pi * round((expected - phase[b]) / (2 * np.pi))
            phase[a:b] = np.linspace(phase[a - 1], phase[b], b - a + 2)[1:-1]
        return np.asarray(phase)


def follow_again(
    z: Complexes, facts: BasebandFacts, offset: float, model: Floats, lines: tuple[float, ...]
) -> IsolatedTone:
    """Follow a low tone again, along a model of its phase that includes flutter.

    In the first pass the phase was smoothed by a filter, which had to extrapolate flutter at the ends of the stretch.
    The tone's image is as strong as the tone, and an error in the phase leaves a proportional residue of it.

    Args:
        z: the channel.
        facts: of its baseband.
        offset: frequency of the tone relative to the oscillator.
        model: its phase, apart from a constant.
        lines: the lines found near it.
    """
    rate, tone_hz = facts.rate, facts.oscillator_hz + offset
    reach = min(facts.reach_hz, 0.8 * tone_hz)
    turned = derotated(z, model)
    band = min(_quiet_band(turned, rate, reach, lowest=0.0), 0.25 * tone_hz)
    phase = np.asarray(model + np.angle(turned.mean()))
    rest = _Rest(z, facts, list(lines))
    for _ in range(2):
        clean, spread, _residual = rest.taken_out(phase, tone_hz)
        phase = _follow(clean, phase, rate, band)
    isolated = _levels_along(clean, phase, rate, spread=spread, band=band, reach=reach)
    isolated.lines = lines
    return isolated


def follow_tone(
    z: Complexes, facts: BasebandFacts, offset: float, guide: Floats, *, lines: tuple[float, ...] | None, glance: bool
) -> IsolatedTone:
    """Remove from a channel everything but its tone, and follow the tone's phase.

    Args:
        z: the channel.
        facts: of its baseband.
        offset: frequency of the tone relative to the oscillator.
        guide: the tone's phase, as far as it is known.
        lines: the lines found near the tone in the leading channel; None for that channel itself.
        glance: whether an approximate result is enough.
    """
    rate, oscillator_hz = facts.rate, facts.oscillator_hz
    tone_hz = oscillator_hz + offset
    reach = min(facts.reach_hz, 0.8 * tone_hz)
    least = max(8.0, min(60.0, 0.01 * tone_hz)) if lines is None else 0.0
    turned = derotated(z, guide)
    band = _quiet_band(turned, rate, reach, lowest=least)
    lines = lines or ()
    band = min(band, 0.25 * tone_hz)
    if tone_hz >= NEAR_HZ:
        phase = _followed(turned, guide, rate, band)
        return _levels_along(z, phase, rate, spread=1.0, band=band, reach=reach)
    phase = _fitted_line(_followed(turned, guide, rate, band))
    rest = _Rest(z, facts, list(lines))
    clean, spread, residual = rest.taken_out(phase, tone_hz)
    if glance and tone_hz > LIVE_HUM_HZ:
        phase = _follow(clean, phase, rate, band)
        return _levels_along(clean, phase, rate, spread=spread, band=band, reach=reach)
    strength = complex(np.mean((clean - residual) * np.exp(-1j * phase)))
    beside = one_sided_lines(residual, rate, offset, 2.0 * rate / len(z), 0.48 * rate)
    seconds = len(z) / rate
    found = [
        f
        for f, power in beside
        if _foreign(f + oscillator_hz, power / (abs(strength) ** 2 + 1e-30), tone_hz, seconds)
        and all(abs(f - g) > 1.0 / seconds for g in lines)
    ][: MOST_LINES - len(lines)]
    if found:
        rest = _Rest(z, facts, [*lines, *found])
        close = min(abs(f - offset) for f in found) * seconds < CLOSE_TURNS
        for _ in range(4 if close else 1):
            phase, rest = rest.moved(phase, tone_hz)
    for _ in range(1 if glance else 4):
        clean, spread, _residual = rest.taken_out(phase, tone_hz)
        before, phase = phase, _follow(clean, phase, rate, band)
        if np.sqrt(np.mean((phase - before) ** 2)) < SETTLED_RAD:
            break
    isolated = _levels_along(clean, phase, rate, spread=spread, band=band, reach=reach)
    isolated.lines = tuple(rest.lines)
    return isolated


def _fitted_line(phase: Floats) -> Floats:
    """A straight line fitted to a phase, with a Hann weighting."""
    t = np.linspace(-1.0, 1.0, len(phase))
    slope, middle = weighted_line(t, phase, np.hanning(len(t) + 2)[1:-1])
    return np.asarray(middle + slope * t)


def _foreign(line_hz: float, part: float, tone_hz: float, seconds: float) -> bool:
    """Whether a line with the fraction `part` of a tone's power is neither its harmonic nor its flutter sideband."""
    if line_hz < 0.0 or min(abs(line_hz - k * tone_hz) for k in (0, 2, 3, 4)) <= 4.0 / seconds:
        return False
    hum = _is_hum(line_hz, seconds)
    if abs(line_hz - tone_hz) > SIDEBAND_RANGE * tone_hz:
        return hum or part > STRONG_LINE
    return hum and part < SIDEBAND


def _is_hum(line_hz: float, seconds: float) -> bool:
    """Whether a line may be at the mains frequency or a multiple of it."""
    for mains in MAINS_HZ:
        order = max(1, round(line_hz / mains))
        if abs(line_hz - order * mains) < MAINS_TOLERANCE * order * mains + 0.5 / seconds:
            return True
    return False


class _Rest:
    """All that is fitted with a tone: DC and lines of fixed frequency, and components whose phase follows the tone's.

    Args:
        z: one channel.
        facts: of its baseband.
        lines: frequencies of lines, relative to the oscillator.
    """

    def __init__(self, z: Complexes, facts: BasebandFacts, lines: list[float]) -> None:
        self._z = z
        self._facts = facts
        self.lines = lines
        self._t = (np.arange(len(z)) - (len(z) - 1) / 2) / facts.rate
        self._carrier = oscillators([facts.oscillator_hz], facts.rate, len(z))[0]
        edge = 0.5 * facts.rate
        images = [-f - 2 * facts.oscillator_hz for f in lines]
        still = [f for f in images if abs(f) < edge]
        if facts.oscillator_hz < edge + facts.reach_hz:
            still.append(-facts.oscillator_hz)
        self._still = oscillators([*still, *lines], facts.rate, len(z))
        self._gram = self._still.conj() @ self._still.T
        self._seen = self._still.conj() @ z

    def _moving(self, phase: Floats, tone_hz: float) -> Complexes:
        """The tone first, then its image, its harmonics and their images, one per row."""
        edge = 0.5 * self._facts.rate
        rows = np.empty((6, len(phase)), dtype=np.complex128)
        count = 1
        turned = own = rows[0]
        np.exp(1j * phase, out=own)
        step = own * self._carrier
        back = np.conj(step)
        image = back * np.conj(self._carrier)
        for k in (1, 2, 3):
            if (k + 1) * tone_hz < edge:
                rows[count] = image
                count += 1
                image *= back
            if k < 3 and k * tone_hz < edge:
                turned = np.multiply(turned, step, out=rows[count])
                count += 1
        return rows[:count]

    def _normal(self, moving: Complexes) -> tuple[Complexes, Complexes]:
        cross = moving.conj() @ self._still.T
        gram = np.block([[moving.conj() @ moving.T, cross], [cross.conj().T, self._gram]])
        return gram, np.concatenate([moving.conj() @ self._z, self._seen])

    def taken_out(self, phase: Floats, tone_hz: float) -> tuple[Complexes, float, Complexes]:
        """The isolated tone, the factor by which isolating it raises the amplitude's variance, and the residual."""
        moving = self._moving(phase, tone_hz)
        gram, seen = self._normal(moving)
        inverse = np.linalg.pinv(gram / len(self._z), rcond=1e-9, hermitian=True)
        values = inverse @ seen / len(self._z)
        m = len(moving)
        clean = self._z - values[1:m] @ moving[1:] - values[m:] @ self._still
        return clean, float(inverse[0, 0].real), clean - values[0] * moving[0]

    def moved(self, phase: Floats, tone_hz: float) -> tuple[Floats, _Rest]:
        """Phase and lines after a Gauss-Newton step in the frequencies of the tone and of the lines."""
        moving = self._moving(phase, tone_hz)
        n = len(self.lines)
        rows = np.concatenate([moving, self._still, 1j * self._t * moving[:1], 1j * self._t * self._still[-n:]])
        norm = np.linalg.norm(rows, axis=1)
        rows /= norm[:, None]
        gram = rows.conj() @ rows.T
        values = np.linalg.pinv(gram, rcond=1e-9, hermitian=True) @ (rows.conj() @ self._z) / norm
        reach = 0.5 * self._facts.rate / len(self._z)
        turn = float(np.clip(np.real(values[-n - 1] / values[0]) / (2 * np.pi), -reach, reach))
        own = values[-2 * n - 1 : -n - 1]
        moves = np.real(values[-n:] / own) / (2 * np.pi)
        lines = [f + float(np.clip(d, -reach, reach)) for f, d in zip(self.lines, moves, strict=True)]
        return np.asarray(phase + 2 * np.pi * turn * self._t), _Rest(self._z, self._facts, lines)


def _quiet_band(turned: Complexes, rate: float, reach: float, lowest: float) -> float:
    """The widest half bandwidth around the tone, Hz, in which noise is small compared with it; at least `lowest`.

    Args:
        turned: the channel, with the known part of the tone's phase removed.
        rate: points per second.
        reach: half the passband around the tone.
        lowest: the least half bandwidth.
    """
    turned = turned[: quick_length(len(turned))]
    power = power_of(np.fft.fft(turned)) / (len(turned) * rate)
    hz = np.abs(np.fft.fftfreq(len(turned), 1.0 / rate))
    noise = floor_of(power[(hz > 0.3 * reach) & (hz < reach)])
    tone = float(power[hz <= 0.3 * reach].sum()) * rate / len(turned) - 0.6 * reach * noise
    if tone <= 0.0:
        return lowest
    return float(np.clip(BAND_NOISE * tone / (2.0 * max(noise, 1e-300)), lowest, rate))


def _follow(z: Complexes, guide: Floats, rate: float, band: float) -> Floats:
    """The tone's phase, filtered to a band around the guide; in a very narrow band, the guide plus a constant."""
    return _followed(derotated(z, guide), guide, rate, band)


def _followed(turned: Complexes, guide: Floats, rate: float, band: float) -> Floats:
    """Like `_follow`, for a channel from which the guide's phase has already been removed."""
    if band < NARROWEST_HZ:
        return np.asarray(guide + np.angle(turned.mean()))
    if band < 0.3 * rate:
        turned = smoothed(turned, low_pass(band, 2.5 * band, rate, 60.0))
    return np.asarray(guide + unwrapped(np.angle(turned)))


def _levels_along(
    z: Complexes, phase: Floats, rate: float, *, spread: float, band: float, reach: float
) -> IsolatedTone:
    """Amplitude and noise of a channel, given its phase."""
    along = derotated(z, phase)
    kept = ~flaws(along, rate)
    level = along.real
    mean = float(bridged(level, kept).mean())
    noise, lowest = density(np.where(kept, level - mean, 0.0), rate, LOW_HZ, 0.95 * reach)
    share = max(0.1, float(kept.mean()))
    noise, lowest = noise / share, lowest / share
    seen = min(2.0 * 1.75 * band, 0.7 * rate)
    amplitude = mean - noise * seen / (2.0 * max(mean, 1e-12))
    loud = noise * 0.7 * rate > LOUD_NOISE * mean**2 and band < reach
    return IsolatedTone(
        z, along, phase, kept, amplitude, noise, lowest, spread / share, min(reach, band) if loud else reach, loud
    )
