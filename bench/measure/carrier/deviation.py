"""The frequency of a followed carrier over time, with dropouts and clicks bridged.

The frequency is the phase step of the baseband from point to point. A point is bad if the envelope is more than 6 dB
from its running level, if there is no tone, or if the frequency jumps and returns at once (a click). A click is a
departure of more than eight standard deviations from both a low-passed course, which flutter follows, and the median
over 4 ms, which a step in speed follows. Bad stretches, widened by 6 ms, are bridged by a straight line between the
means of the 8 ms on either side; a bad stretch longer than half a second ends the good one.
"""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Floats

# No published source gives these figures: they are our choice, checked by tests/measure/quantities/test_flutter.py.

GROUP = 128
"""Points in a group, which is judged as a whole to be tone or not."""
GUARD = 12
"""Points by which a bad stretch is widened on either side: 6 ms."""
BESIDE = 16
"""Points to either side of a bridge; it runs from the mean of those before to the mean of those after."""
LONGEST_S = 0.5
"""A longer bad stretch is not bridged: the tone has ended."""
SHORTEST_S = 1.5
"""Bridges of a shorter stretch do not count: it is no carrier but its print-through, or the like."""
LOW, HIGH = 0.5, 2.0
"""Bounds of the envelope relative to its running level: ±6 dB."""
JUMP = 8.0
"""A frequency more than this many standard deviations from its surroundings belongs to a click."""
LEAST_JUMP = 2e-3
"""A smaller jump, as a fraction of the carrier frequency, is never a click."""
TONAL = 0.9
"""Least coherence of a tone: magnitude of the mean phase step over the mean magnitude; for noise it is about 0.4."""
CARRIER_RANGE = 0.06
"""Greatest difference between the mean frequency of a group and the carrier, as a fraction of the carrier."""
SPIKE_HALF = 4
SMOOTH_HALF = 20
SMOOTH_HZ = 280.0
"""Half lengths, in points, of the median and of the low-pass filter for detecting clicks; cutoff of that filter."""


