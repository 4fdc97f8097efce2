"""The two kinds of tape: a recordable tape that keeps its flux, and a reference tape."""

from __future__ import annotations

import numpy as np

from bench.arrays import Floats
from bench.practice.facts import MachineFacts, ReferenceFacts
from bench.practice.filters import CHUNK, RATE
from bench.practice.flaws import CELL, PartialErasure
from bench.practice.kernels import HALF, read_linear, read_track, write_track
from bench.problem import Problem
from bench.tape.equalisation import relative_flux_db
from bench.tape.fluxivity import convert_method, ratio_db
from bench.words.figures import tape_speed

GAP_S = 1.5
"""Silence between the sections of the reference tape."""
WIND_S = 2.0
"""Silence while a section is rewound to be played again. A choice; on a real machine it takes longer."""
_LEAD = 4 * HALF


class RecordableTape:
    """Stores the flux recorded on it; its end wraps to its start."""

    def __init__(self, minutes: float) -> None:
        length = int(minutes * 60) * RATE
        self._flux = np.zeros((2, length), dtype=np.float32)
        self._azimuth = np.zeros(length // CELL)
        self._recorded = np.zeros(length // CELL, dtype=bool)
        self.partial_erasure = PartialErasure(length)
        self._past = np.zeros((2, _LEAD))
        self.position = 0.0

    def record(self, flux: Floats, positions: Floats, shifts: tuple[float, float], azimuth: float, kept: float) -> None:
        """Write a chunk.

        Args:
            flux: shape (2, CHUNK).
            positions: positions of the tape, CHUNK + 1 of them.
            shifts: delay of the right channel on the tape re the left, samples, at the start and end of the chunk.
            azimuth: azimuth error of the record head, minutes of arc.
            kept: fraction of the previous recording that remains.
        """
        signal = np.concatenate((self._past, flux), axis=1)
        self._past = signal[:, -_LEAD:]
        times = _LEAD - 2 * HALF + np.arange(positions.size)
        speed = (positions[-1] - positions[0]) / (positions.size - 1)
        late = np.linspace(*shifts, positions.size) / (2 * speed)
        write_track(self._flux[0], signal[0], positions, times + late, kept)
        write_track(self._flux[1], signal[1], positions, times - late, kept)
        cells = np.arange(int(positions[0]) // CELL, int(positions[-1]) // CELL + 1) % self._azimuth.size
        self._azimuth[cells], self._recorded[cells] = azimuth, True
        self.partial_erasure.reset(positions[0], positions[-1])

    def read(self, left: Floats, right: Floats) -> Floats:
        """Flux at these positions of each track, shape (2, n)."""
        out = np.empty((2, left.size))
        read_track(self._flux[0], left, out[0])
        read_track(self._flux[1], right, out[1])
        return out

    def read_linear(self, left: Floats, right: Floats) -> Floats:
        """The same for long wavelengths only."""
        out = np.empty((2, left.size))
        read_linear(self._flux[0], left, out[0])
        read_linear(self._flux[1], right, out[1])
        return out

    def azimuth_at(self, position: float) -> float:
        """Azimuth error of the recording at this position, minutes of arc."""
        return float(self._azimuth[int(position // CELL) % self._azimuth.size])

    def recorded_at(self, position: float) -> bool:
        """Whether anything, silence included, was recorded at this position."""
        return bool(self._recorded[int(position // CELL) % self._recorded.size])

    def tape_position(self, position: float) -> float:
        """The place on the tape of a position: here the position itself."""
        return position


class ReferenceTape:
    """Its sections in order with silence between them, or one section that repeats."""

    def __init__(self, facts: ReferenceFacts, machine: MachineFacts) -> None:
        if abs(facts.speed_mm_s / machine.speed_mm_s - 1) > 0.005:
            raise Problem(
                f"{facts.name} is for {tape_speed(facts.speed_mm_s)} and {machine.name} runs at "
                f"{tape_speed(machine.speed_mm_s)}: "
                "choose a reference tape of that speed"
            )
        flux, _ = convert_method(facts.fluxivity, machine.fluxivity.method)
        at_0_db = ratio_db(flux, machine.fluxivity)
        hz = np.array([s.hz for s in facts.sections])
        level = np.array([s.db + s.recorded_error_db for s in facts.sections])
        level += at_0_db + relative_flux_db(hz, facts.level_hz, *facts.equalisation_us)
        self._hz, self._amplitude = hz, 10 ** (level / 20)
        lengths = np.array([s.seconds for s in facts.sections])
        self._starts = (np.cumsum(lengths + GAP_S) - lengths) * RATE
        self._ends = self._starts + lengths * RATE
        self._ids = [s.id for s in facts.sections]
        self.seconds = float(self._ends[-1]) / RATE
        """Its playing time."""
        self._name = facts.name
        self.partial_erasure = PartialErasure(self._ends[-1])
        self._repeats: int | None = None
        self.position = 0.0

    def rewind(self, section: str | None, *, on: bool = False) -> None:
        """Wind to the start, or to a section, which then repeats, or from which the tape plays `on`."""
        if section is not None and section not in self._ids:
            raise Problem(f"{self._name} has no section {section}; it has {', '.join(self._ids)}")
        at = 0 if section is None else self._ids.index(section)
        self._repeats = None if section is None or on else at
        self.position = float(self._starts[at]) - GAP_S * RATE if on else 0.0

    def read(self, left: Floats, right: Floats) -> Floats:
        """Flux at these positions of each track, re the machine's reference fluxivity, shape (2, n)."""
        if self._repeats is not None:
            tone = self._tone(self._repeats, left, right)
            length = self._ends[self._repeats] - self._starts[self._repeats]
            return np.where(np.stack((left, right)) % (length + WIND_S * RATE) < length, tone, 0.0)
        out = np.zeros((2, left.size))
        first = max(0, int(np.searchsorted(self._starts, left[0] - CHUNK)) - 1)
        for index in range(first, len(self._ids)):
            if self._starts[index] > left[-1] + CHUNK:
                break
            tone = self._tone(index, left, right)
            for channel, positions in enumerate((left, right)):
                inside = (positions >= self._starts[index]) & (positions < self._ends[index])
                out[channel, inside] = tone[channel, inside]
        return out

    read_linear = read

    def tape_position(self, position: float) -> float:
        """The place on the tape of a position: a section that repeats is always the same stretch."""
        if self._repeats is None:
            return position
        start, end = self._starts[self._repeats], self._ends[self._repeats]
        return float(min(end, start + position % (end - start + WIND_S * RATE)))

    def _tone(self, index: int, left: Floats, right: Floats) -> Floats:
        turn = 2 * np.pi * self._hz[index] / RATE
        return np.asarray(self._amplitude[index] * np.sin(turn * np.stack((left, right))))
