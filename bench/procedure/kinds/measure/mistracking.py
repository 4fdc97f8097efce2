"""`measure` of mistracking: nothing sounds, it is worked out from this session's own readings of level and response."""

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
    """Over at once, where the readings are there."""

    def begin(self) -> None:
        """Work it out."""
        readings, said = mistracking_of(self.step, self.bench)
        taken = tuple(JudgedReading(r, judge(r, self._target), "record-replay") for r in readings)
        self.bench.notice = said
        self.keep(taken)

    def view(self) -> View:
        """What is asked, where it is not in."""
        return View(self._ask or WAIT)


def mistracking_of(step: Measure, bench: Bench) -> tuple[list[Result], str]:
    """Mistracking of each channel by the readings that a step names or, where it names none, the latest.

    Those of one tape alone, where several are tried, and those taken with noise reduction out.
    """
    job = bench.job
    wanted = {s for name in step.of for s in job.steps_named(name, step.direction).steps}
    records = [r for r in bench.journal.records() if (r.step in wanted if wanted else r.lot == step.lot)]
    recorded = record_to_replay(records, "reverse" if step.direction == "reverse" else "")
    if recorded is None:
        which = ", ".join(step.of) or "this session"
        because = f"no level from record to replay was read at {which}, noise reduction out"
        return [NoReading("mistracking", "both", because)], ""
    system = job.machine.noise_reduction[0] if job.machine.noise_reduction else "type-b"
    found = mistracking(recorded.readings, system)
    level_db, response_db = recorded.level_sent_db, recorded.response_sent_db
    readings = [
        replace(r, method=replace(r.method, level_sent_db=level_db, response_sent_db=response_db))
        for r in found.readings
    ]
    return readings, music_sentences(found.maps)
