"""The average of a reading that wanders: its uncertainty, the band in which it wanders, and how long to look.

A tape's level wanders by some tenths of a dB, mostly more slowly than the gauge reads. So an adjustment is judged by
the average since the last turn. Its uncertainty follows from the scatter of averages over a second, which is learnt
over the whole step because a turn moves the average only, and from an allowance for slower wander.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field, replace

from bench.measure.reading import Contribution, Reading, Source

BLOCK_S = 1.0
"""Readings are averaged over this time; such averages are nearly independent."""

CORRELATED = 1.4
"""Ratio by which the variance of an average exceeds that of independent blocks, since neighbouring blocks are slightly
correlated. A choice, for wander with its corner at 0.5 Hz and above."""

SLOWER = 0.6
"""Standard deviation of slower wander relative to that of the readings. Common practice, no source: 40 % of the wander
at 0.2 Hz and more, of which the gauge, which averages over half a second, shows about two thirds."""

PRIOR_BLOCKS = 0.5
"""Weight of the scatter expected beforehand, in blocks."""

EXPECTED = 0.03
"""Scatter expected of a machine before any is seen, as a fraction of the tolerance."""

FEW = 1.5
"""Factor by which a scatter known from one difference is enlarged, falling in inverse proportion for more differences:
about Student's factor over 2, GUM table G.2."""

LONGEST_LOOK_S = 20.0
"""Longer looking gains little, because slower wander remains."""

MANY = 600
"""Readings whose deviations are remembered: a minute, so that the slowest wander of a belt is seen. A choice."""

PASSING: tuple[Source, ...] = ("noise", "ends of the tone", "dropouts", "wander", "slower wander")
"""Sources of uncertainty that an average replaces by the scatter it has seen."""

JUMP = 4.0
"""A reading this many standard deviations from the average shows that a trimmer was turned."""


@dataclass(slots=True)
class RunningAverage:
    """One reading since the last turn, and its wander over the whole step."""

    expected: float
    """Scatter expected before any is seen, standard deviation of a block."""
    since: float | None = None
    """Time of the first reading that counts, seconds; None before there is one."""
    _starts: float = -math.inf
    """Readings before this time are dropped."""
    _sum: float = 0.0
    _count: int = 0
    _block: list[float] = field(default_factory=list)
    _block_since: float = 0.0
    _blocks: list[float] = field(default_factory=list)
    _squares: float = 0.0
    _freedoms: float = 0.0
    _live: deque[float] = field(default_factory=lambda: deque(maxlen=MANY))
    """Deviations of readings from the average at the time."""

    def turned(self, starts: float) -> None:
        """Start again after a turn of the trimmer: readings count from the time `starts` on."""
        if len(self._blocks) > 1:
            mean = sum(self._blocks) / len(self._blocks)
            self._squares += sum((b - mean) ** 2 for b in self._blocks)
            self._freedoms += len(self._blocks) - 1
        self.since, self._starts, self._sum, self._count = None, starts, 0.0, 0
        self._block, self._blocks = [], []

    def add(self, now: float, value: float) -> None:
        """Add a reading taken at a time, seconds."""
        if now < self._starts:
            return
        if self.since is None:
            self.since = self._block_since = now
        self._sum += value
        self._count += 1
        self._live.append(value - self._sum / self._count)
        self._block.append(value)
        if now - self._block_since >= BLOCK_S:
            self._blocks.append(sum(self._block) / len(self._block))
            self._block, self._block_since = [], now

    def seconds(self, now: float) -> float:
        """How long the average has been taken."""
        return 0.0 if self.since is None else now - self.since

    @property
    def mean(self) -> float | None:
        """The average; None before the first whole block."""
        return self._sum / self._count if self._blocks else None

    @property
    def scatter(self) -> float:
        """Standard deviation of an average over a block, enlarged where few were seen."""
        squares, freedoms = self._squares, self._freedoms
        if len(self._blocks) > 1:
            mean = sum(self._blocks) / len(self._blocks)
            squares += sum((b - mean) ** 2 for b in self._blocks)
            freedoms += len(self._blocks) - 1
        if freedoms < 1:
            return max(self.expected, (1 + FEW) * self.deviation)
        return math.sqrt((PRIOR_BLOCKS * self.expected**2 + squares) / (PRIOR_BLOCKS + freedoms)) * (1 + FEW / freedoms)

    @property
    def deviation(self) -> float:
        """Standard deviation of the readings."""
        return math.sqrt(sum(d * d for d in self._live) / len(self._live)) if self._live else 0.0

    @property
    def seen(self) -> float:
        """Standard uncertainty of the average from the scatter that was seen."""
        return self.scatter * math.sqrt(CORRELATED / max(1, len(self._blocks)))

    @property
    def slower(self) -> float:
        """Standard uncertainty of the average from wander slower than the time over which it is taken."""
        return SLOWER * self.deviation

    @property
    def uncertainty(self) -> float:
        """Expanded uncertainty (k = 2) of the average as an estimate of the machine's long-run value."""
        return 2.0 * math.hypot(self.seen, self.slower)

    @property
    def band(self) -> float:
        """Half the width of the band in which 95 % of the readings lie."""
        return 2.0 * max(self.deviation, 0.1 * self.expected)

    def jumped(self, value: float, still: float) -> bool:
        """Whether a reading is so far from the average that a trimmer was turned; `still` is the least that counts."""
        mean = self.mean
        return mean is not None and abs(value - mean) > max(still, JUMP / 2.0 * self.band)

    def look_s(self, now: float, allowed: float) -> float:
        """How much longer to look until the average is known to plus or minus `allowed`, at most `LONGEST_LOOK_S`."""
        rest = LONGEST_LOOK_S - self.seconds(now)
        room = 0.25 * allowed**2 - self.slower**2
        blocks = math.ceil(CORRELATED * self.scatter**2 / room) if room > 0 and allowed > 0 else math.inf
        if rest <= 0 or len(self._blocks) >= blocks:
            return 0.0
        return min(rest, max(0.1 * BLOCK_S, blocks * BLOCK_S - self.seconds(now)))


def averaged(live: Reading, average: RunningAverage) -> Reading:
    """The average in place of the momentary reading; uncertainty from other sources than wander stays."""
    if average.mean is None:
        return live
    kept = tuple(c for c in live.budget if c.source not in PASSING)
    besides = live.uncertainty_without(*PASSING)
    budget = (*kept, Contribution("wander", average.seen), Contribution("slower wander", average.slower))
    return replace(
        live,
        value=average.mean,
        uncertainty=math.hypot(besides, average.uncertainty),
        budget=budget if live.budget else (),
    )
