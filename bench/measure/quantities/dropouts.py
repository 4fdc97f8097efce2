"""Dropouts of a steady tone.

Formula
    The envelope of the tone is compared with its running level, the median over two seconds on either side, excluding
    parts without the tone. A dropout is a stretch at least 6 dB below that level for at least 5 ms, after which the
    envelope recovers. The tone must be there for half a second before and after, so that gaps between the words of an
    announcement do not count; nor do stretches far below the loudest one, which are print-through or hum. Length is the
    time between the threshold crossings, depth that of the deepest point below the running level. Rate: count divided
    by the time for which the tone is present.
Unit and reference
    Count; per minute; ms; dB below the running level.
Source
    Common practice, no source (6 dB and 5 ms are our defaults).
Accuracy
    Length within 0.6 ms, and depth down to 40 dB within 1 dB: the envelope filter (Gaussian, 6 dB down at 400 Hz)
    smooths over 1 ms. The effect of noise on the envelope is added: for the length, its scatter divided by the slope at
    the threshold. The filter makes a pointed dropout shallower, by half its variance times the curvature of the
    envelope at the deepest point: up to 0.5 dB this is included in the uncertainty, beyond that the depth is "at
    least". A dropout hardly deeper than the threshold crosses it late: one with steep sides reads too short, by 0.9 ms
    at 8 dB and 1.5 ms at 6.5 dB, which is included in the uncertainty. Tones below 1300 Hz need a narrower filter
    (three tenths of their frequency), which makes brief dropouts shallower and shorter; their depth is then "at least".
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Floats
from bench.figures import hertz
from bench.measure.meters import Options
from bench.measure.method import Method
from bench.measure.reading import Channel, Measured, NoReading, Reading, Result
from bench.measure.tone.baseband import derotated
from bench.measure.tone.chunk_meter import SpectraMeter
from bench.measure.tone.demodulator import Spectra
from bench.measure.tone.follower import SMOOTH_HZ, Chunk, Follower, Piece
from bench.measure.tone.meter import SEARCH_RANGE, CaptureCheck

THRESHOLD_DB = 6.0
SHORTEST_MS = 5.0
"""Least depth and length of a dropout; common practice, no source."""
LONGEST_S = 2.0
"""A longer absence is the end of the tone; our own choice."""
GROUP = 128
"""Points in a group (64 ms), which is judged as a whole to be tone or not."""
WINDOW = 2
"""Number of parts, each of one second, on either side over which the running level is taken."""
FEWEST = 4
"""Least number of groups with tone in them."""
BESIDE, SHARE_BESIDE = 8, 0.5
"""Groups before and after a dropout (half a second), and the least share of them with tone in them."""
FAR_BELOW = 10.0 ** (-30.0 / 20.0)
"""A running level lower than this fraction of the highest one is not that of the tone."""
TONAL = 0.7
LOWEST_HZ, HIGHEST_HZ = 100.0, 20000.0
LENGTH_UNCERTAINTY_MS = 0.6
"""For the widest filter; proportionally larger for a narrower one."""
SHALLOW_BELOW = 5.5
"""A dropout shorter than this multiple of that uncertainty reads too shallow."""
DEPTH_UNCERTAINTY_DB = 1.0
STEEP_POINTS = 4
"""Points on either side of a crossing over which its slope is measured; over fewer points noise dominates the slope."""
TAIL = STEEP_POINTS + 1
"""Points of a part that are kept for the next one."""
POINTED_DB = 0.5
"""If the filter made a dropout shallower by more than this, its depth is "at least"."""
METHOD = Method(f"at least {THRESHOLD_DB:g} dB below the running level for at least {SHORTEST_MS:g} ms")


@dataclass(frozen=True, slots=True)
class Dropout:
    """One dropout."""

    time_s: float
    length_ms: float
    depth_db: float
    length_scatter_ms: float
    """Standard deviation of the length: noise on the envelope divided by the slope of the sides."""
    depth_scatter_db: float
    """Standard deviation of the depth due to that noise."""
    pointed_db: float
    """Largest reduction of the depth by the filter."""
    level: float
    """The running level."""


@dataclass(frozen=True, slots=True)
class _Part:
    envelope: Floats
    start: int
    tonal: NDArray[np.bool_]
    """Which groups are tone."""
    levels: Floats
    """Median of the envelope in each of those groups."""
    scatters: Floats
    """Standard deviation of the envelope in each of those groups."""


@dataclass(slots=True)
class _Fall:
    """The envelope is below the threshold."""

    at: float
    jitter_s: float
    """Standard deviation of `at`."""
    level: float
    scatter: float
    """Of the envelope outside dropouts."""
    deepest: float = np.inf
    sharpest: float = np.inf
    """The deepest point, corrected for the filter."""

    def look(self, envelope: Floats, filled: float) -> None:
        """Process more of the dropout; `envelope` has one extra point at each end."""
        k = 1 + int(np.argmin(envelope[1:-1])) if len(envelope) > 2 else 0
        if k and envelope[k] < self.deepest:
            self.deepest = float(envelope[k])
            self.sharpest = self.deepest - filled * float(envelope[k - 1] - 2.0 * envelope[k] + envelope[k + 1])


@dataclass(slots=True)
class Envelope:
    """Watches the envelope of one channel, part by part, with a delay of two seconds."""

    follower: Follower
    rate: float
    _found: list[Dropout] = field(default_factory=list)
    _present: list[tuple[float, float]] = field(default_factory=list)
    """Running level of each part, and the time for which the tone was present in it."""
    turn: complex = 0j
    """Sum of the phase steps from point to point; its angle gives the frequency."""
    _parts: deque[_Part] = field(default_factory=deque)
    _next: int = 0
    _fall: _Fall | None = None
    _up: bool = False
    _last: Floats = field(default_factory=lambda: np.zeros(TAIL))

    def feed(self, z: NDArray[np.complex128], start: int) -> None:
        """Process the next points; the first has index `start`."""
        size = np.abs(z)
        self._parts.append(_Part(size, start, *_tone_levels(z, size, self.follower)))
        self.turn += complex(np.vdot(z[:-1], z[1:]))
        while len(self._parts) - self._next > WINDOW:
            self._step()

    def finish(self) -> None:
        """End the stream."""
        while self._next < len(self._parts):
            self._step()

    @property
    def found(self) -> list[Dropout]:
        """The dropouts of the tone."""
        return [d for d in self._found if d.level >= self._least]

    @property
    def seconds(self) -> float:
        """Time for which the tone was present."""
        return sum(seconds for level, seconds in self._present if level >= self._least)

    @property
    def _least(self) -> float:
        return FAR_BELOW * max((level for level, _ in self._present), default=0.0)

    def _sounds(self, start_s: float, end_s: float) -> bool:
        """Whether the tone is there for most of a time near the present part."""
        first = self._parts[0].start / self.rate
        groups = np.concatenate([p.tonal for p in self._parts])
        low, high = (round((t - first) * self.rate / GROUP) for t in (start_s, end_s))
        near = groups[max(0, low) : max(0, high)]
        return near.size > 0 and float(near.mean()) >= SHARE_BESIDE

    def _step(self) -> None:
        index, parts = self._next, self._parts
        part = parts[index]
        around = range(max(0, index - WINDOW), min(len(parts), index + WINDOW + 1))
        levels = np.concatenate([parts[k].levels for k in around])
        if len(levels) >= FEWEST:
            scatter = float(np.median(np.concatenate([parts[k].scatters for k in around])))
            level = float(np.median(levels))
            self._watch(part, level, scatter)
            self._present.append((level, np.count_nonzero(part.levels > FAR_BELOW * level) * GROUP / self.rate))
        else:
            self._fall, self._up = None, False
        self._last = np.concatenate([self._last, part.envelope])[-TAIL:]
        if index < WINDOW:
            self._next += 1
        else:
            parts.popleft()

    def _watch(self, part: _Part, level: float, scatter: float) -> None:
        """Find where the envelope falls below the threshold, and where it rises above the same threshold again."""
        envelope = np.concatenate([self._last, part.envelope])
        share = 10.0 ** (-THRESHOLD_DB / 20.0)
        filled = 0.5 * (self.sigma_s * self.rate) ** 2
        at, last = TAIL, len(envelope)
        while at < last:
            threshold = share * (level if self._fall is None else self._fall.level)
            below = envelope[at:] < threshold
            if self._fall is None:
                where = np.flatnonzero(below if self._up else ~below)
                if not len(where):
                    return
                k = at + int(where[0])
                if self._up:
                    began, jitter = self._crossing(part, envelope, k, threshold, scatter)
                    self._fall = _Fall(began, jitter, level, scatter)
                self._up = True
                at = k
                continue
            where = np.flatnonzero(~below)
            k = at + int(where[0]) if len(where) else last
            self._fall.look(envelope[at - 2 : k + 1], filled)
            if k == last:
                if part.start / self.rate - self._fall.at > LONGEST_S:
                    self._fall, self._up = None, False
                return
            self._rise(*self._crossing(part, envelope, k, threshold, self._fall.scatter))
            at = k

    def _rise(self, end: float, jitter_s: float) -> None:
        fall, self._fall = self._fall, None
        assert fall is not None
        length_ms = 1000.0 * (end - fall.at)
        beside_s = BESIDE * GROUP / self.rate
        between = self._sounds(fall.at - beside_s, fall.at) and self._sounds(end, end + beside_s)
        if length_ms >= SHORTEST_MS and end - fall.at <= LONGEST_S and between:
            depth, sharpest = _db(fall.deepest / fall.level), _db(fall.sharpest / fall.level)
            scatter = _db(1.0 - min(0.9, fall.scatter / (fall.deepest + fall.scatter)))
            jitter_ms = 1000.0 * float(np.hypot(jitter_s, fall.jitter_s))
            pointed = max(0.0, sharpest - depth)
            self._found.append(Dropout(fall.at, length_ms, depth, jitter_ms, scatter, pointed, fall.level))

    def _crossing(self, part: _Part, envelope: Floats, k: int, threshold: float, scatter: float) -> tuple[float, float]:
        """Time at which the envelope crossed the threshold before point k, seconds from the start of the stream.

        Its standard deviation is that of the envelope divided by the slope.
        """
        before, here = float(envelope[k - 1]), float(envelope[k])
        share = (threshold - before) / (here - before) if here != before else 1.0
        low, high = k - 1 - STEEP_POINTS, min(k + STEEP_POINTS, len(envelope) - 1)
        steep = abs(float(envelope[high] - envelope[low])) / (high - low) * self.rate
        return (part.start + k - 1 - TAIL + min(1.0, max(0.0, share))) / self.rate, scatter / max(steep, 1e-9)

    @property
    def sigma_s(self) -> float:
        """Standard deviation of the smooth filter's impulse response."""
        return float(np.sqrt(2.0 * np.log(2.0)) / (2 * np.pi * self.follower.smooth_hz))


