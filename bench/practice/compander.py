"""The machine's noise reduction: an encoder before the record amplifier, a decoder after the replay amplifier."""

from __future__ import annotations

from typing import Literal, get_args

import numpy as np

from bench.arrays import Floats
from bench.practice.facts import MachineFacts
from bench.practice.filters import RATE
from bench.practice.physics import MachinePhysics
from bench.tape.encoding_curves import reference_level_db
from bench.tape.noise_reduction import NoiseReduction

Position = Literal["off", "on", "record-only", "replay-only"]
NOISE_REDUCTION_POSITIONS: tuple[str, ...] = get_args(Position)


class Compander:
    """Encoder, decoder and their switch.

    Args:
        machine: the recorder; `noise_reduction` is its system.
        iec_type: the tape type, which determines the reference level of the noise reduction.
    """

    def __init__(self, machine: MachineFacts, iec_type: str) -> None:
        self._system = machine.noise_reduction
        self._reference = 10 ** (reference_level_db(machine.fluxivity, iec_type) / 20)
        self._at_encoder = self._at_decoder = self._reference
        """Level that each circuit treats as its reference."""
        self._encoder: NoiseReduction | None = None
        self._decoder: NoiseReduction | None = None

    def switch(self, position: str, physics: MachinePhysics) -> None:
        """Set the switch; `physics` has the errors of the circuits."""
        if self._system == "none":
            return
        self._encoder = self._decoder = None
        self._at_encoder = self._reference / 10 ** (physics.encoder_level_db / 20)
        self._at_decoder = self._reference / 10 ** (physics.decoder_level_db / 20)
        if position in ("on", "record-only"):
            self._encoder = NoiseReduction(self._system, RATE, 2, decode=False, side_error_db=physics.encoder_side_db)
        if position in ("on", "replay-only"):
            self._decoder = NoiseReduction(self._system, RATE, 2, decode=True, side_error_db=physics.decoder_side_db)

    @property
    def reference_db(self) -> float:
        """Reference level of the noise reduction, re that of the machine, dB."""
        return float(20 * np.log10(self._reference))

    def encode(self, source: Floats) -> Floats:
        """The input of the record amplifier, shape (2, n), re the machine's reference level."""
        return self._through(self._encoder, source, self._at_encoder)

    def decode(self, replayed: Floats) -> Floats:
        """The machine's output from that of the replay amplifier, in the same shape and unit."""
        return self._through(self._decoder, replayed, self._at_decoder)

    @staticmethod
    def _through(circuit: NoiseReduction | None, sound: Floats, reference: float) -> Floats:
        if circuit is None:
            return sound
        return circuit.run(sound.T / reference).T * reference
