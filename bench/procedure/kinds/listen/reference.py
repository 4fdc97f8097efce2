"""`reference`: play the reference tape."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from statistics import median

from bench.figures import hertz
from bench.measure.quantities.azimuth import azimuth_of_tones, polarity_of
from bench.measure.quantities.speed import speed_of_tone
from bench.measure.reading import NoReading, Reading, ReferenceTone, Result
from bench.measure.tone.finding.found_tone import FoundTone
from bench.problem import Problem
from bench.procedure.kinds.activity import View
from bench.procedure.kinds.bench import Bench, JudgedReading
from bench.procedure.kinds.correct.interface import corrected
from bench.procedure.kinds.correct.reference_tape import expected_dbfs, fringes, response_re, with_tape
from bench.procedure.kinds.listen.expected_tones import Expected
from bench.procedure.kinds.listen.tone_list import ToneListActivity
from bench.procedure.model.sheets import Section
from bench.procedure.model.steps import Reference
from bench.procedure.model.targets import Target
from bench.procedure.state.journal import ReadingSource
from bench.tape.geometry import angle_arcmin
from bench.words.figures import tone

LONG_ENOUGH_S = 45.0
"""After this long the last tone of a tape is taken before its end. A cassette with a single tone plays it for minutes;
longer listening would narrow the uncertainty of a level by little. A choice."""

LEAST_S = 0.7
"""A tone that is shorter is no section: it is a vowel of an announcement, or a distortion product that comes and goes
while a tone clips. Sections last from five seconds to minutes (common practice, no source)."""
OTHERS = 3
"""So many other tones show at what speed the tape plays."""
OF_ANOTHER_TONE = 0.03
"""No machine changes its speed by so much between two tones. 3000 Hz and 3150 Hz differ by 5 %."""


class ReferenceActivity(ToneListActivity[Reference]):
    """Recognises the sections of the reference tape as they play."""

    source: ReadingSource = "reference tape"

    def __init__(self, step: Reference, bench: Bench) -> None:
        super().__init__(step, bench)
        self._targets: dict[str, Target] = {q: self.job.target(name) for q, name in step.targets.items()}
        wanted = [s for s in self.job.reference_tape.section if not step.purposes or s.purpose in step.purposes]
        self._sections: dict[str, Section] = {s.id: s for s in wanted}
        self.on_tape = [
            Expected(s.id, s.hz, expected_dbfs(self.job, s), s.purpose, _label(s), s.db, s.id in self._sections)
            for s in self.job.reference_tape.section
        ]
        self.expected = [e for e in self.on_tape if e.wanted]
        self._zero = response_zero(wanted)
        self._pending: list[Expected] = []
        self._levels_of_tapes: list[tuple[JudgedReading, str]] = []
        """Levels so far, each with its tape of the set."""

    def begin(self) -> None:
        """Play and listen; no key is needed."""
        hands = self.bench.hands
        if hands is not None:
            only = len(self._sections) == 1
            hands.rewind(next(iter(self._sections)) if only else None)
        self.bench.transport("play")
        self.listen()

    def is_due(self, expected: Expected, tone: FoundTone) -> bool:
        """Whether the tone is long enough for a section."""
        return tone.duration_s >= LEAST_S

    def is_long_enough(self, tone: Expected, seconds: float) -> bool:
        """Whether nobody need wait for the end of a tone: nothing else on its tape is wanted."""
        if self.bench.is_file or seconds < LONG_ENOUGH_S:
            return False
        tape = self._sections[tone.id].tape
        return not any(s.tape == tape and i != tone.id and i not in self.tones for i, s in self._sections.items())

    def wind_on(self) -> None:
        """Load the next tape of the set, where the program can."""
        following = next((i for i in self._sections if i not in self.tones), None)
        if self.bench.hands is not None and following is not None:
            self.bench.hands.rewind(following, on=True)

    def readings(self, tone: Expected) -> list[JudgedReading]:
        """The readings of a section by its purpose: level and balance, response, azimuth, speed."""
        match tone.purpose:
            case "level":
                return self._level(tone)
            case "response":
                return self._response(tone)
            case "azimuth":
                return self._azimuth(tone)
            case _:
                return self._speed(tone)

    def not_heard_yet(self, tone: Expected) -> None:
        """Forget a response that waits for the tone that it is relative to."""
        self._pending = [e for e in self._pending if e is not tone]

    def levels(self, tone: Expected) -> list[Result]:
        """Level of each channel, corrected for the interface."""
        return [corrected(r, self.job, looped=False) for r in super().levels(tone)]

    def _taken(self, tone: Expected, reading: Result, quantity: str, offset: float = 0.0) -> JudgedReading:
        target = self._targets.get(quantity)
        if quantity == "response" and fringes(self.job, tone.hz):
            target = None
            if isinstance(reading, Reading):
                reading = replace(reading, method=replace(reading.method, fringing=True))
        verdict = self.judged(reading, target, offset=offset)
        tone.readings.append((reading, verdict))
        return JudgedReading(reading, verdict, self.source, sent_db=self._sections[tone.id].db)

    def _level(self, tone: Expected) -> list[JudgedReading]:
        found = self.tones[tone.id]
        readings = [with_tape(r, self.job, self._sections[tone.id]) for r in self.levels(tone)]
        out = [self._taken(tone, r, "level", tone.dbfs) for r in readings]
        self._compare_tapes(tone, out)
        balance = found.balance
        no_level = next((r for r in readings if isinstance(r, NoReading)), None)
        if isinstance(balance, Reading) and no_level is not None:
            balance = NoReading("balance", balance.channel, no_level.reason, method=balance.method)
        if "balance" in self._targets and balance is not None:
            out.append(self._taken(tone, replace(balance, frequency_hz=tone.hz), "balance"))
        return out

    def _response(self, tone: Expected) -> list[JudgedReading]:
        zero = self._zero
        if zero is None:
            return []
        self._pending.append(tone)
        if zero.id not in self.tones:
            return []
        out: list[JudgedReading] = []
        for e in self._pending:
            out += self._response_of(e, zero)
        self._pending = []
        return out

    def _response_of(self, tone: Expected, zero: Section) -> list[JudgedReading]:
        section = self._sections[tone.id]
        out = []
        if section.id == zero.id:
            return []
        bases = self.levels(next(e for e in self.expected if e.id == zero.id))
        for reading, base in zip(self.levels(tone), bases, strict=True):
            response = response_re(reading, base, section.db - zero.db, reference=ReferenceTone(zero.hz, zero.db))
            errors = section.recorded_error_db - zero.recorded_error_db
            out.append(self._taken(tone, with_tape(response, self.job, section, zero), "response", errors))
        return out

    def _compare_tapes(self, tone: Expected, taken: list[JudgedReading]) -> None:
        """Report where two tapes of a set give levels that differ by more than their uncertainties."""
        section = self._sections[tone.id]
        for now in taken:
            for before, there in self._levels_of_tapes:
                same = before.reading.channel == now.reading.channel and there != section.tape
                apart = _apart_db(before, now) if same else None
                if apart is not None:
                    self.bench.notice = (
                        f"{there} and {section.tape} disagree by {apart:.1f} dB, more than their uncertainties allow: "
                        "one of them is worn, or its sheet is wrong."
                    )
        self._levels_of_tapes += [(t, section.tape) for t in taken if t.reading.quantity == "level"]

    def _azimuth(self, tone: Expected) -> list[JudgedReading]:
        """The delay so far. It is judged after the last azimuth tone, because only all of them resolve whole cycles."""
        sections = [i for i, s in self._sections.items() if s.purpose == "azimuth"]
        delay = self._delay(sections)
        if not all(i in self.tones for i in sections):
            tone.readings.append((delay, None))
            return []
        return self._judged_azimuth(tone, delay)

    def _delay(self, sections: Sequence[str]) -> Result:
        """The delay from those of these sections that were heard; any low tone shows the polarity."""
        inverted = polarity_of(list(self.tones.values()))
        if inverted is None:
            inverted = self.bench.inverted
        heard = [self.tones[i] for i in sections if i in self.tones]
        return with_tape(azimuth_of_tones(heard, inverted=inverted), self.job)

    def _judged_azimuth(self, tone: Expected, delay: Result) -> list[JudgedReading]:
        """The delay, and its angle where that is asked for."""
        best = self._highest(delay)
        out = [self._taken(tone, best, "azimuth_delay")]
        if "azimuth_angle" in self._targets:
            out.append(self._taken(tone, self._angle(best), "azimuth_angle"))
        return out

    def _angle(self, delay: Result) -> Result:
        speed, spacing = self.job.machine.speed_mm_s, self.job.machine.track_spacing_mm
        if isinstance(delay, NoReading):
            return replace(delay, quantity="azimuth_angle")
        angle, spread = (float(angle_arcmin(us, spacing, speed)) for us in (delay.value, delay.uncertainty))
        method = replace(delay.method, speed_mm_s=speed, track_spacing_mm=spacing)
        return replace(delay, quantity="azimuth_angle", value=angle, uncertainty=spread, method=method)

    def _highest(self, delay: Result) -> Result:
        """The delay with the frequency of the highest tone, which resolves it best."""
        highest = max(s.hz for i, s in self._sections.items() if s.purpose == "azimuth" and i in self.tones)
        return replace(delay, frequency_hz=highest)

    def _speed(self, tone: Expected) -> list[JudgedReading]:
        readings = speed_of_tone(self.tones[tone.id], self._sections[tone.id].hz)
        hz = self._recorded_hz(tone)
        if hz is not None:
            why = (
                f"by the other tones {hertz(tone.hz)} is {hertz(hz)} on this tape: correct its sheet or change the tape"
            )
            readings = [NoReading(r.quantity, r.channel, why, frequency_hz=tone.hz) for r in readings]
        own = [with_tape(corrected(r, self.job, looped=False), self.job) for r in readings]
        return [self._taken(tone, r, "speed_error") for r in own]

    def _recorded_hz(self, tone: Expected) -> float | None:
        """Frequency of a tone at the speed that the other tones show; None if it is that of its section."""
        played = {i: _ratio(found, self._sections[i].hz) for i, found in self.tones.items() if i in self._sections}
        others = [p for i, p in played.items() if p is not None and self._sections[i].purpose != "speed"]
        own = played.get(tone.id)
        if own is None or len(others) < OTHERS:
            return None
        apart = own / median(others)
        return None if abs(apart - 1.0) < OF_ANOTHER_TONE else round(tone.hz * apart, -1)

    def missing(self, tone: Expected) -> list[JudgedReading]:
        """The readings of a section that was not heard."""
        quantity = {"level": "level", "response": "response", "azimuth": "azimuth_delay"}.get(
            tone.purpose, "speed_error"
        )
        if self._zero is not None and tone.id == self._zero.id:
            return [t for e in self._pending for t in self.not_heard("response", e, self._targets.get("response"))]
        if tone.purpose == "azimuth":
            return self._azimuth_without(tone)
        return self.not_heard(quantity, tone, self._targets.get(quantity))

    def _azimuth_without(self, tone: Expected) -> list[JudgedReading]:
        """Azimuth with a tone missing: at the last azimuth tone, what the other tones show, or no reading."""
        sections = [e for e in self.expected if e.purpose == "azimuth"]
        if tone is not [e for e in sections if e.id not in self.tones][-1]:
            return []
        if not any(e.id in self.tones for e in sections):
            because = "no azimuth tone was heard"
            reading = NoReading("azimuth_delay", "left-right", because, frequency_hz=tone.hz)
            return [self._taken(tone, reading, "azimuth_delay")]
        return self._judged_azimuth(tone, self._delay([e.id for e in sections]))

    def go_on(self) -> None:
        """Ask before ending the pass: a key pressed by mistake must not lose it."""
        super().go_on()
        if self._ask is None:
            raise Problem("not all tones have come: let the tape play, or give a reason to end it here")

    def view(self) -> View:
        """The list of tones; the pass can be ended with a reason."""
        return replace(super().view(), can_accept=self._ask is None)


def _ratio(found: FoundTone, recorded_hz: float) -> float | None:
    """Played to recorded frequency of a tone; None if no channel has it."""
    return next((t.frequency_hz / recorded_hz for t in found.tones if t.present), None)


def _apart_db(one: JudgedReading, other: JudgedReading) -> float | None:
    """Difference between the errors of two levels, dB; None when it is within their uncertainties."""
    a, b = one.reading, other.reading
    if not isinstance(a, Reading) or not isinstance(b, Reading) or one.verdict is None or other.verdict is None:
        return None
    apart = abs((a.value - one.verdict.target) - (b.value - other.verdict.target))
    return apart if apart > math.hypot(a.uncertainty, b.uncertainty) else None


def response_zero(sections: list[Section]) -> Section | None:
    """The section that the response is relative to.

    The first response section at the frequency of a level section, else the one nearest to 400 Hz; common practice.
    """
    response = [s for s in sections if s.purpose == "response"]
    levels = {s.hz for s in sections if s.purpose == "level"}
    same = [s for s in response if s.hz in levels]
    if same:
        return same[0]
    return min(response, key=lambda s: abs(s.hz / 400.0 - 1.0), default=None)


def _label(section: Section) -> str:
    """The tone, and what it is for; in a set, which tape it is on."""
    return f"{tone(section.hz, section.db)} ({section.tape or section.purpose})"
