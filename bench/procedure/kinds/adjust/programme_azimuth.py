"""Azimuth set with the owner's tape: the delay between the channels is read from programme."""

from __future__ import annotations

from bench.audio.port import Samples
from bench.measure.quantities.programme.azimuth import ProgrammeMeter
from bench.measure.reading import Result
from bench.procedure.kinds.adjust.reader import AdjustReader
from bench.procedure.kinds.bench import Bench
from bench.procedure.model.steps import Adjust
from bench.procedure.state.journal import ReadingSource

WINDOW_S = 4.0
"""Length of programme behind a reading; a shorter one would follow individual notes. A choice."""


class ProgrammeReader(AdjustReader):
    """Reads the delay of the right channel from programme."""

    source: ReadingSource = "owner's tape"

    def __init__(self, step: Adjust, bench: Bench) -> None:
        super().__init__(step, bench)
        self.begin()

    def begin(self, window_s: float | None = None) -> None:
        """Start to listen."""
        status = self._bench.port.status
        self._meter = ProgrammeMeter(status.sample_rate, status.channels, last_s=window_s or WINDOW_S)

    def feed(self, samples: Samples) -> None:
        """Take in sound."""
        self._meter.feed(samples)

    def readings(self) -> list[tuple[Result, float]]:
        """The present delay."""
        return [(self._meter.now(), 0.0)]
