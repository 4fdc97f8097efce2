"""Recorded level, treble and distortion against bias, by tape type."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bench.arrays import Floats
from bench.practice.physics import TapePhysics
from bench.tape.fluxivity import Fluxivity, convert_method, ratio_db
from bench.tape.losses import spacing_loss_db, thickness_loss_db

CASSETTE_LEVEL = Fluxivity(250.0, "DIN")
REEL_LEVEL = Fluxivity(320.0, "DIN")


@dataclass(frozen=True, slots=True)
class Medium:
    """A kind of coating. Its figures reproduce the behaviour known to the trade: common practice, no source."""

    bias_db: float
    """Correct bias, re cassette type I."""
    coating_um: float
    """Effective depth of the coating."""
    self_erasure_um: float
    """Loss of short wavelengths after recording, as an equivalent spacing."""
    sensitivity_db: float
    """Sensitivity at long wavelengths, re type I at its own bias."""
    harder_to_erase_db: float = 0.0
    """How much more of an old recording remains than on type I."""
    thickness_um: float = 12.0
    """Thickness of the whole tape: the distance between layers on the reel."""
    quoted_at: Fluxivity = CASSETTE_LEVEL
    """The reference of the levels in its data sheets."""
    quoted_t1_us: float = 120.0
    """The short time constant for which its noise is quoted; 0: that of the machine."""
    quoted_width_mm: float = 0.6
    quoted_speed_mm_s: float = 47.625
    """Track width and tape speed for which its noise is quoted; a choice for open reel."""
    usual_mol_db: float = 4.5
    usual_noise_db: float = -53.0
    """As in `TapePhysics`, for a tape of unknown make."""


MEDIA: dict[str, Medium] = {
    "I": Medium(0.0, 5.0, 0.35, 0.0),
    "II": Medium(3.5, 3.5, 0.15, -1.5, 3.0, quoted_t1_us=70.0, usual_mol_db=4.0, usual_noise_db=-55.5),
    "IV": Medium(6.0, 3.0, 0.15, -1.0, 8.0, quoted_t1_us=70.0, usual_mol_db=6.5, usual_noise_db=-55.0),
    "open reel": Medium(0.0, 2.5, 0.05, 0.0, 0.0, 50.0, REEL_LEVEL, 0.0, 2.75, 190.5, 8.0, -57.0),
}
"""Media by tape type of IEC 60094, or open reel."""

VIRGIN_NOISE_DB = -2.0
"""Noise of bulk-erased tape relative to tape that has passed the bias of a record head. Common practice, no source."""

_RISE, _POWER, _FALL = 0.65, 3.0, 0.8


def _rise_db(bias: float) -> float:
    """Level at long wavelengths: it rises with bias (linear, 1 = correct) to a broad peak and falls beyond it."""
    return float(20 * np.log10(-np.expm1(-((bias / _RISE) ** _POWER))) - _FALL * bias**2)


def recorded_level_db(
    frequency_hz: Floats, speed_mm_s: float, medium: Medium, zone_um: float, bias_db: float
) -> Floats:
    """Recorded level at constant magnetising force, dB re long wavelengths at the correct bias.

    The recording zone grows with bias, and short wavelengths are lost in it as by a spacing. So each wavelength has a
    peak, at lower bias for shorter wavelengths, and falls beyond it (over-bias).

    Args:
        frequency_hz: any shape.
        speed_mm_s: tape speed.
        medium: the coating.
        zone_um: length of the recording zone at the correct bias.
        bias_db: bias re the correct bias.
    """
    bias = 10 ** (bias_db / 20)
    short = spacing_loss_db(frequency_hz, speed_mm_s, zone_um * bias + medium.self_erasure_um)
    return short + thickness_loss_db(frequency_hz, speed_mm_s, medium.coating_um) + (_rise_db(bias) - _rise_db(1.0))


def tape_offset_db(frequency_hz: Floats, tape: TapePhysics) -> Floats:
    """Difference of a tape from its type: sensitivity, and a treble difference proportional to frequency."""
    return tape.sensitivity_db + tape.treble_db * np.minimum(frequency_hz, 16000.0) / 10000.0


def quoted_level_db(medium: Medium, machine: Fluxivity) -> float:
    """The reference level of a tape's figures, dB re a machine's reference level."""
    flux, _ = convert_method(medium.quoted_at, machine.method)
    return ratio_db(flux, machine)


def noise_against_track_db(medium: Medium, width_mm: float, speed_mm_s: float) -> float:
    """Change in a tape's noise, re its reference level, with track width and speed: fewer particles pass per second.

    Common practice, no source: 3 dB for half the width or half the speed.
    """
    return float(-10 * np.log10(width_mm / medium.quoted_width_mm * speed_mm_s / medium.quoted_speed_mm_s))


def mol_against_bias_db(bias_db: float) -> float:
    """Change in maximum output level with bias at constant sensitivity, dB: it rises beyond the correct bias."""
    bias = min(6.0, max(-6.0, bias_db))
    return -0.12 * ((bias - 2.0) ** 2 - 2.0**2)


def saturation_amplitude(mol_db: float, third_db: float) -> float:
    """Saturation amplitude of a tape, chosen so that the third harmonic is 3 % at the maximum output level.

    Args:
        mol_db: maximum output level, re the machine's reference level.
        third_db: gain of the third harmonic re the fundamental between tape and output.
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
    """Flux noise of evenly distributed particles: 10 lg[(1 − e^(−2kδ))/k], k = 2π/λ, 0.7 µm from the head, dB.

    At that distance the hiss of a cassette is approximately white after equalisation, as measured on real decks (common
    practice, no source).
    """
    k = 2 * np.pi * np.maximum(frequency_hz, 1.0) * 1e-3 / speed_mm_s
    density = 10 * np.log10(-np.expm1(-2 * k * medium.coating_um) / k)
    return np.asarray(density + spacing_loss_db(np.maximum(frequency_hz, 1.0), speed_mm_s, 0.7))


def echo_corner_hz(medium: Medium, speed_mm_s: float) -> float:
    """Frequency at which the wavelength is 2π times the tape's thickness: shorter ones hardly reach the next layer.

    Common practice, no source.
    """
    return speed_mm_s * 1e3 / (2 * np.pi * medium.thickness_um)
