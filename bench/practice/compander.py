"""The machine's noise reduction: an encoder before the record amplifier, a decoder after the replay amplifier."""

from __future__ import annotations

from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from bench.practice.facts import MachineFacts
from bench.practice.filters import RATE
from bench.tape.encoding_curves import reference_level_db
from bench.tape.noise_reduction import NoiseReduction

Floats = NDArray[np.float64]
Position = Literal["off", "on", "record-only", "replay-only"]
NOISE_REDUCTION_POSITIONS: tuple[str, ...] = get_args(Position)


class Compander:
    """Encoder, decoder and their switch.

    Args:
        machine: its `noise_reduction` gives the system.
        iec_type: the tape type, which decides the reference level of the noise reduction.
    """

    def __init__(self, machine: MachineFacts, iec_type: str) -> None:
        self._system = machine.noise_reduction
        self._reference = 10 ** (reference_level_db(machine.fluxivity, iec_type) / 20)
        self._encoder: NoiseReduction | None = None
        self._decoder: NoiseReduction | None = None

    def switch(self, position: str, encoder_side_db: float, decoder_side_db: float) -> None:
        """Set the switch; the two figures are the gain errors of the circuits' side paths, dB."""
        if self._system == "none":
            return
        self._encoder = self._decoder = None
        if position in ("on", "record-only"):
            self._encoder = NoiseReduction(self._system, RATE, 2, decode=False, side_error_db=encoder_side_db)
        if position in ("on", "replay-only"):
            self._decoder = NoiseReduction(self._system, RATE, 2, decode=True, side_error_db=decoder_side_db)

    def encode(self, source: Floats) -> Floats:
        """The input of the record amplifier, shape (2, n), re the machine's reference level."""
        return self._through(self._encoder, source)

    def decode(self, replayed: Floats) -> Floats:
        """The machine's output, likewise, from the output of the replay amplifier."""
        return self._through(self._decoder, replayed)

    def _through(self, circuit: NoiseReduction | None, sound: Floats) -> Floats:
        if circuit is None:
            return sound
        return circuit.run(sound.T / self._reference).T * self._reference
