"""The record side: from the line input to the flux on the tape."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from bench.arrays import Floats
from bench.practice.facts import MachineFacts, TapeFacts
from bench.practice.filters import FREQUENCIES, LONG, RATE, Fir, ModulationNoise, Shelf, zero_phase
from bench.practice.kernels import one_pole, overload
from bench.practice.media import (
    MEDIA,
    mol_against_bias_db,
    quoted_level_db,
    recorded_level_db,
    saturation_amplitude,
    tape_offset_db,
)
from bench.practice.physics import MachinePhysics, TapePhysics
from bench.tape.equalisation import flux_level_db, relative_flux_db
from bench.tape.losses import spacing_loss_db
from bench.tape.minimum_phase import minimum_phase

LOWEST_HZ = 2.0
"""The long time constant is effective down to this frequency."""
OVERLOAD = 1.5
"""Amplitude of treble, re saturation, above which a tape partly erases its own recording."""
OVERLOAD_HZ = 5000.0
_OVERLOAD_S = 0.001
"""Time constant of its decay."""
RECORD_DIRT = 0.8
"""Ratio of spacing loss in recording to that in replay (about 44 to 55 dB per wavelength). From memory."""


@dataclass(frozen=True, slots=True)
class RecordSetting:
    """The present settings of one channel's record side."""

    level_db: float
    equalisation_db: float
    """At 12.5 kHz."""
    bias_db: float
    """Bias re the correct bias of the type to which the machine is switched."""
    dirt_um: float
    remanence: float


def record_settings(
    error: Callable[[str, str], float], bias: Callable[[str], float], physics: MachinePhysics, heads: int
) -> tuple[RecordSetting, RecordSetting]:
    """The settings of both channels.

    Args:
        error: gives the error of a trimmer in a channel, in the trimmer's unit.
        bias: gives the error of a channel's bias, dB.
        physics: the machine's present figures.
        heads: 2 or 3; with two, the replay head also records, with the same dirt.
    """
    head = "record" if heads == 3 else "replay"
    left, right = (
        RecordSetting(
            error("record level", side),
            error("record equalisation", side),
            bias(side),
            getattr(physics, f"{head}_dirt_{side}_um"),
            physics.magnetised,
        )
        for side in ("left", "right")
    )
    return left, right


def long_time_constant_hz(t2_us: float) -> float:
    """The corner frequency of a long time constant, Hz; `LOWEST_HZ` if there is none."""
    return 1e6 / (2 * np.pi * t2_us) if t2_us > 0 else LOWEST_HZ


def record_equalisation_share(frequency_hz: Floats) -> Floats:
    """Relative effect of a record equalisation trimmer, 1 at 12.5 kHz: a resonance at 16 kHz."""

    def resonance(hz: Floats) -> Floats:
        return np.asarray(1 / (1 + (hz / 16000 - 16000 / hz) ** 2))

    return resonance(frequency_hz) / resonance(np.asarray(12500.0))


