"""`interface`: measure the interface of the program, with its output looped to its input."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from bench.audio.port import Block
from bench.figures import as_given, hertz
from bench.measure.catalogue import A_WEIGHTED
from bench.measure.meters import make_meter
from bench.measure.method import Method
from bench.measure.reading import NoReading, Reading, Result
from bench.problem import Problem
from bench.procedure.kinds.activity import WAIT, Activity, View, ask_about
from bench.procedure.kinds.bench import Bench, JudgedReading
from bench.procedure.kinds.correct.reference_tape import difference
from bench.procedure.model.loop_target import loop_target
from bench.procedure.model.steps import InterfaceStep, LoopTone
from bench.procedure.model.targets import judge
from bench.procedure.state.event_words import event_sentence
from bench.procedure.state.events import Accepted, Answered, InputProcessed
from bench.procedure.state.snapshot import Prompt
from bench.signals.tones import SteadyTone, Tone

SETTLE_S = 2.0
"""Wait before a tone is read, for the delay of the loop and for an automatic gain to settle."""

READ_S = {"noise": 5.0, "distortion": 4.0}
"""Length of a reading; one second for anything else."""

SEPARATE = Method("level of the driven channel minus that of the other")
LIFTED_DB = 1.0
"""Change of a soft tone from which an automatic gain or a gate is reported. A choice."""


@dataclass(frozen=True, slots=True)
class Stimulus:
    """A tone, or silence, that is sent."""

    tone: LoopTone | None
    channels: Literal["both", "left", "right"] = "both"


def stimuli_of(step: InterfaceStep) -> tuple[Stimulus, ...]:
    """What a step sends, one after another."""
    if step.finds == "noise":
        return (Stimulus(None),)
    if step.finds == "channels":
        return Stimulus(step.sends[0], "left"), Stimulus(step.sends[0], "right")
    return tuple(Stimulus(t) for t in step.sends)


class InterfaceActivity(Activity[InterfaceStep]):
    """Sends and reads one tone after another, and computes what the step finds."""

    def __init__(self, step: InterfaceStep, bench: Bench) -> None:
        if bench.is_file:
            raise Problem("a file has no output to loop to its input")
        super().__init__(step, bench)
        self._stimuli = stimuli_of(step)
        self._read: list[tuple[Result, ...]] = []
        self._pieces: list[NDArray[np.float64]] = []
        self._frames = 0
        self._phase: Literal["ready", "sounding", "typing", "over"] = "ready"

    # ---------------------------------------------------------------- sounding

    def go_on(self) -> None:
        """Start to send."""
        if self._ask is not None:
            super().go_on()
            return
        if self._phase != "ready":
            raise Problem("it goes on automatically" if self._phase == "sounding" else "type what the instrument reads")
        self._phase, self.wants_sound = "sounding", True
        self._next()

    def _next(self) -> None:
        stimulus = self._stimuli[len(self._read)]
        self._pieces, self._frames = [], 0
        if stimulus.tone is None:
            self.bench.silence()
            return
        tone = Tone(stimulus.tone.hz, stimulus.tone.dbfs, None, stimulus.channels)
        self.bench.send(SteadyTone(tone, self.bench.port.status.sample_rate))

    def interrupted(self) -> None:
        """Read the present tone again from its start."""
        if self._phase == "sounding":
            self._next()

    def hear(self, block: Block) -> None:
        """Let the tone settle, then collect sound. A tone goes on while a person reads an instrument."""
        if self._phase != "sounding":
            return
        rate = self.bench.port.status.sample_rate
        self._frames += len(block.samples)
        if self._frames <= SETTLE_S * rate:
            return
        self._pieces.append(block.samples)
        if self._frames < (SETTLE_S + READ_S.get(self.step.finds, 1.0)) * rate:
            return
        self._read.append(self._measured(self._stimuli[len(self._read)], np.concatenate(self._pieces), rate))
        if len(self._read) < len(self._stimuli):
            self._next()
        elif self.step.finds in ("full-scale", "clock"):
            self._phase = "typing"
        else:
            self._conclude(self._found())

    def port_ended(self) -> None:
        """Nothing more will be heard."""
        self._conclude([NoReading("level", "both", "the sound ended")])

    def _measured(self, stimulus: Stimulus, samples: NDArray[np.float64], rate: int) -> tuple[Result, ...]:
        if stimulus.tone is None:
            kind, options, wanted = "noise", {}, "noise"
        elif self.step.finds == "distortion":
            kind, options, wanted = "distortion", {"fundamental": stimulus.tone.hz}, "third_harmonic"
        else:
            kind, options, wanted = "level", {"frequency": stimulus.tone.hz}, "level"
        meter = make_meter(kind, rate, samples.shape[1], options)
        meter.feed(samples)
        found = [r for r in meter.finish().readings if r.quantity == wanted]
        return tuple(r for r in found if kind != "noise" or r.method.name == A_WEIGHTED)

    # ---------------------------------------------------------------- what is found

    def _found(self) -> list[Result]:
        match self.step.finds:
            case "channels":
                return self._channels()
            case "response":
                return self._differences("response")
            case "linearity":
                return self._differences("linearity")
            case _:
                return list(self._read[0])

    def _channels(self) -> list[Result]:
        """Level of the driven channel minus the other; negative when they are swapped."""
        out: list[Result] = []
        for driven, (stimulus, heard) in enumerate(zip(self._stimuli, self._read, strict=True)):
            side: Literal["left", "right"] = "left" if stimulus.channels == "left" else "right"
            levels = {r.channel: r for r in heard}
            if len(levels) < 2:
                out.append(NoReading("separation", side, "the input has one channel"))
                continue
            bound: Literal["at least", "at most"] | None = None
            own, other = levels[side], levels["right" if driven == 0 else "left"]
            if isinstance(own, Reading) and isinstance(other, Reading):
                value, spread = own.value - other.value, math.hypot(own.uncertainty, other.uncertainty)
            elif isinstance(own, Reading):
                value, spread, bound = own.value - NOTHING_DBFS, 1.0, "at least"
            elif isinstance(other, Reading):
                value, spread, bound = NOTHING_DBFS - other.value, 1.0, "at most"
            else:
                out.append(NoReading("separation", side, "nothing came back: is the loop plugged in?"))
                continue
            hz = own.frequency_hz or other.frequency_hz
            out.append(Reading("separation", side, value, spread, frequency_hz=hz, method=SEPARATE, bound=bound))
        return out

    def _differences(self, quantity: str) -> list[Result]:
        """Each tone, returned minus sent, relative to the first."""
        first = self._stimuli[0].tone
        out: list[Result] = []
        if first is None:
            return out
        re = f"{hertz(first.hz)} at {as_given(first.dbfs)} dBFS"
        for stimulus, heard in zip(self._stimuli[1:], self._read[1:], strict=True):
            for reading, base in zip(heard, self._read[0], strict=True):
                if stimulus.tone is None or isinstance(base, NoReading):
                    out.append(NoReading(quantity, reading.channel, "the first tone did not come back"))
                    continue
                out.append(
                    difference(
                        quantity,
                        reading,
                        base.value + stimulus.tone.dbfs - first.dbfs,
                        base.uncertainty,
                        reference=re,
                        between="returned minus sent",
                    )
                )
        return out

    # ---------------------------------------------------------------- what is typed

    def answer(self, text: str) -> None:
        """Take the reading of the instrument, or a reason."""
        if self._ask is not None:
            self.accept(text)
            return
        if self._phase != "typing":
            raise Problem("nothing is asked yet: the tone sounds")
        unit = "V" if self.step.finds == "full-scale" else "Hz"
        try:
            number = float(text.replace(",", ".").removesuffix(unit).strip())
        except ValueError:
            number = math.nan
        if not (math.isfinite(number) and number > 0):
            raise Problem(
                f'"{text}" is no reading in {unit}; type it in figures, like {"0.775" if unit == "V" else 10000}'
            )
        self.bench.note(self.step.id, Answered(number, unit))
        self._conclude(self._full_scale(number) if unit == "V" else self._clock(number))

    def _full_scale(self, volts: float) -> list[Result]:
        """Full scale in volts: of the output from the level sent, of the input from the level returned."""
        tone = self._stimuli[0].tone
        part = self.step.instrument_percent / 100.0
        if tone is None:
            return []
        percent = self.step.instrument_percent
        method = Method("voltmeter", instrument_percent=percent, sent_hz=tone.hz, sent_dbfs=tone.dbfs)
        full = volts * 10 ** (-tone.dbfs / 20)
        of_output = Reading(
            "full_scale_output",
            "both",
            full,
            full * part,
            method=method,
            reference="full-scale sine (AES17), volts rms",
        )
        out: list[Result] = [of_output]
        for level in self._read[0]:
            if isinstance(level, NoReading):
                out.append(NoReading("full_scale_input", level.channel, "the tone did not come back"))
                continue
            full = volts * 10 ** (-level.value / 20)
            spread = full * math.hypot(part, math.log(10) / 20 * level.uncertainty)
            of_input = replace(of_output, quantity="full_scale_input", channel=level.channel, value=full)
            out.append(replace(of_input, uncertainty=spread))
        return out

    def _clock(self, heard_hz: float) -> list[Result]:
        """Error of the sample clock in parts per million, positive for fast."""
        tone = self._stimuli[0].tone
        if tone is None:
            return []
        ppm = (heard_hz / tone.hz - 1.0) * 1e6
        counter = self.step.instrument_percent * 1e4
        method = Method("counter", instrument_ppm=counter, sent_hz=tone.hz)
        if abs(ppm) > 20000:
            return [
                NoReading("clock_error", "both", f"{hertz(heard_hz)} is not the tone that is sent ({hertz(tone.hz)})")
            ]
        return [Reading("clock_error", "both", ppm, counter, frequency_hz=tone.hz, method=method)]

    # ---------------------------------------------------------------- the end

    def _conclude(self, readings: Sequence[Result]) -> None:
        self._phase, self.wants_sound = "over", False
        self.bench.silence()
        target = loop_target(self.step)
        sent = [s.tone.dbfs for s in self._stimuli[1:] if s.tone is not None for _ in self._read[0]]
        taken = tuple(
            JudgedReading(r, judge(r, target), "machine", sent_db=sent[n] if self.step.finds == "linearity" else None)
            for n, r in enumerate(readings)
        )
        self.bench.keep(self.step, taken)
        found = input_processing(taken) if self.step.finds == "linearity" else None
        if found is not None:
            self.bench.note(self.step.id, found)
        self._ask = ask_about(self, taken)
        if self._ask is not None and found is not None:
            self._ask = replace(self._ask, text=f"{event_sentence(found, {})} {self._ask.text}")
        self.finished = self._ask is None

    def accept(self, reason: str) -> None:
        """Go on although something is not in."""
        if self._ask is None:
            raise Problem("it is not over yet")
        if not reason.strip():
            raise Problem("say why it is accepted: the report gives the reason")
        self.bench.note(self.step.id, Accepted(reason))
        self.finished = True

    def view(self) -> View:
        """Progress, or the question."""
        if self._ask is not None:
            return View(self._ask)
        match self._phase:
            case "ready":
                return View(Prompt("go-on", "Loop plugged in, loudspeakers down: start", sounds=True))
            case "typing":
                unit = "V" if self.step.finds == "full-scale" else "Hz"
                return View(Prompt("number", f"{self.step.title}: what does the instrument read?", unit=unit))
            case _:
                text = f"Measuring: {len(self._read) + 1} of {len(self._stimuli)}"
                return View(Prompt(WAIT.kind, text))


NOTHING_DBFS = -100.0
"""Highest level that a channel without a tone is taken to have. A choice."""


def input_processing(taken: Sequence[JudgedReading]) -> InputProcessed | None:
    """Processing that changes soft tones; None without any.

    An automatic gain raises soft tones more the softer they are; a gate or a noise suppression removes them.
    """
    worst = None
    for channel in ("left", "right", "mono"):
        points = [(t.sent_db, t.reading) for t in taken if t.reading.channel == channel and t.sent_db is not None]
        rows = sorted(points, reverse=True, key=lambda p: p[0])
        there = [(db, r.value) for db, r in rows if isinstance(r, Reading)]
        if len(there) < len(points):
            worst = InputProcessed("gate")
        if len(there) < 2:
            continue
        last_db, last = there[-1]
        steps = [b - a for (_, a), (_, b) in pairwise(there)]
        if last > LIFTED_DB and min(steps) > -LIFTED_DB / 2:
            return InputProcessed("automatic gain", last_db, last)
        if last < -LIFTED_DB and max(steps) < LIFTED_DB / 2:
            return InputProcessed("gate", last_db, last)
    return worst
