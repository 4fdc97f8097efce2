"""What `reference` and `record-replay` share: a list of tones, each recognised and measured as it comes."""

from __future__ import annotations

from abc import abstractmethod

import numpy as np

from bench.audio.port import Block, Samples
from bench.figures import hertz
from bench.measure.reading import NoReading, Reading, Result
from bench.measure.tone.finding.finder import FoundTone, ToneFinder
from bench.measure.tone.finding.found_tone import of_one_machine
from bench.measure.verdict import Verdict
from bench.procedure.kinds.activity import WAIT, Activity, StepT, View, ask_about
from bench.procedure.kinds.bench import Bench, JudgedReading
from bench.procedure.kinds.listen.expected_tones import AGAIN_DB, REACH, Expected, match, other_first
from bench.procedure.model.job import Job
from bench.procedure.model.targets import Target, judge
from bench.procedure.state.events import Accepted, StoppedListening
from bench.procedure.state.journal import ReadingSource
from bench.procedure.state.snapshot import Prompt
from bench.words.sentences import listed

CLIPPED_DBFS = -0.1
"""A steady tone from here up is clipped: its peaks, with hum and wander, pass full scale. A choice."""

LOOK_EVERY_S = 0.3
"""Time between two measurements of the present tone for the screen."""

AT_ONCE_S = 1.0
"""What sounds within this time of a tone that was taken before its end may be the rest of it."""


