"""Buffer for the sound of a step, so that its readings can be measured again later."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from mmap import mmap

import numpy as np
from numpy.typing import NDArray

from bench.audio import flac
from bench.audio.port import Block
from bench.procedure.state.journal import Sound

LONGEST_S = 300.0
"""Longest sound that is kept."""
PIECE_S = 1.0
"""Length of sound that is encoded at a time."""


@dataclass(frozen=True, slots=True)
class _Piece:
    """A stretch of encoded sound in separate memory, which is returned to the system as soon as it is dropped."""

    data: mmap
    frames: int


class RecentSound:
    """Keeps what a step hears, encoded in pieces: five minutes of samples would take 115 MB.

    Args:
        sample_rate: frames a second.
        tail_s: length that is kept; while a trimmer is turned only the end matters.
    """

    def __init__(self, sample_rate: int, tail_s: float = LONGEST_S) -> None:
        self._rate = sample_rate
        self._limit = round(min(tail_s, LONGEST_S) * sample_rate)
        self._channels = 0
        self._pieces: deque[_Piece] = deque()
        self._newest: list[NDArray[np.float32]] = []
        """Blocks that have not been encoded yet."""
        self._frames = self._newest_frames = 0
        self._next = -1
        self._readings: list[str] = []

    def add(self, block: Block) -> None:
        """Add a block; lost frames become silence. After a pass without a reading the buffer begins again."""
        passed = self._next >= 0 and block.start - block.lost > self._next
        self._channels = block.samples.shape[1]
        if passed and not self._readings:
            self._pieces.clear()
            self._newest.clear()
            self._frames = self._newest_frames = 0
        elif block.lost and self._frames:
            self._add(np.zeros((block.lost, self._channels), dtype=np.float32))
        self._next = block.start + len(block.samples)
        self._add(block.samples.astype(np.float32))

    def add_readings(self, readings: tuple[str, ...]) -> None:
        """Note the ids of readings taken from the sound so far."""
        if self._frames:
            self._readings += readings

    def drop_before(self, frame: int) -> None:
        """Drop the pieces before a frame, unless a reading was taken from the sound."""
        while self._pieces and not self._readings and self._next - self._frames + self._pieces[0].frames <= frame:
            self._frames -= self._pieces.popleft().frames

    def finish(self) -> Sound | None:
        """The sound of the step, which is over; None without a reading."""
        if not self._readings:
            return None
        self._end_piece()
        return Sound(flac.joined(self._given_up(), self._rate, self._channels), tuple(self._readings))

    def _given_up(self) -> Iterator[mmap]:
        """The pieces; each is freed when the next is requested."""
        while self._pieces:
            yield self._pieces.popleft().data

    def _add(self, samples: NDArray[np.float32]) -> None:
        self._newest.append(samples)
        self._frames += len(samples)
        self._newest_frames += len(samples)
        if self._newest_frames >= PIECE_S * self._rate:
            self._end_piece()
        while self._pieces and self._frames - self._pieces[0].frames >= self._limit:
            self._frames -= self._pieces.popleft().frames

    def _end_piece(self) -> None:
        if self._newest:
            encoded = flac.encoded(np.concatenate(self._newest), self._rate)
            data = mmap(-1, len(encoded))
            data.write(encoded)
            self._pieces.append(_Piece(data, self._newest_frames))
            self._newest.clear()
            self._newest_frames = 0
