"""Decoding a transfer, and encoding one for a check tape."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bench.tape.noise_reduction import System
from bench.transfer.azimuth_course import STRETCH_S
from bench.transfer.errors import ChannelErrors, TransferErrors
from bench.transfer.stages import Circuit, Moved, Response, Stage, needs_limit

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Transfer:
    """What a transfer is decoded by, or a check tape encoded by."""

    system: System
    rate: float
    """Sample rate, Hz; at least 32000."""
    reference_dbfs: float
    """What 0 dB of the system is in the file."""
    errors: TransferErrors

    def decoding(self, gain_db: float = 0.0) -> list[Stage]:
        """The errors taken off, then the decoder: speed first, so that the treble lies where it was recorded.

        Args:
            gain_db: by how much all of it is raised in the end.
        """
        before = [-self.reference_dbfs - c.errors.level_db for c in self.errors.channels]
        after = [self.reference_dbfs + gain_db] * len(before)
        out: list[Stage] = []
        if self.errors.moves:
            out.append(Moved(self.rate, 1 / self.errors.speed, self.errors.late_s, STRETCH_S))
        out += self._response(-1.0, limit=needs_limit(self.rate))
        return [*out, Circuit(self.system, self.rate, decode=True, before=_factors(before), after=_factors(after))]

    def encoding(self, gain_db: float = 0.0) -> list[Stage]:
        """The encoder, then the errors put on: what `decoding` undoes.

        Args:
            gain_db: by how much all of it is raised in the end.
        """
        before = [-self.reference_dbfs] * len(self.errors.channels)
        after = [self.reference_dbfs + c.errors.level_db + gain_db for c in self.errors.channels]
        out: list[Stage] = []
        if needs_limit(self.rate):
            out.append(Response(self.rate, [_flat] * len(before), limit=True))
        out.append(Circuit(self.system, self.rate, decode=False, before=_factors(before), after=_factors(after)))
        out += self._response(1.0, limit=False)
        if self.errors.moves:
            late = np.array([[0.0], [-self.errors.azimuth_delay_us * 1e-6 * self.errors.speed]])[: len(before)]
            out.append(Moved(self.rate, self.errors.speed, late))
        return out

    def _response(self, sign: float, *, limit: bool) -> list[Stage]:
        if not limit and not any(c.errors.treble for c in self.errors.channels):
            return []
        return [Response(self.rate, [_signed(c, sign) for c in self.errors.channels], limit=limit)]


def _signed(channel: ChannelErrors, sign: float) -> Callable[[Floats], Floats]:
    return lambda hz: sign * channel.response_db(hz)


def _flat(hz: Floats) -> Floats:
    return np.zeros(hz.shape)


def _factors(levels_db: list[float]) -> list[float]:
    return [10 ** (db / 20) for db in levels_db]
