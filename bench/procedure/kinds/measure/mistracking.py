"""`measure` of mistracking: computed from the level and response readings of this session; nothing sounds.

The judged figure is what is heard: response error and mistracking together. The mistracking alone is kept beside it.
For a tape from elsewhere, level and treble come from the tones on it, relative to its label.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from bench.figures import hertz
from bench.measure.method import Method
from bench.measure.quantities.mistracking import mistracking
from bench.measure.reading import NoReading, Reading, Result
from bench.procedure.kinds.activity import WAIT, View
from bench.procedure.kinds.bench import Bench, JudgedReading
from bench.procedure.kinds.measure.measure import MeasureActivity
from bench.procedure.model.steps import Measure
from bench.procedure.state.journal import ReadingRecord, ReadingSource
from bench.procedure.state.outcome import last_attempts
from bench.procedure.state.record_to_replay import record_to_replay
from bench.tape.mistracking_map import REFERENCE_LEVELS, ReplayErrors, mistracking_map
from bench.tape.noise_reduction import System
from bench.words.figures import decibels
from bench.words.mistracking import music_sentences

LEVEL_HZ = 1000.0
"""The tone nearest to this frequency gives the level of a tape."""
OWNERS: ReadingSource = "owner's tape"
OF_TONES = Method("from the tones on the tape, noise reduction out")
IF_OFF_DB = 2.0
"""Where no level is known, the reason includes what a level error of this size would do."""


class MistrackingActivity(MeasureActivity):
    """Computes what is heard from readings in the journal."""

    def begin(self) -> None:
        """Compute it."""
        readings, said, source = mistracking_of(self.step, self.bench)
        taken = tuple(
            JudgedReading(r, self.verdict(r) if r.quantity == "heard_error" else None, source) for r in readings
        )
        self.bench.notice = said
        self.keep(taken)

    def view(self) -> View:
        """The question, where it is not in."""
        return View(self._ask or WAIT)


def mistracking_of(step: Measure, bench: Bench) -> tuple[list[Result], str, ReadingSource]:
    """`heard_error` and `mistracking` of each channel, from the steps that a step names or from the latest readings.

    Only readings with noise reduction out count, and only those of the step's own tape where several are compared.
    """
    job = bench.job
    wanted = {s for name in step.of for s in job.steps_named(name, step.direction).steps}
    records = [r for r in bench.journal.records() if (r.step in wanted if wanted else r.lot == step.lot)]
    system = job.machine.noise_reduction[0] if job.machine.noise_reduction else "type-b"
    if any(isinstance(s, Measure) and s.quantity == "tape_level" for s in job.steps if s.id in wanted):
        found = mistracking(_of_tones(records), system)
        if not found.maps:
            zero = REFERENCE_LEVELS[system]
            return [NoReading("heard_error", "both", _unknown(system), method=OF_TONES, reference=zero)], "", OWNERS
        return list(found.readings), music_sentences(found.maps), OWNERS
    recorded = record_to_replay(records, "reverse" if step.direction == "reverse" else "")
    if recorded is None:
        which = ", ".join(step.of) or "this session"
        because = f"no level from record to replay was read at {which}, noise reduction out"
        return [NoReading("heard_error", "both", because)], "", "record-replay"
    found = mistracking(recorded.readings, system)
    level_db, response_db = recorded.level_sent_db, recorded.response_sent_db
    readings: list[Result] = [
        replace(r, method=replace(r.method, level_sent_db=level_db, response_sent_db=response_db))
        for r in found.readings
    ]
    return readings, music_sentences(found.maps), "record-replay"


def _of_tones(records: Sequence[ReadingRecord]) -> list[Reading]:
    """Level and response of each channel, from the tones on a tape."""
    tones = [
        r.measured
        for r in last_attempts(tuple(records))
        if r.reading.quantity == "tape_level" and r.measured is not None and r.measured.frequency_hz
    ]
    levels = {}
    for tone in sorted(tones, key=lambda t: -abs(math.log((t.frequency_hz or LEVEL_HZ) / LEVEL_HZ))):
        levels[tone.channel] = tone
    out = [replace(level, quantity="record_replay_level") for level in levels.values()]
    for tone in tones:
        level = levels[tone.channel]
        if tone is not level:
            out.append(
                replace(tone, quantity="response", value=tone.value - level.value).widened(
                    "other reading", level.uncertainty
                )
            )
    return out


def _unknown(system: System) -> str:
    """Why there is no reading for a tape without a tone, and what an error would do."""
    said = []
    for db in (-IF_OFF_DB, IF_OFF_DB):
        worst = mistracking_map(system, ReplayErrors(db))
        said.append(f"{decibels(round(worst.worst_db, 1))} at {hertz(worst.worst_hz)} for {decibels(db)}")
    return f"no level of this tape is known; an error of level is heard through a decoder as {' and '.join(said)}"
