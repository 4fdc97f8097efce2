"""The tapes on which the practice machine can record, each with its own properties."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bench.practice.facts import MachineFacts, Table, TapeFacts
from bench.practice.filters import RATE
from bench.practice.flaws import Echo
from bench.practice.media import MEDIA, echo_corner_hz, noise_against_track_db, quoted_level_db
from bench.practice.physics import TAPE_TYPES, MachinePhysics, tape_physics
from bench.practice.record_side import RecordSide
from bench.practice.replay_side import ReplaySide, hiss_shape_db
from bench.practice.roughness.coating import Coating
from bench.practice.tapes import RecordableTape
from bench.problem import Problem

LOOKED_BACK_MINUTES = 1.0
"""Three heads replay as they record: nothing older than this is replayed again, and four minutes of flux take 92 MB."""


@dataclass(frozen=True, slots=True)
class StockTape:
    """A recordable tape and everything in the signal path that depends on it."""

    tape: RecordableTape
    record_side: RecordSide
    replay_side: ReplaySide
    coating: Coating
    print_through: Echo
    harder_to_erase_db: float


class TapeStock:
    """Recordable tapes by number, created when first loaded; each keeps its recordings.

    Args:
        machine: the recorder they are loaded on.
        physics: that recorder's figures.
        tapes: their facts, the tape in use first. A fault of the machine can replace that first tape with another.
        reference_hz: frequency at which fluxivity is stated.
        seed: random seed of their dropouts.
        minutes: playing time of each.

    Raises:
        Problem: an unknown tape type or figure.
    """

    def __init__(
        self,
        machine: MachineFacts,
        physics: MachinePhysics,
        tapes: Sequence[TapeFacts],
        reference_hz: float,
        *,
        seed: int,
        minutes: float,
    ) -> None:
        for tape in tapes:
            if tape.iec_type not in TAPE_TYPES:
                raise Problem(f"{tape.name}: iec_type must be one of {', '.join(TAPE_TYPES)}")
        self._machine, self._physics, self._reference_hz = machine, physics, reference_hz
        self._seed, self._minutes = seed, minutes
        self._tapes = (_loaded_instead(tapes[0], physics), *tapes[1:])
        self._built: dict[int, StockTape] = {}

    @property
    def first(self) -> TapeFacts:
        """The facts of the first tape."""
        return self._tapes[0]

    def get(self, number: int) -> StockTape:
        """The tape of this number; numbers beyond the last give further copies of the first."""
        if number not in self._built:
            facts = self._tapes[number] if number < len(self._tapes) else self._tapes[0]
            self._built[number] = self._make(facts, self._seed + 7919 * number)
        return self._built[number]

    def _make(self, facts: TapeFacts, seed: int) -> StockTape:
        machine, physics = self._machine, self._physics
        figures, medium = tape_physics(facts), MEDIA[facts.iec_type]
        noise_db = figures.noise_db + quoted_level_db(medium, machine.fluxivity)
        noise_db += noise_against_track_db(medium, physics.track_width_mm, machine.speed_mm_s)
        hiss = hiss_shape_db(machine, facts.iec_type, noise_db, self._reference_hz)
        corner = echo_corner_hz(medium, machine.speed_mm_s)
        # Print-through is specified at 1 kHz; `Echo` needs its value far below the corner frequency.
        printed = 10 ** (figures.print_db / 20) * np.hypot(1, 1000 / corner)
        return StockTape(
            tape=RecordableTape(self._minutes if machine.heads == 2 else min(self._minutes, LOOKED_BACK_MINUTES)),
            record_side=RecordSide(machine, physics, facts, figures, self._reference_hz),
            replay_side=ReplaySide(machine, self._reference_hz, hiss),
            coating=Coating(figures.dropouts_per_minute + physics.tape_dropouts_per_minute, 60 * self._minutes, seed),
            print_through=Echo(np.pi * physics.reel_mm / machine.speed_mm_s * RATE, float(printed), corner),
            harder_to_erase_db=medium.harder_to_erase_db,
        )


def _loaded_instead(tape_in_use: TapeFacts, physics: MachinePhysics) -> TapeFacts:
    """The tape in use, or the tape of another type that a fault substitutes."""
    kind = physics.other_tape
    if kind == "none":
        return tape_in_use
    first = MEDIA[kind]
    practice: Table = {"mol_db": first.usual_mol_db, "noise_db": first.usual_noise_db}
    return TapeFacts(f"some tape of type {kind}", kind, practice)
