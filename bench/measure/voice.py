"""One channel of a steady stretch: what is not the tone taken out, the tone's phase followed, its level along it.

Model of the baseband: z(t) = A exp(iφ(t)) + Σ the tone's harmonics and image, direct current, hum lines and their
images, each with an amplitude that least squares finds; φ(t) is a straight line at first, then what is left when the
rest is taken out. Clicks and dropouts are passed over.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bench.measure.lines import Complexes, Floats, density, floor_of, low_pass, one_sided_lines, smoothed

NEAR_HZ = 1200.0
"""Below it hum, direct current, image and harmonics lie within the baseband and are fitted."""
QUIET = 0.01
"""The phase is followed in a band in which the noise has at most this part of the tone's power."""
LOUD = 0.02
"""Noise of more than this part of the tone's power, in one quadrature of the whole baseband, is kept out of phases."""
MOST_LINES = 8
OWN = 0.08
"""Part of the tone's frequency about its harmonics in which a line is taken for their flutter."""
SETTLED_RAD = 1e-5
LOW_HZ = 3.0
"""Slower changes of level are taken for the level's own."""
FLAW_DB = 1.0
"""A short departure of the level is passed over from here on."""
FILTER_POINTS = 13
"""Half length of the tracking filter: a click is seen so far to either side."""


@dataclass(frozen=True, slots=True)
class Scene:
    """What a baseband is."""

    rate: float
    """Points a second."""
    oscillator_hz: float
    """The frequency that became zero."""
    reach_hz: float
    """How far from the tone all is passed."""


@dataclass(slots=True)
class Voice:
    """One channel with all that is not its tone taken out."""

    z: Complexes
    phase: Floats
    """Followed, less noise."""
    kept: NDArray[np.bool_]
    """False where a click or dropout is passed over."""
    amplitude: float
    noise: float
    """Two-sided density of the noise in one quadrature, per Hz."""
    noise_level: float
    """The same where the mean level feels it: near zero frequency."""
    spread: float
    """By how much fitting the rest raises the variance of the amplitude."""
    reach_hz: float
    """How far from the tone the noise of `noisy_phase` goes."""
    loud: bool
    """Whether there is so much noise that it would turn the phase over."""

    def noisy_phase(self) -> Floats:
        """The phase with all its noise, unwrapped along the followed one; clicks and dropouts bridged."""
        phase = self.phase.copy() if self.loud else self.phase + np.angle(self.z * np.exp(-1j * self.phase))
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


def follow_tone(z: Complexes, scene: Scene, offset: float, guide: Floats, *, leads: bool, glance: bool) -> Voice:
    """Take out of a channel what is not its tone, and follow the tone's phase.

    Args:
        z: the channel.
        scene: where it comes from.
        offset: where the tone lies, relative to the oscillator.
        guide: the phase that the tone follows as far as is known.
        leads: whether this is the channel that gives the phase to others.
        glance: whether a rough answer will do.
    """
    rate, oscillator_hz = scene.rate, scene.oscillator_hz
    tone_hz = oscillator_hz + offset
    reach = min(scene.reach_hz, 0.8 * tone_hz)
    band = _quiet_band(z, guide, rate, reach, lowest=max(8.0, min(60.0, 0.01 * tone_hz)) if leads else 3.0)
    if tone_hz >= NEAR_HZ:
        phase = _follow(z, guide, rate, band)
        return _judged(z, phase, rate, spread=1.0, band=band, reach=reach)
    band = min(band, 0.25 * tone_hz)
    phase = _straight(_follow(z, guide, rate, band))
    lines: list[float] = []
    spread = 1.0
    clean = z
    for n in range(2 if glance else 5):
        columns = _columns(phase, rate, oscillator_hz, tone_hz, lines)
        if n == 1 and lines:
            lines = _moved(z, columns, lines, rate)
            columns = _columns(phase, rate, oscillator_hz, tone_hz, lines)
        clean, spread, residual = _fitted(z, columns)
        if n == 0:
            found = one_sided_lines(residual, rate, offset, 2.0 * rate / len(z), 0.48 * rate)
            lines = [f for f in found if _foreign(f + oscillator_hz, tone_hz)][:MOST_LINES]
            if lines:
                continue
        before, phase = phase, _follow(clean, phase, rate, band)
        if n > 1 and np.max(np.abs(phase - before)) < SETTLED_RAD:
            break
    return _judged(clean, phase, rate, spread=spread, band=band, reach=reach)


def _straight(phase: Floats) -> Floats:
    """A straight line through a phase, its ends weighing little."""
    t = np.linspace(-1.0, 1.0, len(phase))
    return np.asarray(np.polyval(np.polyfit(t, phase, 1, w=np.sqrt(np.hanning(len(t) + 2)[1:-1])), t))


def _foreign(line_hz: float, tone_hz: float) -> bool:
    """Whether a line is none of the tone's own: no image, no flutter about a harmonic or about direct current."""
    own = [abs(line_hz - k * tone_hz) for k in (0, 2, 3, 4)]
    return line_hz > 0 and min(own) > OWN * tone_hz