def _db(share: float) -> float:
    """Depth of a ratio below 1, dB."""
    return -20.0 * float(np.log10(max(share, 1e-6)))


def _tone_levels(
    z: NDArray[np.complex128], size: Floats, follower: Follower
) -> tuple[NDArray[np.bool_], Floats, Floats]:
    """Which groups of points have a tone throughout, their phase hardly changing; and their median and scatter.

    The scatter is the interquartile range, scaled as for a normal distribution, so that a dropout does not count.
    """
    count = len(z) // GROUP
    if not count:
        return np.zeros(0, dtype=bool), np.zeros(0), np.zeros(0)
    z, size = z[: count * GROUP].reshape(count, GROUP), size[: count * GROUP].reshape(count, GROUP)
    turn = np.angle(np.sum(z[:, 1:] * np.conj(z[:, :-1]), axis=1))
    still = np.abs(np.mean(derotated(z, np.multiply.outer(turn, np.arange(GROUP))), axis=1))
    tonal = still > TONAL * np.sqrt(np.mean(size**2, axis=1))
    tonal &= follower.near(follower.oscillator_hz + turn * follower.spectra.rate / (2 * np.pi))
    low, middle, high = np.quantile(size[tonal], (0.25, 0.5, 0.75), axis=1)
    return tonal, middle, (high - low) / 1.349


