"""One channel of a live adjustment: what is known of its reading since the last turn, and what to do about it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from bench.measure.reading import Channel, NoReading, Reading, Result
from bench.procedure.kinds.adjust.guidance import Advice, RecentReadings, Trend, TurnGuide, advised
from bench.procedure.kinds.adjust.overbias import OverbiasGuide
from bench.procedure.kinds.adjust.reader import AdjustReader, label
from bench.procedure.kinds.adjust.running_average import EXPECTED, LONGEST_LOOK_S, RunningAverage, averaged
from bench.procedure.kinds.adjust.seatings import Seatings
from bench.procedure.model.targets import judge
from bench.procedure.state.snapshot import Gauge

SET_TO = 0.5
"""Fraction of the tolerance to which azimuth is set in the first insertion; the mean of all is set later. A choice."""

PEAK_SEEN_DB = 0.15
"""Over-bias: a level is added to the curve once its average is known to within this. Slower wander does not count,
because two levels read in quick succession share it. A choice."""


@dataclass(frozen=True, slots=True)
class Moment:
    """The tone of a gauge."""

    now: float
    """Time of the reading, seconds."""
    settled: float
    """Time from which readings count if the trimmer is being turned now, seconds."""
    sees_trimmers: bool
    """Whether the program sees the machine's trimmers; if not, it tells a turn by a jump of the reading."""
    degrees: float | None
    """Position of the trimmer; None where the program does not see it."""
    searched: Channel
    """Over-bias: the channel whose peak is sought."""


