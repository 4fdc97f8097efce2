"""Tones one after another behind a start mark: the time of each is known, so each is read at its time."""

from __future__ import annotations

from collections.abc import Sequence

from bench.measure.quantities.live_tone import ToneWatch
from bench.measure.reading import Result
from bench.procedure.kinds.record.passage import Replayed
from bench.signals.source import Source
from bench.signals.tones import Gap, Tone, ToneSequence

EDGE_S = 0.4
"""Left out at both ends of a tone, because flutter moves it relative to the mark."""

GAP_S = 0.4


class ToneSeries:
    """Makes a source of tones, and reads the level of each from the replay.

    Args:
        tones: Hz and dBFS.
        seconds: length of each.
        rate: frames a second.
        channels: channels of the replay.
    """

    def __init__(self, tones: Sequence[tuple[float, float]], seconds: float, rate: int, channels: int) -> None:
        self._tones, self._seconds, self._rate = tones, seconds, rate
        window_s = seconds - 2 * EDGE_S
        self._watches = [ToneWatch(rate, channels, hz, window_s=window_s, paired=False) for hz, _ in tones]

    def source(self) -> ToneSequence:
        """The source to send."""
        parts: list[Tone | Gap | Source] = []
        for hz, dbfs in self._tones:
            parts += [Tone(hz, dbfs, self._seconds), Gap(GAP_S)]
        return ToneSequence(parts, self._rate)

    def feed(self, replayed: Replayed) -> None:
        """Take in a stretch of the replay."""
        for n, watch in enumerate(self._watches):
            starts = n * (self._seconds + GAP_S)
            inside = replayed.between(starts + EDGE_S, starts + self._seconds - EDGE_S)
            if len(inside):
                watch.feed(inside)

    def levels(self) -> list[tuple[Result, ...]]:
        """Level of each tone on each channel, dBFS."""
        return [watch.now().levels for watch in self._watches]