class RecordSide:
    """Record amplifiers, head and bias of both channels, for one tape."""

    def __init__(
        self, machine: MachineFacts, physics: MachinePhysics, tape: TapeFacts, figures: TapePhysics, reference_hz: float
    ) -> None:
        self._speed = machine.speed_mm_s
        self._zone_um = physics.recording_zone_um
        self._figures, self._reference_hz = figures, reference_hz
        switched_to = MEDIA[physics.tape_selector]
        self._medium = MEDIA[tape.iec_type]
        self._bias_offset_db = self._medium.bias_db - switched_to.bias_db + figures.bias_db
        t1_us, t2_us = machine.equalisation_us
        top = np.minimum(FREQUENCIES, 18000.0)
        self._shelf = Shelf(long_time_constant_hz(t2_us), LOWEST_HZ) if t2_us > 0 else None
        self._amplifier_base_db = (
            flux_level_db(top, t1_us)
            - flux_level_db(reference_hz, t1_us, t2_us)
            - self._re(recorded_level_db(top, self._speed, switched_to, self._zone_um, 0.0))
            - switched_to.sensitivity_db
        )
        # Gain of the third harmonic between tape and output, re the fundamental.
        third = recorded_level_db(np.array([3 * reference_hz]), self._speed, self._medium, self._zone_um, 0.0)
        first = recorded_level_db(np.array([reference_hz]), self._speed, self._medium, self._zone_um, 0.0)
        self._third_db = float((third - first)[0] - relative_flux_db(3 * reference_hz, reference_hz, t1_us, t2_us))
        self._mol_db = figures.mol_db + quoted_level_db(self._medium, machine.fluxivity)
        self._amplifier, self._head, self._modulation_noise = Fir(), Fir(), ModulationNoise()
        self._low_passed, self._overloaded = np.zeros((2, 2)), np.zeros(2)
        self._settings: tuple[RecordSetting, RecordSetting] | None = None
        self._ceilings = np.ones((2, 1))
        self._roughness = np.zeros((2, 1))
        self._offsets = np.zeros((2, 1))

    def _re(self, response_db: Floats) -> Floats:
        """A response relative to itself at the reference frequency."""
        return response_db - np.interp(self._reference_hz, FREQUENCIES, response_db)

    def set(self, left: RecordSetting, right: RecordSetting) -> None:
        """Use these settings from the next chunk on."""
        if (left, right) == self._settings:
            return
        self._settings = (left, right)
        self._amplifier.set(*(minimum_phase(self._amplifier_db(s), LONG) for s in (left, right)))
        self._head.set(*(zero_phase(self._head_db(s)) for s in (left, right)))
        biases = [s.bias_db - self._bias_offset_db for s in (left, right)]
        self._ceilings = np.array([[self._ceiling(b)] for b in biases])
        # Too little bias raises modulation noise.
        rough = [self._figures.modulation_noise_db - 0.5 * min(0.0, b) for b in biases]
        self._roughness = np.array([[10 ** (db / 20)] for db in rough])
        self._offsets = np.array([[0.05 * s.remanence] for s in (left, right)])

    def _ceiling(self, bias_db: float) -> float:
        """Saturation amplitude, before the tape's own sensitivity is applied."""
        sensitivity_db = self._medium.sensitivity_db + self._figures.sensitivity_db
        return saturation_amplitude(self._mol_db - sensitivity_db + mol_against_bias_db(bias_db), self._third_db)

    def _amplifier_db(self, setting: RecordSetting) -> Floats:
        return (
            self._amplifier_base_db
            + setting.level_db
            + setting.equalisation_db * record_equalisation_share(FREQUENCIES)
        )

    def _head_db(self, setting: RecordSetting) -> Floats:
        bias_db = setting.bias_db - self._bias_offset_db
        level = recorded_level_db(FREQUENCIES, self._speed, self._medium, self._zone_um, bias_db)
        right = recorded_level_db(FREQUENCIES, self._speed, self._medium, self._zone_um, 0.0)
        at_reference = np.interp(self._reference_hz, FREQUENCIES, right)
        dirt = spacing_loss_db(FREQUENCIES, self._speed, RECORD_DIRT * setting.dirt_um)
        offset = tape_offset_db(FREQUENCIES, self._figures) + self._medium.sensitivity_db
        return np.asarray(level - at_reference + dirt + offset)

    def run(self, signal: Floats, white: Floats) -> Floats:
        """Flux of a chunk, re the reference fluxivity.

        Args:
            signal: input, re the level that should record that fluxivity; shape (2, n).
            white: white noise of unit variance, for modulation noise; shape (2, n).
        """
        current = self._amplifier.run(signal)
        if self._shelf is not None:
            self._shelf.run(current)
        driven = current / self._ceilings
        current = self._ceilings * (np.tanh(driven + self._offsets) - np.tanh(self._offsets))
        self._erase_overloaded(current, driven)
        return self._head.run(current) * (1 + self._roughness * self._modulation_noise.run(white))

    def _erase_overloaded(self, current: Floats, driven: Floats) -> None:
        """Excessive treble acts as bias on what was just recorded and lowers its level. In place."""
        low = driven.copy()
        a1 = -float(np.exp(-2 * np.pi * OVERLOAD_HZ / RATE))
        one_pole(low, 1 + a1, 0.0, a1, self._low_passed)
        keep = float(np.exp(-1 / (_OVERLOAD_S * RATE)))
        overload(current, driven - low, self._overloaded, keep, OVERLOAD)
