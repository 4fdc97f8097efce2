"""What every kind of step shares: the situation it works in, and what it shows."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Generic, Literal, TypeVar

from bench.audio.port import Act, Block, Hands, Port, hands_of, perform
from bench.clock import Clock
from bench.measure.reading import Result
from bench.measure.verdict import Verdict
from bench.problem import Problem
from bench.procedure.model.job import Job
from bench.procedure.model.steps import Adjust, Measuring, StepBase
from bench.procedure.state.dependencies import to_check_again
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.events import Acted, CurveTaken, Turned, TurnedBack
from bench.procedure.state.journal import Journal, ReadingRecord
from bench.procedure.state.progress import Way
from bench.procedure.state.recent_sound import LONGEST_S, RecentSound
from bench.procedure.state.snapshot import CheckRow, Curve, FlutterPart, Gauge, Prompt, ToneRow
from bench.signals.source import Source

if TYPE_CHECKING:
    from bench.procedure.kinds.adjust.trimmer_response import Answering

Heard = Literal["reference tape", "record-replay", "machine"]

POLARITY_HZ = 1500.0
"""Half a period of a tone up to here is more than any azimuth screw can make: it is polarity."""
SAVE_AGAIN_S = 1.0
TURNED_S = 10.0
"""While a trimmer is turned only the last of the sound belongs to the reading."""

WAIT = Prompt("wait", "")
"""Nothing is asked now."""


@dataclass(frozen=True, slots=True)
class Taken:
    """A reading that an activity has taken, not yet kept."""

    reading: Result
    verdict: Verdict | None
    heard: Heard
    sent_db: float | None = None


@dataclass(frozen=True, slots=True)
class View:
    """What an activity shows; the runner makes the snapshot of it."""

    prompt: Prompt
    gauges: tuple[Gauge, ...] = ()
    tones: tuple[ToneRow, ...] = ()
    checks: tuple[CheckRow, ...] = ()
    timer_left_s: float | None = None
    curves: tuple[Curve, ...] = ()
    trimmers: tuple[str, ...] = ()
    can_accept: bool = False
    head_delay_s: float | None = None
    flutter: tuple[FlutterPart, ...] = ()
    spectrum: tuple[tuple[float, float], ...] = ()
    told: tuple[str, ...] = ()


SMALLEST_BACK = 0.05
"""Degrees: what is less is what the journal rounds."""


class Situation:
    """The bench as an activity meets it: what is on it, and where readings go."""

    def __init__(self, job: Job, port: Port, journal: Journal, clock: Clock) -> None:
        self.job = job
        self.port = port
        self.journal = journal
        self.clock = clock
        self.sending = ""
        self.notice = ""
        self.unsaved = ""
        self.attempt = 1
        self.last: tuple[Taken, ...] = ()
        self.turned: dict[str, list[float]] = {}
        """Turns at the step at hand that are not in the journal yet, degrees, by trimmer."""
        self.way = Way(job, journal)
        self.learnt: dict[tuple[str, str, float], Answering] = {}
        """How readings answered to trimmers so far, by trimmer, quantity and frequency."""
        self._recent: RecentSound | None = None
        self._tried = 0.0
        self._source: Source | None = None
        self._transport = ""

    @property
    def inverted(self) -> bool | None:
        """Whether one channel is the wrong way round, as the readings so far that can tell it say; None before."""
        told = [r.measured for r in self.journal.records() if r.reading.quantity == "azimuth_delay"]
        for reading in reversed([r for r in told if r is not None]):
            if reading.method.inverted:
                return True
            if reading.method.tones or (reading.frequency_hz or math.inf) <= POLARITY_HZ:
                return False
        return None

    @property
    def to_check_again(self) -> tuple[str, ...]:
        """What an adjustment disturbed and nothing has shown since."""
        return to_check_again(self.journal.events())

    @property
    def hands(self) -> Hands | None:
        """Hands on the machine, where the port has them."""
        return hands_of(self.port)

    @property
    def is_file(self) -> bool:
        """Whether a capture is played instead of a machine."""
        return self.port.status.kind == "file"

    def send(self, source: Source) -> int:
        """Send from now on; returns the input frame at which it begins."""
        begins = self.port.send(source)
        self.sending = source.description
        self._source = source
        return begins

    def silence(self) -> None:
        """Send nothing."""
        if self.sending:
            self.sending = ""
            self._source = None
            self.port.send(None)

    def transport(self, position: str) -> None:
        """Play, record or stop, where the program can; elsewhere the person does what the step says."""
        if self.hands is not None:
            self.hands.switch("transport", position)
            self._transport = position

    def hold(self) -> None:
        """Sound and tape stand still, to go on from here."""
        if self._source is not None:
            self.port.send(None)
        if self.hands is not None and self._transport in ("play", "record"):
            self.hands.switch("transport", "stop")

    def release(self) -> None:
        """The tape runs again, and what was being sent is sent from its start."""
        if self.hands is not None and self._transport in ("play", "record"):
            self.hands.switch("transport", self._transport)
        if self._source is not None:
            self.port.send(self._source)

    def keep(self, step: StepBase, taken: tuple[Taken, ...], because: str = "") -> None:
        """Keep readings in the journal; what can't be written yet is said and tried again with the next."""
        if not taken:
            return
        count = len(self.journal.records())
        now = self.clock.wall()
        records = tuple(
            ReadingRecord(
                id=f"r{count + n:04d}",
                step=step.id,
                stage=step.stage,
                judged=step.stage == "left" and t.verdict is not None,
                source=t.heard,
                reading=t.reading,
                verdict=t.verdict,
                time=now,
                sent_db=t.sent_db,
                accepted_because=because if t.verdict and t.verdict.word != "in" else "",
                attempt=self.attempt,
                lot=step.lot,
                noise_reduction=step.noise_reduction if isinstance(step, Measuring) else "off",
                direction="reverse" if step.direction == "reverse" else "",
            )
            for n, t in enumerate(taken, start=1)
        )
        self.last = taken
        if self._recent is not None:
            self._recent.taken(tuple(r.id for r in records))
        try:
            self.journal.keep(records)
            self.unsaved = ""
        except Problem as problem:
            self.unsaved = problem.sentence

    def heard(self, step: StepBase, block: Block) -> None:
        """A step hears this: it is held, where the sound behind readings is to be kept."""
        if self.journal.wants_sound:
            if self._recent is None:
                turned = isinstance(step, Adjust) and step.via in (None, "live")
                self._recent = RecentSound(self.port.status.sample_rate, TURNED_S if turned else LONGEST_S)
            self._recent.hear(block)

    def heard_from(self, frame: int) -> None:
        """A replay was found: what was heard before that frame belongs to no reading."""
        if self._recent is not None:
            self._recent.from_frame(frame)

    def sound_over(self) -> None:
        """The step is over: the sound behind its readings is kept."""
        sound = self._recent.over() if self._recent is not None else None
        self._recent = None
        if sound is not None:
            try:
                self.journal.keep_sound(sound)
            except Problem as problem:
                self.unsaved = problem.sentence

    def look_after_saving(self) -> None:
        """Try again, now and then, to write what could not be written."""
        if self.unsaved and self.clock.now() - self._tried >= SAVE_AGAIN_S:
            self._tried = self.clock.now()
            if self.journal.save_again():
                self.unsaved = ""

    def note(self, step: str, event: Event) -> None:
        """Keep an event of the step of this id, likewise."""
        try:
            self.journal.note(replace(event, step=step, time=self.clock.wall()))
            self.unsaved = ""
        except Problem as problem:
            self.unsaved = problem.sentence

    def keep_curve(self, step: Adjust, curve: Curve) -> None:
        """Keep what a reading did as a trimmer was turned, likewise."""
        trimmer = next((name for side, name in step.trimmers.items() if side in (curve.channel, "both")), "")
        facts = (step.quantity, trimmer, curve.channel, curve.along, curve.unit, curve.points)
        self.note(step.id, CurveTaken(*facts, frequency_hz=curve.frequency_hz))

    def do(self, act: Act, step: StepBase) -> None:
        """Something was done to the machine: let it be so on the practice machine, and note it."""
        hands = self.hands
        if hands is not None:
            perform(hands, act, self.job.lot_index(step.lot))
        self.note(step.id, Acted(act, step.lot))
        if act == "turn-back" and hands is not None:
            self._turn_back(step)

    def turn(self, trimmer: str, degrees: float) -> None:
        """Turn a trimmer of the practice machine; kept as far as it went, which is not beyond its stop.

        Raises:
            Problem: on a real machine the person turns it.
        """
        hands = self.hands
        if hands is None:
            raise Problem("this is a real machine: turn the trimmer by hand")
        before = {t.name: t.degrees for t in hands.trimmers()}
        hands.turn(trimmer, degrees)
        after = {t.name: t.degrees for t in hands.trimmers()}
        self.turned.setdefault(trimmer, []).append(after[trimmer] - before[trimmer])

    def _turn_back(self, step: StepBase) -> None:
        """Every trimmer to where it stood when the job began, by the turns that were counted."""
        counted = {name: sum(turns) for name, turns in self.turned.items()}
        for turned in of_kind(self.journal.events(), Turned):
            counted[turned.trimmer] = counted.get(turned.trimmer, 0.0) + sum(turned.degrees)
        for name, degrees in counted.items():
            if abs(degrees) < SMALLEST_BACK:
                continue
            self.turn(name, -degrees)
            self.note(step.id, TurnedBack(name, -degrees))


