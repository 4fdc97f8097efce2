"""What a person reads at the machine: its meters, and the voltages at its test points."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from bench.practice.facts import MachineFacts

Floats = NDArray[np.float64]

SIDES = ("left", "right")


class MeasuringPoints:
    """Meters and test points of a machine.

    Args:
        facts: what the machine's sheet says of them.
        reference_db: reference level of its noise reduction, re that of the machine.
    """

    def __init__(self, facts: MachineFacts, reference_db: float) -> None:
        self._facts, self._reference_db = facts, reference_db
        self._at_encoder = self._at_decoder = (-200.0, -200.0)
        """Level of each channel ahead of encoder and decoder, dB re the reference level."""

    def hear(self, *, encoder: Floats | None = None, decoder: Floats | None = None) -> None:
        """The sound of a chunk ahead of encoder and decoder, shape (2, n)."""
        if encoder is not None:
            self._at_encoder = _level_db(encoder)
        if decoder is not None:
            self._at_decoder = _level_db(decoder)

    def reading(self, point: str, *, replays: bool, bias_db: Mapping[str, float]) -> float:
        """What is read at a point.

        Args:
            point: "meter left" in dB, "encoder left", "bias right" or "erase both" in mV.
            replays: whether the machine replays, so that its meters show the replay.
            bias_db: error of each channel's bias.
        """
        where, _, side = point.partition(" ")
        if where == "erase":
            return self._facts.erase_mv
        if where == "bias":
            return float(self._facts.bias_mv * 10 ** (bias_db[side] / 20))
        at_meter = self._at_decoder if replays else self._at_encoder
        db = {"meter": at_meter, "encoder": self._at_encoder, "decoder": self._at_decoder}[where][SIDES.index(side)]
        if where == "meter":
            return db - self._facts.meter_zero_db
        mv = self._facts.encoder_mv if where == "encoder" else self._facts.decoder_mv
        return float(mv * 10 ** ((db - self._reference_db) / 20))


def _level_db(sound: Floats) -> tuple[float, float]:
    """Level of each channel of a chunk as that of a sine, dB re 1."""
    left, right = 10 * np.log10(2 * np.mean(sound**2, axis=1) + 1e-20)
    return float(left), float(right)
