"""`measure` of mistracking: computed from the level and response readings of this session; nothing sounds.

What is heard is judged: response error and mistracking together. The mistracking is kept beside it.
"""

from __future__ import annotations

from dataclasses import replace

from bench.measure.quantities.mistracking import mistracking
from bench.measure.reading import NoReading, Result
from bench.procedure.kinds.activity import WAIT, View
from bench.procedure.kinds.bench import Bench, JudgedReading
from bench.procedure.kinds.measure.measure import MeasureActivity
from bench.procedure.model.steps import Measure
from bench.procedure.model.targets import judge
from bench.procedure.state.record_to_replay import record_to_replay
from bench.words.mistracking import music_sentences


class MistrackingActivity(MeasureActivity):
    """Computes what is heard from readings in the journal."""

    def begin(self) -> None:
        """Compute it."""
        readings, said = mistracking_of(self.step, self.bench)
        taken = tuple(
            JudgedReading(r, judge(r, self._target) if r.quantity == "heard_error" else None, "record-replay")
            for r in readings
        )
        self.bench.notice = said
        self.keep(taken)

    def view(self) -> View:
        """The question, where it is not in."""
        return View(self._ask or WAIT)


def mistracking_of(step: Measure, bench: Bench) -> tuple[list[Result], str]:
    """`heard_error` and `mistracking` of each channel, from the steps that a step names or from the latest readings.

    Only readings of its own tape, where several are compared, and only with noise reduction out.
    """
    job = bench.job
    wanted = {s for name in step.of for s in job.steps_named(name, step.direction).steps}
    records = [r for r in bench.journal.records() if (r.step in wanted if wanted else r.lot == step.lot)]
    recorded = record_to_replay(records, "reverse" if step.direction == "reverse" else "")
    if recorded is None:
        which = ", ".join(step.of) or "this session"
        because = f"no level from record to replay was read at {which}, noise reduction out"
        return [NoReading("heard_error", "both", because)], ""
    system = job.machine.noise_reduction[0] if job.machine.noise_reduction else "type-b"
    found = mistracking(recorded.readings, system)
    level_db, response_db = recorded.level_sent_db, recorded.response_sent_db
    readings = [
        replace(r, method=replace(r.method, level_sent_db=level_db, response_sent_db=response_db))
        for r in found.readings
    ]
    return readings, music_sentences(found.maps)