class ChannelGauge:
    """Follows the reading of one channel.

    Args:
        channel: the channel.
        quantity: what is adjusted.
        reader: reads it, and knows its target and trimmer.
        seatings: the insertions of a cassette to average over; None where one is enough.
        over: follows the peak of bias; None for another quantity.
    """

    def __init__(
        self,
        channel: Channel,
        quantity: str,
        reader: AdjustReader,
        seatings: Seatings | None,
        over: OverbiasGuide | None,
    ) -> None:
        self.channel = channel
        self.over = over
        self.shown: Gauge | None = None
        """The gauge; None before the first reading."""
        self._label = label(quantity, channel)
        self._reader, self._seatings = reader, seatings
        self._tolerance = reader.tolerance
        self._guide = TurnGuide()
        self.forget()

    def forget(self) -> None:
        """Drop what was read, because sound was lost. The gauge stays until the next reading."""
        self._recent = RecentReadings()
        self._treble = RunningAverage(EXPECTED * self._tolerance)
        self._begin_average()

    def insert_again(self) -> None:
        """Drop the average and the gauge, because the cassette was taken out and put in again."""
        self.shown = None
        self._begin_average()

    def _begin_average(self) -> None:
        self.average = RunningAverage(EXPECTED * self._tolerance)
        self._last: Gauge | None = None

    @property
    def trimmer(self) -> str | None:
        """The trimmer that sets this channel; None without one."""
        return self._reader.trimmer(self.channel)

    @property
    def last(self) -> Gauge | None:
        """The gauge; if no tone sounds now, the last one with an average, which is still valid."""
        if self.shown is not None and self.shown.measured is None and self._last is not None:
            return self._last
        return self.shown

    def turned(self, settled: float) -> None:
        """Begin a new average after a turn of the trimmer: readings count from the time `settled` on, seconds."""
        for average in (self.average, self._treble):
            average.turned(settled)
        self._guide.turned()
        self._last = None

    def read(self, reading: Result, offset: float, at: Moment) -> None:
        """Take a reading, ten times a second; `offset` is that of its target."""
        reading = replace(reading, frequency_hz=self._reader.judged_hz)
        live = reading if isinstance(reading, Reading) else None
        trend = self._add(live.value, at) if live is not None else ""
        if live is not None and self.average.mean is not None:
            reading = self._over_insertions(averaged(live, self.average))
        turn, said, known, waits = None, "", self.average.mean is not None, False
        if self.over is not None:
            known = self._follow_peak(self.over, at)
            reading, turn, said = self._past_peak(self.over, reading, at)
            waits = at.searched != self.channel and isinstance(reading, NoReading)
        verdict = judge(reading, self._reader.target, offset=offset)
        mean_known = self.average.mean is not None
        gauge = Gauge(
            channel=self.channel,
            label=self._label,
            reading=reading,
            verdict=verdict,
            trend=trend,
            direction=said,
            trimmer=self.trimmer,
            held_s=self.average.seconds(at.now) if verdict.word == "in" and mean_known else 0.0,
            history=tuple(self._recent.points),
            band=self.average.band if mean_known else 0.0,
            now=live.value if live is not None else None,
            turn=turn if verdict.word != "in" else None,
        )
        advice, look_s = self._advised(gauge, at.now, known=known, waits=waits)
        said = said or self._direction(gauge, advice, look_s)
        self.shown = replace(gauge, advice=advice, look_s=look_s, direction=said)
        if gauge.measured is not None and gauge.band > 0:
            self._last = self.shown

    def _add(self, value: float, at: Moment) -> Trend:
        """Add a value to the average, unless the trimmer was just turned; returns the trend."""
        self._recent.add(at.now, value)
        trend = self._recent.trend(at.now, max(0.1 * self._tolerance, 1.2 * self.average.band))
        if not at.sees_trimmers and self.average.jumped(value, 0.15 * self._tolerance):
            self.turned(at.settled)
        self.average.add(at.now, value)
        return trend

    def _over_insertions(self, reading: Reading) -> Reading:
        """The mean over the insertions so far, with this reading for the last one."""
        seatings = self._seatings
        if seatings is None or seatings.stage != "done":
            return reading
        method = replace(reading.method, insertions=seatings.count)
        moved = replace(reading, value=reading.value + seatings.offset, method=method)
        return moved.widened("other passes", seatings.uncertainty)

    def _follow_peak(self, over: OverbiasGuide, at: Moment) -> bool:
        """Over-bias: add the averages of level and treble to the curve once known. Returns whether they are."""
        treble = self._reader.treble(self.channel)
        if treble is not None and self.average.since is not None:
            self._treble.add(at.now, treble)
        level, seen = self.average.mean, max(self.average.seen, self._treble.seen)
        if level is None or self._treble.mean is None:
            return False
        if 2.0 * seen > PEAK_SEEN_DB and self.average.seconds(at.now) < LONGEST_LOOK_S:
            return False
        over.add_steady(level, self._treble.mean, at.degrees)
        return True

    def _past_peak(self, over: OverbiasGuide, level: Result, at: Moment) -> tuple[Result, float | None, str]:
        """Over-bias from a level: its reading, the turn towards its target, and what to do before the peak."""
        reading = over.reading(level)
        sought = at.searched == self.channel
        turn = over.turn(self._reader.target.value, at.degrees) if sought and isinstance(level, Reading) else None
        if isinstance(reading, Reading):
            return reading, turn, ""
        if not sought:
            return reading, turn, f"leave it: the {at.searched} channel first"
        return reading, turn, over.direction() if isinstance(level, Reading) else ""

    def _advised(self, gauge: Gauge, now: float, *, known: bool, waits: bool) -> tuple[Advice, float]:
        """What to do next, and how much longer to look, seconds."""
        seatings = self._seatings
        if waits:
            return "hold", 0.0
        if not known or (seatings is not None and seatings.stage == "reading"):
            return "look", 0.0
        if seatings is None:
            return advised(gauge, self.average, now)
        if seatings.stage == "setting" and abs(gauge.off or 0.0) < SET_TO * self._tolerance:
            return "hold", 0.0
        return advised(gauge, self.average, now, seatings.known)

    def _direction(self, gauge: Gauge, advice: Advice, look_s: float) -> str:
        said = self._guide.direction(gauge.reading, gauge.verdict, gauge.trend)
        if advice == "look" and gauge.trend in ("", "steady"):
            return f"look {math.ceil(look_s)} s longer" if look_s else "wait for the average"
        return "hold" if advice == "hold" else said
