"""Tones, tone sequences and multitones; each is the same whatever the block size.

Levels are in dBFS as defined by AES17: a sine whose peak is full scale is 0 dBFS.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from collections.abc import Sequence as Ordered
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from bench.figures import as_given, hertz, number
from bench.problem import Problem
from bench.signals.source import Source

Channels = Literal["both", "left", "right"]
EDGE_S = 0.005
"""Length of a tone's raised-cosine edges: short compared with a reading, long enough to avoid clicks (our choice)."""


@dataclass(frozen=True, slots=True)
class Tone:
    """A steady sine."""

    hz: float
    dbfs: float
    """AES17: a sine whose peak is full scale is 0 dBFS."""
    seconds: float | None = None
    """Length, including the edges; None if it never ends."""
    channels: Channels = "both"

    @property
    def description(self) -> str:
        """The tone in words."""
        where = "" if self.channels == "both" else f", {self.channels} only"
        return f"{hertz(self.hz)} at {number(self.dbfs, 1)} dBFS{where}"


@dataclass(frozen=True, slots=True)
class Gap:
    """Silence between tones."""

    seconds: float


@dataclass(frozen=True, slots=True)
class Span:
    """The position of a part in a sequence."""

    start: int
    """Its first frame in the sequence."""
    frames: int | None
    """Its length; None if it never ends."""
    part: Tone | Gap | Source


class SteadyTone:
    """One tone as a source.

    Args:
        tone: the tone.
        sample_rate: frames per second.

    Raises:
        Problem: a frequency outside 0 to half the sample rate, or a level above full scale.
    """

    def __init__(self, tone: Tone, sample_rate: int) -> None:
        check_tone(tone, sample_rate)
        self.tone = tone
        self.sample_rate = sample_rate
        self._frames = None if tone.seconds is None else round(tone.seconds * sample_rate)

    @property
    def frames(self) -> int | None:
        """Length in frames; None if it never ends."""
        return self._frames

    @property
    def description(self) -> str:
        """The tone in words."""
        return self.tone.description

    def render(self, start: int, frames: int) -> NDArray[np.float64]:
        """Samples from frame `start`, shape (frames, 2)."""
        n = np.arange(start, start + frames)
        # Whole cycles in whole seconds add nothing; without them the phase stays exact in a tone that lasts for hours.
        seconds_before, rest = np.divmod(n, self.sample_rate)
        cycles = _part(self.tone.hz % 1.0 * seconds_before) + self.tone.hz * rest / self.sample_rate
        sine = 10.0 ** (self.tone.dbfs / 20.0) * np.sin(2.0 * np.pi * _part(cycles))
        return route_to_channels(sine * envelope(n, self._frames, self.sample_rate), self.tone.channels)


class ToneSequence:
    """Tones, gaps and other sources, one after another.

    Args:
        parts: in order; only the last may be endless.
        sample_rate: frames per second.

    Raises:
        Problem: an impossible tone, or an endless part before the last.
    """

    def __init__(self, parts: Iterable[Tone | Gap | Source], sample_rate: int) -> None:
        self.sample_rate = sample_rate
        spans: list[Span] = []
        self._sources: list[Source | None] = []
        at: int | None = 0
        for part in parts:
            if at is None:
                raise Problem(f"{spans[-1].part!r} never ends, so nothing can follow it")
            source = SteadyTone(part, sample_rate) if isinstance(part, Tone) else part
            frames = _gap_frames(part, sample_rate) if isinstance(source, Gap) else source.frames
            spans.append(Span(at, frames, part))
            self._sources.append(None if isinstance(source, Gap) else source)
            at = None if frames is None else at + frames
        self.spans = tuple(spans)
        self._starts = [span.start for span in spans]
        self._frames = at

    @property
    def frames(self) -> int | None:
        """Length in frames; None if the last part never ends."""
        return self._frames

    @property
    def description(self) -> str:
        """Its description for the screen."""
        parts = [span.part for span in self.spans if not isinstance(span.part, Gap)]
        if len(parts) == 1:
            return parts[0].description
        tones = [part for part in parts if isinstance(part, Tone)]
        if len(tones) != len(parts) or not tones:
            return ", then ".join(part.description for part in parts) or "silence"
        low, high = min(t.hz for t in tones), max(t.hz for t in tones)
        lasts = "" if self._frames is None else f", {self._frames / self.sample_rate:.1f} s in all"
        return f"{len(tones)} tones, {hertz(low)} to {hertz(high)}{lasts}"

    def render(self, start: int, frames: int) -> NDArray[np.float64]:
        """Samples from frame `start`, shape (frames, 2)."""
        out = np.zeros((frames, 2))
        first = max(0, bisect_right(self._starts, start) - 1)
        for span, source in zip(self.spans[first:], self._sources[first:], strict=True):
            if span.start >= start + frames:
                break
            ends = start + frames if span.frames is None else span.start + span.frames
            low, high = max(start, span.start), min(start + frames, ends)
            if source is not None and low < high:
                out[low - start : high - start] = source.render(low - span.start, high - low)
        return out