class DropoutMeter(SpectraMeter):
    """`dropout_count`, `dropout_rate`, `dropout_depth`, `dropout_length` of each channel. Options: `frequency`."""

    def __init__(
        self, sample_rate: float, channels: int, options: Options | None = None, spectra: Spectra | None = None
    ) -> None:
        super().__init__(sample_rate, channels, options, spectra)
        asked = self.options.frequency
        low, high = (
            (LOWEST_HZ, HIGHEST_HZ) if asked is None else (asked * (1 - SEARCH_RANGE), asked * (1 + SEARCH_RANGE))
        )
        self._follower = Follower(self.spectra, low, high, steady=asked is None)
        self._envelopes: list[Envelope] = []

    def batch(self, chunks: list[Chunk]) -> None:
        """Follow the tone."""
        self._take(self._follower.take(chunks))

    def _take(self, pieces: list[Piece]) -> None:
        for piece in pieces:
            if piece.fresh:
                self._envelopes = [Envelope(self._follower, self.spectra.rate) for _ in range(self.channels)]
            z = self._follower.baseband(piece, shape="smooth")
            start = self._follower.start_of(piece)
            inside = self.inside(start, len(z))
            for channel, envelope in enumerate(self._envelopes):
                envelope.feed(z[inside, channel], start + inside.start)

    @property
    def seconds(self) -> float:
        """Time for which a tone was present, in the channel with most of it."""
        return max((e.seconds for e in self._envelopes), default=0.0)

    def _tone_hz(self) -> float | None:
        turns = [e.turn for e in self._envelopes if e.turn]
        if not turns:
            return None
        return self._follower.oscillator_hz + float(np.angle(sum(turns))) * self.spectra.rate / (2 * np.pi)

    def conclude(self, capture: CaptureCheck) -> Measured:
        """The dropouts of the tone that was followed."""
        self._take(self._follower.finish())
        asked = self.options.frequency
        because = "" if asked is None else self.too_high(asked)
        if not because and not self._envelopes:
            because = capture.why_nothing()
            if asked is not None and because == "no steady tone was found":
                because = f"no steady tone near {hertz(asked)} was found"
        hz = asked if asked is not None else self._tone_hz()
        readings: list[Result] = []
        for channel, side in enumerate(self.sides):
            why = because
            if not why:
                self._envelopes[channel].finish()
                if self._envelopes[channel].seconds <= 0.0:
                    why = "this channel holds no steady tone"
            if why:
                readings += [
                    NoReading(q, side, why, frequency_hz=hz, method=METHOD) for q in ("dropout_count", "dropout_rate")
                ]
            else:
                blur = LENGTH_UNCERTAINTY_MS * SMOOTH_HZ[1] / self._follower.smooth_hz
                readings += _readings(self._envelopes[channel], side, hz, blur)
        return Measured(tuple(readings))


