"""The as-found readings of the tones of a step, shown next to the present ones."""

from __future__ import annotations

from bench.measure.catalogue import CURVES
from bench.procedure.model.steps import RecordReplay, Reference, StepBase
from bench.procedure.state.journal import Journal
from bench.procedure.state.snapshot import FoundPoint


class AsFound:
    """Searches the journal once for each step and each new reading."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal
        self._key: tuple[str, int] = ("", -1)
        self._points: tuple[FoundPoint, ...] = ()

    def points(self, step: StepBase | None) -> tuple[FoundPoint, ...]:
        """Readings of the same tones and source at the latest as-found stage; none for a step at such a stage.

        Responses where there are any, else levels, as in the curve of the step.
        """
        if step is None or step.stage != "left" or not isinstance(step, Reference | RecordReplay):
            return ()
        kept = self._journal.records()
        if self._key != (step.id, len(kept)):
            self._key, self._points = (step.id, len(kept)), self._look(step)
        return self._points

    def _look(self, step: Reference | RecordReplay) -> tuple[FoundPoint, ...]:
        source = "reference tape" if isinstance(step, Reference) else "record-replay"
        sent = {(t.hz, t.db) for t in step.sends} if isinstance(step, RecordReplay) else set()
        for quantity in CURVES:
            latest: dict[tuple[str, float], FoundPoint] = {}
            for record in self._journal.records():
                r, off = record.reading, record.off
                if (record.direction == "reverse") != (step.direction == "reverse"):
                    continue
                if record.stage == "left" or record.source != source or r.quantity != quantity:
                    continue
                if off is None or r.frequency_hz is None:
                    continue
                if sent and record.sent_db is not None and (r.frequency_hz, record.sent_db) not in sent:
                    continue
                point = FoundPoint(r.channel, r.frequency_hz, off, record.stage)
                latest[r.channel, r.frequency_hz] = point
            if len({hz for _, hz in latest}) > 1:
                return tuple(sorted(latest.values(), key=lambda p: (p.channel, p.frequency_hz)))
        return ()
