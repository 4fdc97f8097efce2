"""What a recording head leaves on a tape: level, treble and distortion against bias, by tape type."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bench.practice.physics import TapePhysics
from bench.tape.fluxivity import Fluxivity, by_method, ratio_db
from bench.tape.losses import spacing_loss_db, thickness_loss_db

Floats = NDArray[np.float64]


CASSETTE_LEVEL = Fluxivity(250.0, "DIN")
REEL_LEVEL = Fluxivity(320.0, "DIN")


@dataclass(frozen=True, slots=True)
class Medium:
    """A kind of coating. Figures chosen to behave as the trade knows it: common practice, no source."""

    bias_db: float
    """The bias it wants, re cassette type I."""
    coating_um: float
    """The depth that takes part."""
    self_erasure_um: float
    """Loss of short wavelengths after recording, as the spacing that would lose as much."""
    sensitivity_db: float
    """At long wavelengths, re type I recorded at its own bias."""
    harder_to_erase_db: float = 0.0
    """How much more of an old recording is left than on type I."""
    thickness_um: float = 12.0
    """Of the whole tape: how far its layers lie apart on the reel."""
    quoted_at: Fluxivity = CASSETTE_LEVEL
    """What levels in its data sheets are relative to."""
    quoted_t1_us: float = 120.0
    """The short time constant behind which its noise is given; 0: that of the machine."""
    usual_mol_db: float = 4.5
    usual_noise_db: float = -53.0
    """As `TapePhysics` has them, for a tape of which nothing but the type is known."""


MEDIA: dict[str, Medium] = {
    "I": Medium(0.0, 5.0, 0.35, 0.0),
    "II": Medium(3.5, 3.5, 0.15, -1.5, 3.0, quoted_t1_us=70.0, usual_mol_db=4.0, usual_noise_db=-55.5),
    "IV": Medium(6.0, 3.0, 0.15, -1.0, 8.0, quoted_t1_us=70.0, usual_mol_db=6.5, usual_noise_db=-55.0),
    "open reel": Medium(0.0, 2.5, 0.05, 0.0, 0.0, 50.0, REEL_LEVEL, 0.0, 8.0, -57.0),
}
"""By the tape type of IEC 60094, or open reel."""

VIRGIN_NOISE_DB = -2.0
"""Of tape erased in bulk, beside tape that has passed the bias of a record head. Common practice, no source."""

_RISE, _POWER, _FALL = 0.65, 3.0, 0.8


def _rise_db(bias: float) -> float:
    """Long wavelengths: level rises with bias (linear, 1 = right) to a flat peak and falls past it."""
    return float(20 * np.log10(-np.expm1(-((bias / _RISE) ** _POWER))) - _FALL * bias**2)


def recorded_db(frequency_hz: Floats, speed_mm_s: float, medium: Medium, zone_um: float, bias_db: float) -> Floats:
    """Level that a recording of constant magnetising force has on the tape, dB re long wavelengths at right bias.

    The zone in which the head leaves its recording grows with the bias, and short wavelengths are lost in it as by
    a spacing: so each wavelength has a peak, the shorter the earlier, and falls past it (over-bias).

    Args:
        frequency_hz: any shape.
        speed_mm_s: tape speed.
        medium: the coating.
        zone_um: length of the recording zone at the right bias.
        bias_db: bias re the right one.
    """
    bias = 10 ** (bias_db / 20)
    short = spacing_loss_db(frequency_hz, speed_mm_s, zone_um * bias + medium.self_erasure_um)
    return short + thickness_loss_db(frequency_hz, speed_mm_s, medium.coating_um) + (_rise_db(bias) - _rise_db(1.0))


def tape_offset_db(frequency_hz: Floats, tape: TapePhysics) -> Floats:
    """How one tape differs from its kind: its sensitivity, and its treble growing in proportion to frequency."""
    return tape.sensitivity_db + tape.treble_db * np.minimum(frequency_hz, 16000.0) / 10000.0


def quoted_db(medium: Medium, machine: Fluxivity) -> float:
    """The level that a tape's figures are relative to, dB re a machine's reference level."""
    flux, _ = by_method(medium.quoted_at, machine.method)
    return ratio_db(flux, machine)


def mol_against_bias_db(bias_db: float) -> float:
    """How the level of 3 % third harmonic moves with bias at constant sensitivity, dB: it grows past the right bias."""
    bias = min(6.0, max(-6.0, bias_db))
    return -0.12 * ((bias - 2.0) ** 2 - 2.0**2)


def ceiling(mol_db: float, third_db: float) -> float:
    """Amplitude at which a tape saturates, so that its third harmonic is 3 % at some level.

    Args:
        mol_db: that level, re the machine's reference level.
        third_db: level of the third harmonic at the output, re what it is on the tape beside its fundamental.
    """
    wanted = 0.03 / 10 ** (third_db / 20)
    turn = np.sin(2 * np.pi * np.arange(256) / 256)
    low, high = 0.01, 10.0
    for _ in range(40):
        middle = np.sqrt(low * high)
        spectrum = np.abs(np.fft.rfft(np.tanh(middle * turn))) / 128
        low, high = (middle, high) if spectrum[3] < wanted * spectrum[1] else (low, middle)
    return float(10 ** (mol_db / 20) / spectrum[1])


def noise_shape_db(frequency_hz: Floats, speed_mm_s: float, medium: Medium) -> Floats:
    """Flux noise of evenly spread particles: 10 lg[(1 − e^(−2kδ))/k], k = 2π/λ, 0.7 µm away from the head, dB.

    With that distance the hiss of a cassette is about white behind its equalisation, as measured decks have it
    (common practice, no source).
    """
    k = 2 * np.pi * np.maximum(frequency_hz, 1.0) * 1e-3 / speed_mm_s
    density = 10 * np.log10(-np.expm1(-2 * k * medium.coating_um) / k)
    return np.asarray(density + spacing_loss_db(np.maximum(frequency_hz, 1.0), speed_mm_s, 0.7))


def echo_corner_hz(medium: Medium, speed_mm_s: float) -> float:
    """Shorter wavelengths, than 2π times the tape's thickness, hardly reach the next layer (common practice)."""
    return speed_mm_s * 1e3 / (2 * np.pi * medium.thickness_um)