class ToneListActivity(Activity[StepT]):
    """Listens for expected tones; subclasses define them and their readings."""

    source: ReadingSource

    def __init__(self, step: StepT, bench: Bench) -> None:
        super().__init__(step, bench)
        self.expected: list[Expected] = []
        self.on_tape: list[Expected] = []
        """All tones that may be heard, in order, where that is more than the expected ones."""
        self.tones: dict[str, FoundTone] = {}
        self.taken: list[JudgedReading] = []
        self._finder: ToneFinder | None = None
        self.listens_from_s: float | None = None
        """Time at which the first sample that the finder was fed was sent; None before it."""
        self._frames = self._looked = 0
        self._peak = 0.0
        """Highest peak of what was heard, full scale 1."""
        self._cut: FoundTone | None = None
        """The tone that was taken before its end, whose rest is ignored."""
        self.speed = 1.0
        """Speed of the replay relative to the recording, where a start mark has shown it."""
        self.why_not = ""
        """Why no tone came, where that is known."""

    @property
    def job(self) -> Job:
        """What is on the bench."""
        return self.bench.job

    def levels(self, tone: Expected) -> list[Result]:
        """Level of each channel, under the nominal frequency."""
        found = self.tones[tone.id]
        return [self._unclipped(found.level(c, tone.hz)) for c in range(len(found.tones))]

    def _unclipped(self, level: Result) -> Result:
        """A level; no reading at full scale, which a file of floating-point samples alone can exceed."""
        if isinstance(level, NoReading) or level.value < CLIPPED_DBFS or self._peak > 1.0:
            return level
        why = "the tone is clipped at full scale: lower the machine's output or the interface's input"
        return NoReading(level.quantity, level.channel, why, frequency_hz=level.frequency_hz, method=level.method)

    @abstractmethod
    def readings(self, tone: Expected) -> list[JudgedReading]:
        """The readings of a tone that was just measured, and those it completes."""

    def is_long_enough(self, tone: Expected, seconds: float) -> bool:
        """Whether a tone that has sounded for so long is taken before its end."""
        return False

    def wind_on(self) -> None:
        """Go on to what comes after such a tone, where the program can."""

    # ---------------------------------------------------------------- listening

    def listen(self) -> None:
        """Start to recognise tones."""
        status = self.bench.port.status
        self._finder = ToneFinder(status.sample_rate, status.channels)
        self.listens_from_s = None
        self.wants_sound = True

    def interrupted(self) -> None:
        """Wait for the present tone again."""
        if self.wants_sound:
            self.listen()

    def hear(self, block: Block) -> None:
        """Recognise tones, and measure those that have ended."""
        self.take_sound(block.samples, lost=bool(block.lost))

    def take_sound(self, samples: Samples, *, at_s: float = 0.0, lost: bool = False) -> None:
        """Recognise and measure tones in samples; after lost sound begin the present tone again.

        Args:
            samples: frames by channels.
            at_s: the time at which the first of them was sent, where that is known.
            lost: whether sound was lost before them.
        """
        if self._finder is None:
            return
        status = self.bench.port.status
        if lost:
            self.listen()
        if self.listens_from_s is None:
            self.listens_from_s = at_s
        self._peak = max(self._peak, float(np.abs(samples).max(initial=0.0)))
        for tone in self._finder.feed(samples):
            self._take(tone)
        self._frames += len(samples)
        if self._frames - self._looked >= LOOK_EVERY_S * status.sample_rate:
            self._looked = self._frames
            self._show_current(self._finder.current)
        if self.wants_sound and all(e.state == "done" for e in self.expected):
            self.complete()

    def _show_current(self, current: FoundTone | None) -> None:
        for e in self.expected:
            if e.state == "sounding":
                e.state = "waiting"
                e.readings = []
        if current is None:
            return
        e_now = self._match(current)
        if e_now is None or not e_now.wanted or self._is_rest(current):
            return
        e_now.state = "sounding"
        e_now.readings = [(current.level(c, e_now.hz), None) for c in range(len(current.tones))]
        if self._finder is not None and self.is_long_enough(e_now, current.duration_s):
            ended = self._finder.finish()
            self.listen()
            for tone in ended:
                self._take(tone)
                self._cut = tone
            self.wind_on()

    def _is_rest(self, tone: FoundTone) -> bool:
        """Whether this is the rest of the tone that was taken before its end."""
        cut = self._cut
        return (
            cut is not None
            and tone.start_s < AT_ONCE_S
            and abs(tone.frequency_hz / cut.frequency_hz - 1) <= REACH
            and abs(tone.dbfs - cut.dbfs) <= AGAIN_DB
        )

    def _take(self, tone: FoundTone) -> None:
        for e in self.expected:
            if e.state == "sounding":
                e.state = "waiting"
                e.readings = []
        e_now = None
        if not self._is_rest(tone):
            e_now = self._match(tone) or self._match_anew(tone)
        self._cut = None
        if e_now is None:
            return
        e_now.state, e_now.heard_dbfs = "done", tone.dbfs
        self.tones[e_now.id] = of_one_machine([*self.bench.heard, tone])[-1]
        self.bench.heard.append(tone)
        if e_now.wanted:
            self._keep(self.readings(e_now))

    def _match(self, tone: FoundTone) -> Expected | None:
        on_tape = self.on_tape or self.expected
        return match(on_tape, tone.frequency_hz / self.speed, tone.dbfs, lambda e: self.is_due(e, tone))

    def _match_anew(self, tone: FoundTone) -> Expected | None:
        """Match a second tone which shows that the first was not the one it was taken for, if no reading was kept."""
        found = (
            None
            if self.taken
            else other_first(self.on_tape or self.expected, tone.frequency_hz / self.speed, tone.dbfs)
        )
        if found is None:
            return None
        was, first = found
        first.state, first.heard_dbfs = "done", was.heard_dbfs
        was.state, was.heard_dbfs, was.readings = "waiting", None, []
        self.tones[first.id] = self.tones.pop(was.id)
        self.not_heard_yet(was)
        if first.wanted:
            self._keep(self.readings(first))
        return self._match(tone)

    def not_heard_yet(self, tone: Expected) -> None:
        """Forget a tone that was taken for another."""

    def is_due(self, expected: Expected, tone: FoundTone) -> bool:
        """Whether the expected tone may sound when the one found does."""
        return True

    def _keep(self, taken: list[JudgedReading]) -> None:
        self.taken += taken
        self.bench.keep(self.step, tuple(taken))

    def judged(self, reading: Result, target: Target | None, *, offset: float = 0.0) -> Verdict | None:
        """The verdict on a reading; None without a target."""
        if target is None:
            return None
        if target.bands and isinstance(reading, Reading) and target.tolerance_at(reading.frequency_hz) is None:
            return None
        return judge(reading, target, offset=offset)

    # ---------------------------------------------------------------- the end

    def port_ended(self) -> None:
        """The capture has ended: what was not heard is missing."""
        if self._finder is not None:
            for tone in self._finder.finish():
                self._take(tone)
            self._finder = None
        self.complete()

    def complete(self) -> None:
        """Stop listening: keep what is missing as such, and ask where something is not in."""
        self.wants_sound = False
        self.bench.silence()
        self.bench.transport("stop")
        for e in self.expected:
            if e.state != "done":
                self._take_alike(e)
            if e.state != "done":
                e.state = "missing"
                self._keep(self.missing(e))
        self._keep(self.worked_out())
        self._ask = ask_about(self, tuple(self.taken))
        if self._ask is None:
            self.finished = True

    def _take_alike(self, wanted: Expected) -> None:
        """Take a tone that was ignored for one that it may be: only their order tells tones of one level apart."""
        for other in self.on_tape:
            if not other.wanted and other.state == "done" and other.is_like(wanted):
                wanted.state, wanted.heard_dbfs = "done", other.heard_dbfs
                self.tones[wanted.id] = self.tones[other.id]
                self._keep(self.readings(wanted))
                return

    def worked_out(self) -> list[JudgedReading]:
        """Readings computed from all others, after the last."""
        return []

    @abstractmethod
    def missing(self, tone: Expected) -> list[JudgedReading]:
        """The missing readings of a tone that never came."""

    def not_heard(self, quantity: str, tone: Expected, target: Target | None) -> list[JudgedReading]:
        """A `NoReading` for each channel."""
        because = self.why_not or f"the tone of {tone.label} was not heard"
        channels = self.bench.port.status.channels
        sides = ("left", "right")[:channels] if channels > 1 else ("mono",)
        out = []
        for side in sides:
            reading = NoReading(quantity, side, because, frequency_hz=tone.hz)  # type: ignore[arg-type]
            out.append(JudgedReading(reading, self.judged(reading, target), self.source))
        return out

    def accept(self, reason: str) -> None:
        """Go on although something is not in or not heard."""
        if self._ask is None:
            self.bench.note(self.step.id, StoppedListening(reason))
            self.complete()
            if self._ask is None:
                return
        self.bench.note(self.step.id, Accepted(reason))
        self.finished = True

    def answer(self, text: str) -> None:
        """Take the reason."""
        if self._ask is not None and text.strip():
            self.accept(text)
        else:
            super().answer(text)

    def view_with(self, prompt: Prompt) -> View:
        """The list of tones, and a question."""
        return View(self._ask or prompt, tones=tuple(e.row() for e in self.expected))

    def view(self) -> View:
        """The list of tones; nothing is asked while they come."""
        text = "Listening: each tone is ticked off as it comes, no key needed"
        missed = [hertz(e.hz) for e in self.expected if e.state == "waiting"]
        if missed and self.expected[-1].state == "done":
            text = f"Not heard yet: {listed(missed)}. Where the tape is past it: play it again, or accept without it"
        return self.view_with(Prompt(WAIT.kind, text))
