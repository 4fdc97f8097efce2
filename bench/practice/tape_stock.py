"""The work tapes that can be threaded on the practice machine, each with all that is its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bench.practice.facts import MachineFacts, Table, TapeFacts
from bench.practice.filters import RATE
from bench.practice.flaws import Dropouts, Echo
from bench.practice.media import MEDIA, echo_corner_hz, quoted_db
from bench.practice.physics import TAPE_TYPES, MachinePhysics, tape_physics
from bench.practice.record_side import RecordSide
from bench.practice.replay_side import ReplaySide, hiss_db
from bench.practice.tapes import WorkTape
from bench.problem import Problem


@dataclass(frozen=True, slots=True)
class Blank:
    """A work tape, how it takes what is recorded, and what it gives back beside it."""

    tape: WorkTape
    record_side: RecordSide
    replay_side: ReplaySide
    coating: Dropouts
    layers: Echo
    harder_to_erase_db: float


class Blanks:
    """Work tapes by number, made when they are first threaded; what was recorded on one stays on it.

    Args:
        machine: the recorder they are threaded on.
        physics: the same, as it is built.
        tapes: what they are, the usual one first. Somebody may have put another in instead of that one.
        reference_hz: at which fluxivity is told.
        seed: draws their flaws.
        minutes: how long they run.

    Raises:
        Problem: a figure that can't be.
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
        self._tapes = (_in_it(tapes[0], physics), *tapes[1:])
        self._made: dict[int, Blank] = {}

    @property
    def usual(self) -> TapeFacts:
        """The first of them."""
        return self._tapes[0]

    def get(self, number: int) -> Blank:
        """The tape of this number; beyond the last, another reel of the first."""
        if number not in self._made:
            facts = self._tapes[number] if number < len(self._tapes) else self._tapes[0]
            self._made[number] = self._make(facts, self._seed + 7919 * number)
        return self._made[number]

    def _make(self, facts: TapeFacts, seed: int) -> Blank:
        machine, physics = self._machine, self._physics
        figures, medium = tape_physics(facts), MEDIA[facts.iec_type]
        noise_db = figures.noise_db + quoted_db(medium, machine.fluxivity)
        hiss = hiss_db(machine, facts.iec_type, noise_db, self._reference_hz)
        corner = echo_corner_hz(medium, machine.speed_mm_s)
        # The figure holds at 1 kHz; `Echo` wants what it fades from.
        printed = 10 ** (figures.print_db / 20) * np.hypot(1, 1000 / corner)
        return Blank(
            tape=WorkTape(self._minutes),
            record_side=RecordSide(machine, physics, facts, figures, self._reference_hz),
            replay_side=ReplaySide(machine, self._reference_hz, hiss),
            coating=Dropouts(figures.dropouts_per_minute, seed),
            layers=Echo(np.pi * physics.reel_mm / machine.speed_mm_s * RATE, float(printed), corner),
            harder_to_erase_db=medium.harder_to_erase_db,
        )


def _in_it(work_tape: TapeFacts, physics: MachinePhysics) -> TapeFacts:
    """The work tape, or what somebody put in instead of it."""
    kind = physics.other_tape
    if kind == "none":
        return work_tape
    usual = MEDIA[kind]
    practice: Table = {"mol_db": usual.usual_mol_db, "noise_db": usual.usual_noise_db}
    return TapeFacts(f"some tape of type {kind}", kind, practice)
