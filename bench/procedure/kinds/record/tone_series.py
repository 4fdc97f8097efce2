"""Tones one after another behind a leader mark: where each lies is known, so each is read in its own time."""

from __future__ import annotations

from collections.abc import Sequence

from bench.measure.quantities.live_tone import ToneWatch
from bench.measure.reading import Result
from bench.procedure.kinds.record.passage import Replayed
from bench.signals.source import Source
from bench.signals.tones import Gap, Tone, ToneSequence

EDGE_S = 0.4
"""Left out at either end of a tone: flutter may have moved it against the mark."""

GAP_S = 0.4


class ToneSeries:
    """Sends tones and reads the level of each.

    Args:
        tones: Hz and dBFS.
        seconds: of each.
        rate: frames a second.
        channels: of what comes back.
    """

    def __init__(self, tones: Sequence[tuple[float, float]], seconds: float, rate: int, channels: int) -> None:
        self._tones, self._seconds, self._rate = tones, seconds, rate
        self._watches = [ToneWatch(rate, channels, hz, window_s=seconds - 2 * EDGE_S) for hz, _ in tones]

    def source(self) -> ToneSequence:
        """What is sent."""
        parts: list[Tone | Gap | Source] = []
        for hz, dbfs in self._tones:
            parts += [Tone(hz, dbfs, self._seconds), Gap(GAP_S)]
        return ToneSequence(parts, self._rate)

    def feed(self, replayed: Replayed) -> None:
        """Take in a stretch of what came back."""
        for n, watch in enumerate(self._watches):
            starts = n * (self._seconds + GAP_S)
            inside = replayed.between(starts + EDGE_S, starts + self._seconds - EDGE_S)
            if len(inside):
                watch.feed(inside)

    def levels(self) -> list[tuple[Result, ...]]:
        """The level of each tone on each channel, dBFS."""
        return [watch.now().levels for watch in self._watches]
