"""A capture in a file as a port."""

from __future__ import annotations

from collections.abc import Generator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bench.audio.capture import Capture
from bench.audio.port import Block, PortStatus, Samples
from bench.measure.signal.automatic_gain import GainWatch, automatic_gain_warning
from bench.problem import Problem
from bench.signals.source import Source

__all__ = ["Capture", "FilePort"]


class FilePort:
    """A capture as a port: each read returns the next block at once. It can be measured, not adjusted."""

    def __init__(self, path: Path | str, block: int = 4800) -> None:
        self._capture = Capture(path)
        self._block = block
        self._blocks: Generator[NDArray[np.float64], None, None] | None = None
        self._at = 0
        self._ended = False

    @property
    def capture(self) -> Capture:
        """The file behind the port."""
        return self._capture

    @property
    def status(self) -> PortStatus:
        """Running until the end of the file, then ended."""
        return PortStatus(
            name=self._capture.name,
            kind="file",
            sample_rate=self._capture.sample_rate,
            channels=self._capture.channels,
            state="ended" if self._ended else "closed" if self._blocks is None else "running",
            detail="; ".join(self._capture.warnings),
        )

    def open(self) -> None:
        """Check the whole file, then start at its beginning.

        Raises:
            Problem: it holds NaN or infinite samples, or was recorded with automatic gain control.
        """
        watch = GainWatch(self._capture.sample_rate)
        for block in self._capture.blocks():
            watch.feed(block.sum(axis=1))
        swing = watch.swing_db()
        if swing is not None:
            raise Problem(f"{self._capture.name}: {automatic_gain_warning(swing)}")
        self._blocks = self._capture.blocks(self._block)
        self._at, self._ended = 0, False

    def close(self) -> None:
        """Close the file."""
        if self._blocks is not None:
            self._blocks.close()
        self._blocks, self._ended = None, False

    def send(self, source: Source | None) -> int:
        """Accept silence; raise `Problem` for anything else, because a file can't be recorded on."""
        if source is not None:
            raise Problem(f"{self._capture.name} is a file, and a file cannot be adjusted or recorded on")
        return self._at

    def mute(self, muted: bool) -> None:
        """Do nothing: a file sends nothing."""

    def read(self, timeout_s: float) -> Block | None:
        """The next block; None at the end of the file."""
        samples: Samples | None = next(self._blocks, None) if self._blocks is not None else None
        if samples is None:
            self._ended = self._blocks is not None
            return None
        block = Block(samples, self._at)
        self._at += len(samples)
        return block

    def reopen(self) -> bool:
        """A file that has ended can't be continued."""
        return self.status.state == "running"
