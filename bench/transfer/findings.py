"""Faults of a capture itself, found while it is processed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from bench.arrays import Floats
from bench.measure.reading import Channel
from bench.tape.noise_reduction import System
from bench.transfer.hiss import HissMonitor, as_decoded

Kind = Literal["dead channel", "inverted channel", "clipped", "decoded already"]

SILENT = 1e-6
"""A capture in which no sample exceeds this, relative to full scale, is silent."""
DEAD_DB = 40.0
"""A channel this much softer than the other has no programme. Common practice, no source."""
INVERTED = -0.5
"""A correlation below this means opposite polarity. Common practice, no source."""
FULL_SCALE = 0.9999
"""Samples from here to 1 are at full scale; a file of floating-point samples holds higher ones unclipped."""
CLIPPED_RUN = 3
"""This many successive samples at full scale are clipping; a peak that only just reaches it has one or two."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One fault."""

    kind: Kind
    channel: Channel = "both"
    value: float = 0.0
    """By kind: dB by which the channel is softer, correlation, number of clipped places, fall of the hiss in dB."""


class CaptureCheck:
    """Examines a capture block by block.

    Args:
        rate: sample rate, Hz.
        names: names of its channels.
        system: the noise-reduction system that decodes it; None if it is to be encoded.
    """

    def __init__(self, rate: float, names: tuple[Channel, ...], system: System | None) -> None:
        self._names = names
        self._peak = 0.0
        self._powers = np.zeros((len(names), len(names)))
        self._clipped = np.zeros(len(names), dtype=int)
        self._before = np.zeros((CLIPPED_RUN, len(names)), dtype=bool)
        self._hiss = HissMonitor(rate) if system == "type-b" else None

    def feed(self, samples: Floats) -> None:
        """Take in frames of shape (frames, channels)."""
        peak = max(float(samples.max()), -float(samples.min()))
        self._peak = max(self._peak, peak)
        self._powers += samples.T @ samples
        if peak < FULL_SCALE:
            self._before[:] = False
        else:
            size = np.abs(samples)
            full = np.concatenate((self._before, (size >= FULL_SCALE) & (size <= 1.0)))
            run = full[1:-2] & full[2:-1] & full[3:]
            self._clipped += (run & ~full[:-3]).sum(axis=0)
            self._before = full[-CLIPPED_RUN:]
        if self._hiss is not None:
            self._hiss.feed(samples)

    @property
    def silent(self) -> bool:
        """Whether the whole capture was silent."""
        return self._peak < SILENT

    @property
    def heard_hiss(self) -> bool:
        """Whether it has a pause whose hiss shows if the capture has already been decoded."""
        return self._hiss is not None and self._hiss.falls_db() is not None

    def findings(self) -> tuple[Finding, ...]:
        """The faults that were found."""
        out = [Finding("clipped", n, float(c)) for n, c in zip(self._names, self._clipped, strict=True) if c]
        if len(self._names) == 2:
            out += self._of_both()
        falls = self._hiss.falls_db() if self._hiss is not None else None
        return (*out, Finding("decoded already", "both", falls[0])) if falls and as_decoded(falls) else tuple(out)

    def _of_both(self) -> list[Finding]:
        powers = np.maximum(np.diag(self._powers), 1e-30)
        softer = int(np.argmin(powers))
        by_db = 10 * float(np.log10(powers.max() / powers.min()))
        if by_db > DEAD_DB:
            return [Finding("dead channel", self._names[softer], by_db)]
        alike = float(self._powers[0, 1] / np.sqrt(powers.prod()))
        return [Finding("inverted channel", "both", alike)] if alike < INVERTED else []