def _readings(envelope: Envelope, side: Channel, hz: float | None, blur_ms: float) -> list[Reading]:
    count, minutes = len(envelope.found), envelope.seconds / 60.0
    rate, spread = count / minutes, 2.0 * np.sqrt(max(count, 1)) / minutes
    out = [
        Reading("dropout_count", side, float(count), 0.0, frequency_hz=hz, method=METHOD),
        Reading(
            "dropout_rate",
            side,
            rate,
            float(spread),
            frequency_hz=hz,
            method=replace(METHOD, seconds=envelope.seconds),
        ),
    ]
    for d in envelope.found:
        depth = Reading(
            "dropout_depth",
            side,
            d.depth_db,
            float(np.hypot(DEPTH_UNCERTAINTY_DB, 2.0 * d.depth_scatter_db)) + d.pointed_db,
            frequency_hz=hz,
            method=METHOD,
            bound="at least" if d.length_ms < SHALLOW_BELOW * blur_ms or d.pointed_db > POINTED_DB else None,
            reference="running level",
            time_s=d.time_s,
        )
        late = float(np.hypot(blur_ms + lateness_ms(d.depth_db, blur_ms), 2.0 * d.length_scatter_ms))
        out += [
            depth,
            Reading("dropout_length", side, d.length_ms, late, frequency_hz=hz, method=METHOD, time_s=d.time_s),
        ]
    return out


def lateness_ms(depth_db: float, blur_ms: float) -> float:
    """Shortening by the filter of a dropout with steep sides, ms.

    The envelope falls from 1 to d as 1 − (1 − d) Φ(t/σ) and crosses the threshold h at t = σ Φ⁻¹((1 − h) / (1 − d)).

    Args:
        depth_db: depth of the dropout, more than the threshold.
        blur_ms: length uncertainty of the filter, as `LENGTH_UNCERTAINTY_MS`.
    """
    sigma_ms = 1e3 * np.sqrt(2.0 * np.log(2.0)) / (2 * np.pi * SMOOTH_HZ[1]) * blur_ms / LENGTH_UNCERTAINTY_MS
    share = (1.0 - 10.0 ** (-THRESHOLD_DB / 20.0)) / (1.0 - 10.0 ** (-depth_db / 20.0))
    return float(2.0 * sigma_ms * NormalDist().inv_cdf(min(share, 0.998)))
