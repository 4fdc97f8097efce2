"""What rounds and ladders share: record tones, and read the middle of their replay."""

from __future__ import annotations

from abc import abstractmethod

from bench.audio.port import Block
from bench.measure.reading import Result
from bench.measure.verdict import Verdict
from bench.problem import Problem
from bench.procedure.kinds.activity import Activity
from bench.procedure.kinds.adjust.reader import ToneReader, label
from bench.procedure.kinds.adjust.trimmer_plans import TrimmerPlans
from bench.procedure.kinds.bench import Bench
from bench.procedure.kinds.record.passage import Passage, refuse_file
from bench.procedure.model.steps import Adjust
from bench.procedure.state.snapshot import Gauge

SOUND_S = 4.0
"""Length of the tones of one recording. A choice."""

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

    def end(self) -> None:
        """Stop sound; keep what was learnt about the trimmers."""
        self._plans.remember()
        super().end()

    def _record(self, *, waits: bool = False, goes_on: bool = False) -> Passage:
        """Record the tones; for `waits` and `goes_on` see `Passage`."""
        at_once = self.bench.job.machine.heads == 3
        self._passage = Passage(self.bench, self._reader.tones(SOUND_S), None, at_once=at_once, waits=waits)
        self._read_anew()
        self._passage.record(goes_on=goes_on)
        self.wants_sound = True
        return self._passage

    def _read_anew(self) -> None:
        self._reader.begin(SOUND_S - 2 * EDGE_S)

    def hear(self, block: Block) -> None:
        """Record, then replay and read the middle."""
        passage = self._passage
        if passage is None:
            return
        replayed = passage.hear(block)
        if replayed is not None:
            inside = replayed.between(EDGE_S, SOUND_S - EDGE_S)
            if len(inside):
                self._reader.feed(inside)
        if passage.phase in ("recorded", "over"):
            self._over(passage)

    @abstractmethod
    def _over(self, passage: Passage) -> None:
        """A recording that waits for its replay, or a replay, is over."""

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
