"""The stages for decoding a transfer, and for encoding a check tape."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from bench.arrays import Floats
from bench.tape.noise_reduction import System
from bench.transfer.errors import STRETCH_S, ChannelErrors, TransferErrors
from bench.transfer.stages import Circuit, Resampler, Response, Stage, needs_low_pass


@dataclass(frozen=True, slots=True)
class Transfer:
    """The figures by which a transfer is decoded, or a check tape encoded."""

    system: System
    rate: float
    """Sample rate, Hz; at least 32000."""
    reference_dbfs: float
    """Level in the file of 0 dB of the system, dBFS."""
    errors: TransferErrors

    def decoding(self, gain_db: float = 0.0) -> list[Stage]:
        """The corrections, then the decoder. Speed comes first, to bring the treble to its recorded frequencies.

        Args:
            gain_db: gain of the output.
        """
        before = [-self.reference_dbfs - c.errors.level_db for c in self.errors.channels]
        after = [self.reference_dbfs + gain_db] * len(before)
        out: list[Stage] = []
        if self.errors.needs_resampling:
            out.append(Resampler(self.rate, 1 / self.errors.speed, self.errors.channel_delays_s, STRETCH_S))
        out += self._response(-1.0, low_pass=needs_low_pass(self.rate))
        return [*out, Circuit(self.system, self.rate, decode=True, before=_factors(before), after=_factors(after))]

    def encoding(self, gain_db: float = 0.0) -> list[Stage]:
        """The encoder, then the errors: the inverse of `decoding`.

        Args:
            gain_db: gain of the output.
        """
        before = [-self.reference_dbfs] * len(self.errors.channels)
        after = [self.reference_dbfs + c.errors.level_db + gain_db for c in self.errors.channels]
        out: list[Stage] = []
        if needs_low_pass(self.rate):
            out.append(Response(self.rate, [_flat] * len(before), low_pass=True))
        out.append(Circuit(self.system, self.rate, decode=False, before=_factors(before), after=_factors(after)))
        out += self._response(1.0, low_pass=False)
        if self.errors.needs_resampling:
            late = np.array([[0.0], [-self.errors.azimuth_delay_us * 1e-6 * self.errors.speed]])[: len(before)]
            out.append(Resampler(self.rate, self.errors.speed, late))
        return out

    def _response(self, sign: float, *, low_pass: bool) -> list[Stage]:
        if not low_pass and not any(c.errors.treble for c in self.errors.channels):
            return []
        return [Response(self.rate, [_signed(c, sign) for c in self.errors.channels], low_pass=low_pass)]


def _signed(channel: ChannelErrors, sign: float) -> Callable[[Floats], Floats]:
    return lambda hz: sign * channel.response_db(hz)


def _flat(hz: Floats) -> Floats:
    return np.zeros(hz.shape)


def _factors(levels_db: list[float]) -> list[float]:
    return [10 ** (db / 20) for db in levels_db]