class Deviation:
    """The frequency of one channel, fed with chunks of its baseband.

    Args:
        rate: points per second.
        oscillator_hz: the frequency that the baseband is centred on.
        carrier_hz: approximate frequency of the carrier.
    """

    def __init__(self, rate: float, oscillator_hz: float, carrier_hz: float) -> None:
        self.rate = rate
        self._oscillator, self._carrier = oscillator_hz, carrier_hz
        self._longest = round(LONGEST_S * rate)
        n = np.arange(-SMOOTH_HALF, SMOOTH_HALF + 1)
        smooth = np.sinc(2.0 * SMOOTH_HZ / rate * n) * np.hanning(len(n) + 2)[1:-1]
        self._smooth = smooth / smooth.sum()
        self._last = 0j
        self._levels: deque[float] = deque(maxlen=16)
        self._usual: deque[float] = deque(maxlen=16)
        self._hz = np.zeros(0)
        self._bad = np.zeros(0, dtype=bool)
        self._at = self._checked = self._dropped = 0
        self._inside = False
        self._began = self._counted = 0
        """Where the present stretch began, and the number of bridges before it."""
        self._tail = np.zeros(0)
        self.bridged: list[tuple[float, float]] = []
        """Bridges so far: start from the first point fed, and length, in seconds."""

    def feed(self, z: NDArray[np.complex128], edge: bool = False) -> list[Floats | None]:
        """Process the next points.

        Args:
            z: shape (points,).
            edge: they are the first of the stream, where the baseband filter is still filling.

        Returns:
            Stretches of frequency in Hz, in order, with None where the tone ended.
        """
        size = np.abs(z)
        step = z * np.conj(np.concatenate([[self._last], z[:-1]]))
        self._last = z[-1] if len(z) else self._last
        hz = self._oscillator + np.angle(step) * self.rate / (2 * np.pi)
        bad = self._judge(size, step)
        if edge:
            bad[:BESIDE] = True
        self._hz = np.concatenate([self._hz, hz])
        self._bad = np.concatenate([self._bad, bad])
        self._find_jumps()
        return self._release(self._checked - GUARD)

    def _judge(self, size: Floats, step: NDArray[np.complex128]) -> NDArray[np.bool_]:
        """Mask of the points with a bad envelope: in a group that is not a tone, all of them."""
        bad = np.ones(len(size), dtype=bool)
        starts = np.arange(0, len(size), GROUP)
        sums, sizes = np.add.reduceat(step, starts), np.add.reduceat(np.abs(step), starts)
        mean_hz = self._oscillator + np.angle(sums) * self.rate / (2 * np.pi)
        tonal = (np.abs(sums) > TONAL * sizes) & (sizes > 0.0)
        tonal &= np.abs(mean_hz - self._carrier) < CARRIER_RANGE * self._carrier
        for at in starts[tonal]:
            part = size[at : at + GROUP]
            self._levels.append(middle(part))
            level = middle(np.array(self._levels))
            bad[at : at + GROUP] = (part < LOW * level) | (part > HIGH * level)
        return bad

    def finish(self) -> list[Floats | None]:
        """End the stream; its last points, where the filter is emptying, are not used."""
        self._bad[len(self._bad) - BESIDE :] = True
        self._checked = len(self._bad)
        out = self._release(len(self._bad))
        if not self._inside:
            return out
        self._end(len(self._bad))
        return [*out, None]

    def _find_jumps(self) -> None:
        ready = len(self._hz) - SMOOTH_HALF
        start = max(self._checked, SMOOTH_HALF)
        if ready <= start:
            return
        around = self._hz[start - SMOOTH_HALF : ready + SMOOTH_HALF]
        off = np.abs(self._hz[start:ready] - np.convolve(around, self._smooth, mode="valid"))
        windows = np.lib.stride_tricks.sliding_window_view(around, 2 * SPIKE_HALF + 1)
        medians = np.partition(windows, SPIKE_HALF, axis=1)[:, SPIKE_HALF]
        lead = SMOOTH_HALF - SPIKE_HALF
        spike = np.abs(self._hz[start:ready] - medians[lead : lead + len(off)])
        off = np.minimum(off, spike)
        good = ~self._bad[start:ready]
        for at in range(0, len(off), GROUP):
            if good[at : at + GROUP].any():
                self._usual.append(middle(off[at : at + GROUP][good[at : at + GROUP]]))
        usual = 1.4826 * middle(np.array(self._usual)) if self._usual else np.inf
        self._bad[start:ready] |= off > max(JUMP * usual, LEAST_JUMP * self._carrier)
        self._checked = ready

    def _release(self, end: int) -> list[Floats | None]:
        """Release the points before `end` that are settled; keep the others."""
        out: list[Floats | None] = []
        wide = np.convolve(self._bad, np.ones(2 * GUARD + 1), mode="same") > 0.5
        at = self._at
        while at < end:
            if not self._inside:
                at = _next(~wide, at, end)
                self._inside, self._began = at < end, self._dropped + at
                continue
            stop = _next(wide, at, end)
            if stop > at:
                out.append(self._hz[at:stop].copy())
                self._tail = np.concatenate([self._tail, self._hz[at:stop]])[-BESIDE:]
                at = stop
                continue
            resume = _next(~wide, at, end)
            if resume - at > self._longest:
                out.append(None)
                self._end(at)
            elif resume + BESIDE > end:
                break
            else:
                ends = self._tail.mean(), self._hz[resume : resume + BESIDE].mean()
                out.append(np.linspace(*ends, resume - at + 2)[1:-1])
                self.bridged.append(((self._dropped + at + GUARD) / self.rate, (resume - at) / self.rate))
            at = resume
        self._forget(at)
        return out

    def _end(self, at: int) -> None:
        """End the stretch at this point."""
        if self._dropped + at - self._began < SHORTEST_S * self.rate:
            del self.bridged[self._counted :]
        self._counted = len(self.bridged)
        self._inside, self._tail = False, self._tail[:0]

    def _forget(self, at: int) -> None:
        """Discard the points before `at` that the next check of surroundings does not need."""
        old = max(0, at - GUARD - 2 * SMOOTH_HALF)
        self._hz, self._bad = self._hz[old:], self._bad[old:]
        self._at, self._checked, self._dropped = at - old, self._checked - old, self._dropped + old


def middle(x: Floats) -> float:
    """The (upper) median; faster than numpy's on short arrays."""
    half = len(x) // 2
    return float(np.partition(x, half)[half])


def _next(true: NDArray[np.bool_], start: int, end: int) -> int:
    """The first true index from `start` on; `end` if there is none before it."""
    where = np.flatnonzero(true[start:end])
    return start + int(where[0]) if len(where) else end