class Multitone:
    """A multitone: several tones at once.

    Args:
        tones: each with its own level and length.
        sample_rate: frames per second.

    Raises:
        Problem: an impossible tone, or tones whose peaks could exceed full scale together on a channel.
    """

    def __init__(self, tones: Ordered[Tone], sample_rate: int) -> None:
        self._tones = tuple(SteadyTone(tone, sample_rate) for tone in tones)
        for side in ("left", "right"):
            peak = sum(10.0 ** (t.dbfs / 20.0) for t in tones if t.channels in ("both", side))
            if peak > 1.0 + 1e-9:
                over = 20.0 * np.log10(peak)
                raise Problem(f"these tones together could pass full scale by {over:.1f} dB; lower each by that much")

    @property
    def frames(self) -> int | None:
        """Length of the longest tone; None if one never ends."""
        lengths = [tone.frames for tone in self._tones]
        known = [length for length in lengths if length is not None]
        return None if len(known) < len(lengths) else max(known, default=0)

    @property
    def description(self) -> str:
        """Their description for the screen."""
        return " with ".join(tone.description for tone in self._tones) or "silence"

    def render(self, start: int, frames: int) -> NDArray[np.float64]:
        """Samples from frame `start`, shape (frames, 2)."""
        out = np.zeros((frames, 2))
        for tone in self._tones:
            out += tone.render(start, frames)
        return out


def check_tone(tone: Tone, sample_rate: int) -> None:
    """Raise `Problem` for a tone that can't be sent."""
    if not 0.0 < tone.hz < sample_rate / 2:
        raise Problem(
            f"{hertz(tone.hz)} can't be sent: it must lie between 0 and {hertz(sample_rate / 2)}, half the rate"
        )
    if not -200.0 <= tone.dbfs <= 0.0:
        raise Problem(f"{as_given(tone.dbfs)} dBFS can't be sent: a sine reaches from −200 to 0 dBFS")
    if tone.seconds is not None and not 0.0 < tone.seconds < 1e6:
        raise Problem(f"a tone of {tone.seconds:g} s can't be sent: it must last longer than 0 s")


def envelope(n: NDArray[np.int64], frames: int | None, sample_rate: float) -> NDArray[np.float64]:
    """Raised-cosine edges: 0 outside, 1 in between.

    Args:
        n: frame numbers counted from the start of the tone.
        frames: length of the tone including its edges; None if it never ends.
        sample_rate: frames per second.
    """
    edge = round(EDGE_S * sample_rate)
    to_edge = n + 1
    if frames is not None:
        edge = min(edge, frames // 2)
        to_edge = np.minimum(to_edge, frames - n)
    if to_edge.min(initial=edge + 1) > edge:
        return np.ones(len(n))
    inside = np.clip(to_edge / (edge + 1), 0.0, 1.0)
    return 0.5 - 0.5 * np.cos(np.pi * inside)


def _part(cycles: NDArray[np.float64]) -> NDArray[np.float64]:
    """The fraction of a cycle; faster than numpy's `mod`, and as exact."""
    return cycles - np.floor(cycles)


def route_to_channels(mono: NDArray[np.float64], channels: Channels) -> NDArray[np.float64]:
    """A mono signal on one channel or both, shape (frames, 2)."""
    out = np.zeros((len(mono), 2))
    if channels != "right":
        out[:, 0] = mono
    if channels != "left":
        out[:, 1] = mono
    return out


def _gap_frames(gap: Tone | Gap | Source, sample_rate: int) -> int:
    seconds = gap.seconds if isinstance(gap, Gap) else None
    if seconds is None or not 0.0 <= seconds < 1e6:
        raise Problem(f"a gap of {seconds} s can't be sent: it must last 0 s or longer")
    return round(seconds * sample_rate)