def _columns(phase: Floats, rate: float, oscillator_hz: float, tone_hz: float, lines: list[float]) -> list[Complexes]:
    """The tone, then all that is fitted beside it: harmonics, direct current, images of all, and the lines last."""
    t = np.arange(len(phase)) / rate
    own = np.exp(1j * phase)
    carrier = np.exp(2j * np.pi * oscillator_hz * t)
    edge = 0.5 * rate
    columns = [own]
    for k in (1, 2, 3):
        if k > 1 and (k - 1) * tone_hz < edge:
            columns.append(own**k * carrier ** (k - 1))
        if (k + 1) * tone_hz < edge:
            columns.append(np.conj(own**k * carrier ** (k + 1)))
    if tone_hz < edge:
        columns.append(np.conj(carrier))
    columns += [np.exp(-2j * np.pi * (f + 2 * oscillator_hz) * t) for f in lines if abs(f + 2 * oscillator_hz) < edge]
    return columns + [np.exp(2j * np.pi * f * t) for f in lines]


def _moved(z: Complexes, columns: list[Complexes], lines: list[float], rate: float) -> list[float]:
    """The lines' frequencies after a Gauss-Newton step: each line may turn a little more or less."""
    t = (np.arange(len(z)) - (len(z) - 1) / 2) / rate
    n = len(lines)
    design = np.stack([*columns, *(1j * t * c for c in columns[-n:])], axis=1)
    norm = np.linalg.norm(design, axis=0)
    design /= norm
    normal = design.conj().T @ design
    values = np.linalg.pinv(normal, rcond=1e-9, hermitian=True) @ (design.conj().T @ z) / norm
    reach = 0.5 * rate / len(z)
    moves = np.real(values[-n:] / values[-2 * n : -n]) / (2 * np.pi)
    return [f + float(np.clip(m, -reach, reach)) for f, m in zip(lines, moves, strict=True)]


def _fitted(z: Complexes, columns: list[Complexes]) -> tuple[Complexes, float, Complexes]:
    """Fit all columns; returns the signal less all but the first, the variance's rise, and the residual."""
    design = np.stack(columns, axis=1)
    normal = design.conj().T @ design / len(z)
    inverse = np.linalg.pinv(normal, rcond=1e-9, hermitian=True)
    values = inverse @ (design.conj().T @ z / len(z))
    rest = z - design[:, 1:] @ values[1:]
    return rest, float(inverse[0, 0].real), rest - design[:, 0] * values[0]


def _quiet_band(z: Complexes, guide: Floats, rate: float, reach: float, lowest: float) -> float:
    """The widest band about the tone in which noise is small against it, Hz either way."""
    power = np.abs(np.fft.fft(z * np.exp(-1j * guide))) ** 2 / (len(z) * rate)
    hz = np.abs(np.fft.fftfreq(len(z), 1.0 / rate))
    noise = floor_of(power[(hz > 0.3 * reach) & (hz < reach)])
    tone = float(power[hz <= 0.3 * reach].sum()) * rate / len(z) - 0.6 * reach * noise
    if tone <= 0.0:
        return lowest
    return float(np.clip(QUIET * tone / (2.0 * max(noise, 1e-300)), lowest, rate))


def _follow(z: Complexes, guide: Floats, rate: float, band: float) -> Floats:
    """The tone's phase, noise outside a band about the guide left out."""
    turned = z * np.exp(-1j * guide)
    if band < 0.3 * rate:
        turned = smoothed(turned, low_pass(band, 2.5 * band, rate, 60.0))
    return np.asarray(guide + np.unwrap(np.angle(turned)))


def _judged(z: Complexes, phase: Floats, rate: float, *, spread: float, band: float, reach: float) -> Voice:
    """Amplitude and noise of a channel along its phase."""
    along = z * np.exp(-1j * phase)
    kept = ~_flaws(along, rate)
    level = along.real
    mean = float(level[kept].mean())
    noise, lowest = density(np.where(kept, level - mean, 0.0), rate, LOW_HZ, 0.95 * reach)
    share = max(0.1, float(kept.mean()))
    noise, lowest = noise / share, lowest / share
    seen = min(2.0 * 1.75 * band, 0.7 * rate)
    amplitude = mean - noise * seen / (2.0 * max(mean, 1e-12))
    loud = noise * 0.7 * rate > LOUD * mean**2 and band < reach
    return Voice(z, phase, kept, amplitude, noise, lowest, spread / share, min(reach, band) if loud else reach, loud)


def _flaws(along: Complexes, rate: float) -> NDArray[np.bool_]:
    """Where a click or a dropout is: a short departure, far beyond the noise, from the level about it."""
    none = np.zeros(len(along), dtype=bool)
    block = max(8, round(0.2 * rate))
    count = len(along) // block
    if count < 2:
        middles = np.median(along.real) * np.ones(len(along))
    else:
        medians = np.median(along.real[: count * block].reshape(count, block), axis=1)
        middles = np.interp(np.arange(len(along)), block * (np.arange(count) + 0.5), medians)
    off = np.maximum(np.abs(along.real - middles), np.abs(along.imag))
    noise = 1.4826 * np.median(np.abs(along.real - middles))
    bad = off > np.maximum(7.0 * noise, (10 ** (FLAW_DB / 20) - 1) * np.abs(middles))
    if not bad.any():
        return none
    wide = np.convolve(bad, np.ones(2 * FILTER_POINTS + 1), mode="same") > 0.5
    return np.asarray(wide) if wide.mean() < 0.25 else none
