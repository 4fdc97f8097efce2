"""The machine's noise reduction: an encoder ahead of the record amplifier, a decoder behind the replay amplifier."""

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
REDUCTION_POSITIONS: tuple[str, ...] = get_args(Position)


class Reduction:
    """Both circuits and their switch.

    Args:
        machine: its `noise_reduction` says which system there is.
        iec_type: of the tape, which says where the reference level lies.
    """

    def __init__(self, machine: MachineFacts, iec_type: str) -> None:
        self._system = machine.noise_reduction
        self._reference = 10 ** (reference_level_db(machine.fluxivity, iec_type) / 20)
        self._encoder: NoiseReduction | None = None
        self._decoder: NoiseReduction | None = None

    def switch(self, position: str, encoder_side_db: float, decoder_side_db: float) -> None:
        """Set the switch; the sides are how far each circuit's side path is off, dB."""
        if self._system == "none":
            return
        self._encoder = self._decoder = None
        if position in ("on", "record-only"):
            self._encoder = NoiseReduction(self._system, RATE, 2, decode=False, side_db=encoder_side_db)
        if position in ("on", "replay-only"):
            self._decoder = NoiseReduction(self._system, RATE, 2, decode=True, side_db=decoder_side_db)

    def encode(self, source: Floats) -> Floats:
        """What goes to the record amplifier, shape (2, n), re the machine's reference level."""
        return self._through(self._encoder, source)

    def decode(self, replayed: Floats) -> Floats:
        """What comes of the replay amplifier, likewise."""
        return self._through(self._decoder, replayed)

    def _through(self, circuit: NoiseReduction | None, sound: Floats) -> Floats:
        if circuit is None:
            return sound
        return circuit.run(sound.T / self._reference).T * self._reference
