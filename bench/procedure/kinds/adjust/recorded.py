"""What rounds and ladders share: record tones, and read the middle of their replay."""

from __future__ import annotations

from abc import abstractmethod

from bench.audio.port import Block
from bench.measure.reading import Channel, NoReading, Reading, Result
from bench.measure.verdict import Verdict
from bench.problem import Problem
from bench.procedure.kinds.activity import Activity
from bench.procedure.kinds.adjust.reader import ToneReader, label
from bench.procedure.kinds.adjust.running_average import EXPECTED, RunningAverage, averaged
from bench.procedure.kinds.adjust.trimmer_plans import TrimmerPlans
from bench.procedure.kinds.bench import Bench
from bench.procedure.kinds.record.passage import Passage, refuse_file
from bench.procedure.model.steps import Adjust
from bench.procedure.state.snapshot import Gauge

SOUND_S, LONGER_S = 4.0, 10.0
"""Length of the tones of a recording, seconds: at first, and after a shorter one was too close to call. A choice."""

READ_EVERY_S = 0.25
"""Time between the readings that are averaged."""

EDGE_S = 0.4
"""Left out at both ends, because flutter moves the tones relative to the start mark."""


class RecordedAdjustActivity(Activity[Adjust]):
    """Records the tones of the step and reads them; subclasses decide what follows."""

    def __init__(self, step: Adjust, bench: Bench, plans: TrimmerPlans | None = None) -> None:
        refuse_file(bench, "be adjusted")
        super().__init__(step, bench)
        if not step.sends:
            raise Problem("rounds need tones to send; the reference tape is read live")
        self._reader = ToneReader(step, bench)
        self._plans = plans or TrimmerPlans(step, bench, self._reader)
        self._passage: Passage | None = None
        self._sound_s = SOUND_S
        self._averages: dict[Channel, RunningAverage] = {}
        self._trebles: dict[Channel, RunningAverage] = {}
        self._heard_s = self._next_read_s = 0.0

    def lost_sound(self) -> bool:
        """Record, or replay, again; while a machine with two heads records, nothing is listened to."""
        return self._passage is not None and self._passage.listens and super().lost_sound()

    def end(self) -> None:
        """Stop sound; keep what was learnt about the trimmers."""
        self._plans.remember()
        super().end()

    def _record(self, *, waits: bool = False, goes_on: bool = False) -> Passage:
        """Record the tones; for `waits` and `goes_on` see `Passage`."""
        at_once = self.bench.job.machine.heads == 3
        self._passage = Passage(self.bench, self._reader.tones(self._sound_s), None, at_once=at_once, waits=waits)
        self._read_anew()
        self._passage.record(goes_on=goes_on)
        self.wants_sound = True
        return self._passage

    def _read_anew(self) -> None:
        self._reader.begin()
        self._heard_s = self._next_read_s = 0.0
        for average in (*self._averages.values(), *self._trebles.values()):
            average.turned(0.0)

    def hear(self, block: Block) -> None:
        """Record, then replay and read the middle."""
        passage = self._passage
        if passage is None:
            return
        replayed = passage.hear(block)
        if replayed is not None:
            inside = replayed.between(EDGE_S, self._sound_s - EDGE_S)
            if len(inside):
                self._reader.feed(inside)
                self._average(len(inside) / replayed.rate)
        if passage.phase in ("recorded", "over"):
            self._over(passage)

    def _average(self, seconds: float) -> None:
        """Add what is read of the last sound to the averages."""
        self._heard_s += seconds
        if self._heard_s < self._next_read_s:
            return
        self._next_read_s = self._heard_s + READ_EVERY_S
        expected = EXPECTED * self._reader.tolerance
        for reading, _ in self._reader.readings():
            treble = self._reader.treble(reading.channel)
            if isinstance(reading, Reading):
                self._averages.setdefault(reading.channel, RunningAverage(expected)).add(self._heard_s, reading.value)
            if treble is not None:
                self._trebles.setdefault(reading.channel, RunningAverage(expected)).add(self._heard_s, treble)

    def _readings(self) -> list[tuple[Result, float]]:
        """The reading of each channel, averaged over the recording, and the offset of its target."""
        return [(self._averaged(reading), offset) for reading, offset in self._reader.readings()]

    def _averaged(self, last: Result) -> Result:
        average = self._averages.get(last.channel)
        return last if isinstance(last, NoReading) or average is None else averaged(last, average)

    def _treble(self, channel: Channel) -> float | None:
        """The level of the judged tone relative to the lower one, averaged over the recording, dB."""
        average = self._trebles.get(channel)
        return average.mean if average is not None else None

    @abstractmethod
    def _over(self, passage: Passage) -> None:
        """Go on after a replay, or after a recording that waits for its replay."""

    def _gauge(self, reading: Result, verdict: Verdict, history: tuple[tuple[float, float], ...] = ()) -> Gauge:
        return Gauge(
            channel=reading.channel,
            label=label(self.step.quantity, reading.channel),
            reading=reading,
            verdict=verdict,
            trend="",
            direction="",
            trimmer=self._reader.trimmer(reading.channel),
            history=history,
        )