StepT = TypeVar("StepT", bound=StepBase)


class Activity(ABC, Generic[StepT]):
    """What happens at a step. It hears blocks, obeys the person and says when it is over."""

    def __init__(self, step: StepT, situation: Situation) -> None:
        self.step = step
        self.situation = situation
        self.finished = False
        self.wants_sound = False
        """Whether blocks should be read for it now."""

    def begin(self) -> None:
        """The step starts. Where something is to be sent, nothing sounds before the person says so."""

    @abstractmethod
    def view(self) -> View:
        """What there is to see now."""

    def hear(self, block: Block) -> None:
        """Sound came in."""

    def port_ended(self) -> None:
        """A capture is over: nothing more will be heard."""

    def interrupted(self) -> None:
        """The sound was lost for a while and is back."""

    def hold(self) -> None:
        """Everything pauses: timers stand."""

    def release(self) -> None:
        """It goes on; where something was heard, `interrupted` follows."""

    def go_on(self) -> None:
        """The one key."""

    def answer(self, text: str) -> None:
        """Something was typed. Raises `Problem` when it is no answer to what was asked."""
        raise Problem("nothing is asked here; press the go-on key")

    def tick(self, index: int) -> None:
        """Tick a line of the checklist."""
        raise Problem("there is no checklist here")

    def accept(self, reason: str) -> None:
        """Go on although something is not in."""
        raise Problem("there is nothing to accept here")

    def then(self) -> Activity[StepT] | None:
        """What carries the step on once this is finished; None when the step is over."""
        return None

    def end(self) -> None:
        """The step is left, whatever the reason: sound stops."""
        self.situation.silence()
        if self.wants_sound:
            self.situation.transport("stop")


def settle(activity: Activity[Any], taken: tuple[Taken, ...]) -> Prompt | None:
    """What is left to ask when all of a step's readings are taken; None when it may go on by itself."""
    if activity.step.stage != "left" or activity.situation.way.rounds_left(activity.step):
        return None
    bad = [t for t in taken if t.verdict is not None and t.verdict.word != "in"]
    if not bad:
        return None
    judged = sum(t.verdict is not None for t in taken)
    return Prompt("reason", f"{len(bad)} of {judged} readings are not in. Measure again, or say why you go on.")
