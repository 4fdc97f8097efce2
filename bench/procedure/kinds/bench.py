"""What an activity works with: the job, sound in and out, hands on the machine, and the journal."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace

from bench.audio.port import LOADS, Act, Block, Hands, Port, hands_of, perform
from bench.clock import Clock
from bench.measure.method import Method
from bench.measure.quantities.azimuth import polarity_kept
from bench.measure.reading import Reading, Result
from bench.measure.tone.finding.found_tone import FoundTone
from bench.measure.verdict import Verdict
from bench.memory import return_freed_memory
from bench.practice.facts import TrimmerPosition
from bench.problem import Problem
from bench.procedure.kinds.recent_sound import LONGEST_S, RecentSound
from bench.procedure.model.job import Job
from bench.procedure.model.steps import Adjust, Measuring, StepBase
from bench.procedure.state.dependencies import to_check_again
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.events import Acted, Answered, CurveTaken, Turned, TurnedBack
from bench.procedure.state.journal import Journal, ReadingRecord, ReadingSource
from bench.procedure.state.progress import Progress
from bench.procedure.state.snapshot import Curve
from bench.signals.source import Source

POLARITY = Method("by the delays of several tones, or of one low tone")
POLARITY_OF_PROGRAMME = Method("by the phase of what the channels share")
SAVE_AGAIN_S = 1.0
HEARD = 24
"""Tones that are remembered: two passes of a reference tape. More say little more about the law of wander."""
TURNED_S = 10.0
"""While a trimmer is turned, only the last seconds of sound belong to the reading."""

SCREW_HAS_PLAY = "the screw has play: after a change of direction the first few degrees move nothing"

SMALLEST_BACK = 0.05
"""Smaller turns are not turned back, degrees: the journal rounds them away."""


Figures = Callable[[], tuple[str, ...]]
"""Returns lines on what a choice costs, from the session so far."""


def no_figures() -> tuple[str, ...]:
    """No lines, for a run without a session."""
    return ()


@dataclass(frozen=True, slots=True)
class JudgedReading:
    """A reading with its verdict, before it is kept."""

    reading: Result
    verdict: Verdict | None
    source: ReadingSource
    sent_db: float | None = None


def with_polarity(taken: tuple[JudgedReading, ...]) -> tuple[JudgedReading, ...]:
    """Readings with one of polarity where a delay shows that one channel is inverted.

    It has a verdict, except on a tape from elsewhere: there the fault may be that of the machine that recorded it.
    """
    shown = next((t for t in taken if isinstance(t.reading, Reading) and t.reading.method.inverted), None)
    if shown is None or not isinstance(shown.reading, Reading) or any(t.reading.quantity == "polarity" for t in taken):
        return taken
    foreign = shown.source == "owner's tape"
    method = POLARITY_OF_PROGRAMME if foreign else POLARITY
    reading = Reading("polarity", shown.reading.channel, 180.0, 0.0, method=method, reference="left channel")
    verdict = None if foreign else Verdict("out", 0.0, tolerance=90.0, source="common practice, no source")
    return (*taken, JudgedReading(reading, verdict, shown.source))


class Bench:
    """The bench of one run. Activities send, listen, act on the machine and keep readings through it."""

    def __init__(self, job: Job, port: Port, journal: Journal, clock: Clock, choice: Figures = no_figures) -> None:
        self.job = job
        self.port = port
        self.journal = journal
        self.clock = clock
        self.choice_figures = choice
        self.sending = ""
        self.notice = ""
        self.unsaved = ""
        self.attempt = 1
        self.turned: dict[str, list[float]] = {}
        """Turns at the current step that are not in the journal yet, degrees, by trimmer."""
        self.progress = Progress(job, journal)
        self.heard: deque[FoundTone] = deque(maxlen=HEARD)
        """The last tones of this machine, at any step, which show together by which law it wanders."""
        self._recent: RecentSound | None = None
        self._tried = 0.0
        self._source: Source | None = None
        self._transport = ""
        self._play_said = False

    @property
    def inverted(self) -> bool | None:
        """Whether one channel is inverted, by the last reading that can show it; None without one."""
        delays = [r.measured for r in self.journal.records() if r.reading.quantity == "azimuth_delay"]
        shown = [polarity_kept(reading) for reading in delays if reading is not None]
        return next((inverted for inverted in reversed(shown) if inverted is not None), None)

    @property
    def to_check_again(self) -> tuple[str, ...]:
        """What adjustments disturbed and no reading has shown since."""
        return to_check_again(self.journal.events())

    @property
    def hands(self) -> Hands | None:
        """Hands on the machine; None where only a person can act on it."""
        return hands_of(self.port)

    @property
    def is_file(self) -> bool:
        """Whether the sound comes from a capture and not from a machine."""
        return self.port.status.kind == "file"

    def send(self, source: Source) -> int:
        """Start to send; returns the input frame at which it begins."""
        begins = self.port.send(source)
        self.sending = source.description
        self._source = source
        return begins

    def silence(self) -> None:
        """Stop sending."""
        if self._source is not None:
            self.sending = ""
            self._source = None
            self.port.send(None)

    def transport(self, position: str) -> None:
        """Play, record or stop where the program can; elsewhere the person follows the instruction of the step."""
        if self.hands is not None:
            self.hands.switch("transport", position)
            self._transport = position

    def wind(self, section: str | None, tone_hz: float | None) -> None:
        """Wind to what a step plays, where the program can.

        Args:
            section: section of the reference tape; None for the owner's tape.
            tone_hz: tone of the owner's tape; None for its programme.
        """
        if self.hands is None:
            return
        loads = [e.act for e in of_kind(self.journal.events(), Acted) if e.act in LOADS]
        if section is not None:
            self.hands.rewind(section)
        elif loads and loads[-1] == "load-owners-tape":
            self.hands.rewind(None if tone_hz is None else f"{tone_hz:g} Hz")

    def said_at(self, name: str | None) -> str | float | None:
        """The last answer at the step with this name; None without one."""
        steps = self.job.steps_named(name).steps if name is not None else ()
        said = [e.answer for e in of_kind(self.journal.events(), Answered) if e.step in steps]
        return said[-1] if said else None

    def figure_at(self, name: str | None) -> float:
        """The last number typed at the step with this name; 0 without one."""
        said = self.said_at(name)
        return said if isinstance(said, float) else 0.0

    def hold(self) -> None:
        """Pause sound and tape."""
        if self._source is not None:
            self.port.send(None)
        if self.hands is not None and self._transport in ("play", "record"):
            self.hands.switch("transport", "stop")

    def release(self) -> None:
        """Let the tape run again, and send the source again from its start."""
        if self.hands is not None and self._transport in ("play", "record"):
            self.hands.switch("transport", self._transport)
        if self._source is not None:
            self.port.send(self._source)

    def keep(self, step: StepBase, taken: tuple[JudgedReading, ...], because: str = "") -> None:
        """Keep readings in the journal. What cannot be written is reported, and written with the next entry."""
        if not taken:
            return
        taken = with_polarity(taken)
        count = len(self.journal.records())
        now = self.clock.wall()
        records = tuple(
            ReadingRecord(
                id=f"r{count + n:04d}",
                step=step.id,
                stage=step.stage,
                judged=step.stage == "left" and t.verdict is not None,
                source=t.source,
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
        if self._recent is not None:
            self._recent.add_readings(tuple(r.id for r in records))
        try:
            self.journal.keep(records)
            self.unsaved = ""
        except Problem as problem:
            self.unsaved = problem.sentence

    def hold_sound(self, step: StepBase, block: Block) -> None:
        """Buffer what a step hears, where the session keeps the sound behind readings."""
        if self.journal.wants_sound:
            if self._recent is None:
                turned = isinstance(step, Adjust) and step.via in (None, "live")
                self._recent = RecentSound(self.port.status.sample_rate, TURNED_S if turned else LONGEST_S)
            self._recent.add(block)

    def drop_sound_before(self, frame: int) -> None:
        """Drop sound before this frame, where a replay was found: no reading rests on it."""
        if self._recent is not None:
            self._recent.drop_before(frame)

    def keep_sound_heard(self) -> None:
        """The step is over: keep the sound behind its readings."""
        sound = self._recent.finish() if self._recent is not None else None
        self._recent = None
        if sound is not None:
            try:
                self.journal.keep_sound(sound)
            except Problem as problem:
                self.unsaved = problem.sentence

    def retry_saving(self) -> None:
        """Try again, once a second at most, to write what could not be written."""
        if self.unsaved and self.clock.now() - self._tried >= SAVE_AGAIN_S:
            self._tried = self.clock.now()
            if self.journal.save_again():
                self.unsaved = ""

    def step_done(self, step: StepBase) -> None:
        """Note that the step is over; written as by `keep`."""
        try:
            self.journal.step_done(step.id)
        except Problem as problem:
            self.unsaved = problem.sentence
        return_freed_memory()

    def note(self, step: str, event: Event) -> None:
        """Keep an event of the step with this id; written as by `keep`."""
        try:
            self.journal.note(replace(event, step=step, time=self.clock.wall()))
            self.unsaved = ""
        except Problem as problem:
            self.unsaved = problem.sentence

    def keep_turns(self, step: StepBase) -> None:
        """Keep the turns of trimmers at a step; written as by `keep`."""
        for trimmer, turns in self.turned.items():
            self.note(step.id, Turned(trimmer, tuple(turns)))
        self.turned.clear()

    def keep_curves(self, step: Adjust, curves: tuple[Curve, ...]) -> None:
        """Keep the curves of readings against trimmers; written as by `keep`."""
        for curve in curves:
            trimmer = next((name for side, name in step.trimmers.items() if side in (curve.channel, "both")), "")
            facts = (step.quantity, trimmer, curve.channel, curve.along, curve.unit, curve.points)
            self.note(step.id, CurveTaken(*facts, frequency_hz=curve.frequency_hz))

    def trimmers(self, names: tuple[str, ...]) -> tuple[TrimmerPosition, ...]:
        """Positions of the trimmers with these names; none where the program can't see them."""
        return tuple(t for t in self.hands.trimmers() if t.name in names) if self.hands is not None else ()

    def do(self, act: Act, step: StepBase) -> None:
        """Operate the practice machine, and note it; on a real machine the person has already done it."""
        hands = self.hands
        if hands is not None:
            perform(hands, act, self.job.lot_index(step.lot))
        self.note(step.id, Acted(act, step.lot))
        if act == "turn-back" and hands is not None:
            self._turn_back(step)

    def turn(self, trimmer: str, degrees: float) -> None:
        """Turn a trimmer of the practice machine. A stop may end the turn early; the actual turn is noted.

        Raises:
            Problem: the machine is a real one.
        """
        hands = self.hands
        if hands is None:
            raise Problem("this is a real machine: turn the trimmer by hand")
        before = {t.name: t.degrees for t in hands.trimmers()}
        hands.turn(trimmer, degrees)
        after = {t.name: t.degrees for t in hands.trimmers()}
        turned = self.turned.setdefault(trimmer, [])
        if turned and turned[-1] * degrees < 0 and not self._play_said:
            self._play_said = True
            self.notice = SCREW_HAS_PLAY
        turned.append(after[trimmer] - before[trimmer])

    def _turn_back(self, step: StepBase) -> None:
        """Turn every trimmer back to its position at the start of the job, by the turns in the journal."""
        counted = {name: sum(turns) for name, turns in self.turned.items()}
        for turned in of_kind(self.journal.events(), Turned):
            counted[turned.trimmer] = counted.get(turned.trimmer, 0.0) + sum(turned.degrees)
        for name, degrees in counted.items():
            if abs(degrees) < SMALLEST_BACK:
                continue
            self.turn(name, -degrees)
            self.note(step.id, TurnedBack(name, -degrees))
