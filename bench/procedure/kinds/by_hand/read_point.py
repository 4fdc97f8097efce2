"""`entry` of a figure that a person reads at the machine: on its meters, or at a test point."""

from __future__ import annotations

import math

from bench.audio.port import Block, Instruments
from bench.figures import number
from bench.problem import Problem
from bench.procedure.kinds.activity import View
from bench.procedure.kinds.bench import Bench
from bench.procedure.kinds.by_hand.entry import EntryActivity
from bench.procedure.kinds.correct.reference_tape import expected_dbfs
from bench.procedure.kinds.record.passage import refuse_file, to_record
from bench.procedure.model.job import Job
from bench.procedure.model.sheets import CurrentTestPoint, Machine, NoiseReductionTestPoint
from bench.procedure.model.steps import Entry
from bench.procedure.state.events import Limits
from bench.procedure.state.snapshot import Prompt
from bench.signals.tones import Tone, ToneSequence
from bench.tape.encoding_curves import reference_level_db
from bench.words.figures import decibels

TOLERANCE_DB = 0.5
"""Common practice, no source."""
SETTLE_S = 3.0
"""How long a tone sounds before the meter is read."""
AT_MARK_DB = 0.1
"""A level this close to the noise-reduction mark is described as the mark."""


class ReadPointActivity(EntryActivity):
    """Plays the reference tape, or sends a tone, until the person has typed what the meter reads."""

    def __init__(self, step: Entry, bench: Bench) -> None:
        super().__init__(step, bench)
        self._records = step.plays is None
        if self._records:
            refuse_file(bench)
        self._entry = step
        self._expected = expected_at(step, bench.job)
        self._ready = not self._records
        self._heard = 0
        self._read: float | None = None
        """What the meter reads, on the practice machine only."""

    def hear(self, block: Block) -> None:
        """Once the tone is steady, read the practice machine's meter, which nobody else can see."""
        port, step = self.bench.port, self._entry
        self._heard += len(block.samples)
        if self._read is None and self._heard > SETTLE_S * port.status.sample_rate and isinstance(port, Instruments):
            self._read = port.reading_in(step.unit, step.reads or "")

    def begin(self) -> None:
        """Start to play; a tone waits for the go-on key."""
        if self._entry.plays is not None:
            if self.bench.hands is not None:
                self.bench.hands.rewind(self._entry.plays)
            self.bench.transport("play")
            self.wants_sound = True

    def go_on(self) -> None:
        """Start to record, with the tone where one is sent."""
        if self._ready:
            super().go_on()
            return
        self.bench.transport("record")
        for sent in self._entry.sends:
            dbfs = self.bench.job.machine.reference.send_dbfs + sent.db
            self.bench.send(ToneSequence([Tone(sent.hz, dbfs)], self.bench.port.status.sample_rate))
        self._ready = self.wants_sound = True

    def limits(self) -> Limits:
        """What the machine sheet says it should be."""
        return self._expected

    def view(self) -> View:
        """The question, with what is expected."""
        step = self._entry
        if not self._ready:
            what = to_record(self.bench, source=True)
            return View(Prompt("go-on", f"{what}: go on to start", sounds=bool(step.sends)))
        text = f"{step.title}: expected {expected_words(step, self.bench.job, self._expected)}"
        point = point_of(step, self.bench.job.machine)
        if point is not None:
            text += f", at the {point.where}"
        if self._read is not None:
            meter = "voltmeter" if step.unit == "mV" else "meter"
            text += f". The {meter} shows {number(self._read, 0 if step.unit == 'mV' else 1)} {step.unit}"
        return View(Prompt("number", text, unit=step.unit, instrument=step.reads or ""))


def point_of(step: Entry, machine: Machine) -> NoiseReductionTestPoint | CurrentTestPoint | None:
    """The test point that a step reads, as the machine sheet describes it; None for a meter."""
    points = {
        "encoder": machine.encoder_test_point,
        "decoder": machine.decoder_test_point,
        "erase": machine.erase_test_point,
        "bias": machine.bias_test_point,
    }
    return points.get((step.reads or "").partition(" ")[0])


def expected_at(step: Entry, job: Job) -> Limits:
    """What a point should read while the step plays or sends its tone.

    Raises:
        Problem: the machine sheet does not describe the point.
    """
    machine = job.machine
    if step.plays is not None:
        level_db = expected_dbfs(job, job.section(step.plays)) - job.replay_dbfs
    else:
        level_db = step.sends[0].db if step.sends else 0.0
    where = (step.reads or "").partition(" ")[0]
    if where == "meter":
        if machine.meters is None:
            raise Problem(
                f"step {step.id}: the machine sheet has no [meters], so that nothing says what they should show"
            )
        return Limits(level_db - machine.meters.zero_db, TOLERANCE_DB, source=machine.meters.source)
    point = point_of(step, machine)
    if point is None:
        raise Problem(f"step {step.id}: the machine sheet has no [{where}_test_point]")
    if isinstance(point, CurrentTestPoint):
        return _millivolts(point.mv, point.tolerance_percent / 100, point.source)
    mv = point.mv * 10 ** ((level_db - reference_level_db(machine.reference.fluxivity, job.tape.iec_type)) / 20)
    return _millivolts(mv, 10 ** (TOLERANCE_DB / 20) - 1, point.source)


def _millivolts(mv: float, tolerance: float, source: str) -> Limits:
    """Limits to four digits of the target, which is what a voltmeter shows; `tolerance` is a fraction."""
    places = 3 - math.floor(math.log10(mv))
    return Limits(round(mv, places), round(mv * tolerance, places), source=source)


def expected_words(step: Entry, job: Job, expected: Limits) -> str:
    """The expected figure in words; a level at the meters' noise-reduction mark is described as the mark."""
    if step.unit == "mV":
        return f"{number(expected.target, 0)} mV"
    meters = job.machine.meters
    mark = meters.noise_reduction_mark_db if meters is not None else None
    if meters is not None and mark is not None and abs(expected.target + meters.zero_db - mark) <= AT_MARK_DB:
        return f"the noise-reduction mark, {decibels(round(expected.target, 1))}"
    return decibels(round(expected.target, 1))
