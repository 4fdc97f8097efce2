"""The snapshot that the runner gives to a screen: frozen and complete."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from bench.audio.port import PortStatus
from bench.measure.reading import Channel, Reading, Result
from bench.measure.stage import Stage
from bench.measure.verdict import Verdict, VerdictWord, off_target
from bench.practice.facts import TrimmerPosition
from bench.procedure.model.steps import Caution
from bench.procedure.state.journal import ReadingRecord


@dataclass(frozen=True, slots=True)
class JobView:
    """The job as a screen shows it."""

    procedure: str
    machine: str
    tape: str
    reference_tape: str
    speed: str
    equalisation: str
    reference_level: str
    heads: int = 2
    speed_mm_s: float = 0.0
    """Tape speed; 0 where it is not known."""
    steps: tuple[tuple[str, str], ...] = ()
    """Id and title of each step."""


@dataclass(frozen=True, slots=True)
class StepView:
    """The current step."""

    id: str
    kind: str
    title: str
    index: int
    """From 1."""
    total: int
    stage: Stage
    cautions: tuple[Caution, ...]
    do: str
    good: str
    why: str
    if_not: str
    hints: tuple[str, ...] = ()
    """Up to three, shown one after another on request."""
    direction: str = ""
    """"forward" or "reverse" where the step gives a direction."""
    lot: str = ""
    """Which of several tapes is on the machine."""


@dataclass(frozen=True, slots=True)
class Prompt:
    """What the person is asked; `go-on` needs only the go-on key."""

    kind: Literal["go-on", "confirm", "number", "choice", "words", "reason", "wait"]
    """`confirm`: agree to `text`; `reason`: words for the report; `wait`: nothing to answer."""
    text: str
    choices: tuple[str, ...] = ()
    first: int = 0
    """Index of the choice that is selected at first."""
    unit: str = ""
    other_units: tuple[str, ...] = ()
    """Units that the figure may have instead, typed behind it."""
    interlock: bool = False
    left_s: int | None = None
    """Time left, seconds, where it is known."""
    by_hand: bool = False
    """Whether there is something to do at the machine and no key to press."""
    sounds: bool = False
    """Whether the go-on key starts tones, so that a countdown comes first."""
    instrument: str = ""
    """What is read at the machine, one of `bench.procedure.model.steps.ReadPoint`; "" for the interface."""


@dataclass(frozen=True, slots=True)
class Gauge:
    """A live reading with its target."""

    channel: Channel
    label: str
    """"left level"."""
    reading: Result
    verdict: Verdict
    trend: Literal["", "rising", "falling", "steady"]
    direction: str
    """What to do: "raise by 1.2 dB", "hold", or ""."""
    trimmer: str | None
    held_s: float = 0.0
    """How long it has been steady and in, seconds."""
    history: tuple[tuple[float, float], ...] = ()
    """(seconds, value) of the last minute."""
    band: float = 0.0
    """Half the width of the band in which the momentary reading wanders about the average in `reading`; 0 where
    `reading` is not an average."""
    now: float | None = None
    """The reading at this moment, where `reading` is an average."""
    advice: Literal["", "turn", "look", "hold"] = ""
    """What to do: turn, look longer, or neither; "" where no trimmer is turned live."""
    look_s: float = 0.0
    """How much longer to look, seconds."""
    turn: float | None = None
    """Proposed turn of its trimmer, degrees clockwise; None without a proposal. On a machine whose trimmers the program
    can see, what is left of that turn."""

    @property
    def measured(self) -> Reading | None:
        """The reading, where there is one."""
        return self.reading if isinstance(self.reading, Reading) else None

    @property
    def off(self) -> float | None:
        """Reading minus target, in the unit of the reading; None without a reading."""
        return off_target(self.reading, self.verdict)


@dataclass(frozen=True, slots=True)
class Curve:
    """The curve of a reading against a trimmer: bias past its peak, rounds, or positions of a ladder."""

    channel: Channel
    label: str
    """"left, 10 kHz"."""
    along: Literal["degrees", "round", "position"]
    """The horizontal axis."""
    points: tuple[tuple[float, float], ...]
    """(along, reading), in order of time; the last one is the present reading."""
    unit: str
    frequency_hz: float | None = None
    peak: tuple[float, float] | None = None
    """The highest point, once it is passed."""
    aim: float | None = None
    """The reading to reach, in `unit`."""
    best: float | None = None
    """Best position of a ladder."""


@dataclass(frozen=True, slots=True)
class ToneRow:
    """An expected tone, and its readings."""

    id: str
    label: str
    """"10 kHz, -20 dB"."""
    state: Literal["waiting", "sounding", "done", "missing"]
    frequency_hz: float
    readings: tuple[tuple[Result, Verdict | None], ...] = ()
    sent_db: float | None = None
    """Nominal level, dB re the reference level."""


@dataclass(frozen=True, slots=True)
class FoundPoint:
    """An as-found reading."""

    channel: Channel
    frequency_hz: float
    off: float
    """Reading minus target, in the unit of the reading."""
    stage: Stage


@dataclass(frozen=True, slots=True)
class FlutterPart:
    """One component of wow and flutter."""

    part: str
    """Part of the machine that turns at this rate, from its sheet; "unknown" without one."""
    rate_hz: float
    percent: float
    """Peak, unweighted."""
    share: float
    """Share of the power of all components, 0 to 1."""


@dataclass(frozen=True, slots=True)
class CheckRow:
    """A line of a checklist."""

    text: str
    ticked: bool


@dataclass(frozen=True, slots=True)
class Hum:
    """Mains hum at the input."""

    mains_hz: float
    dbfs: float
    """Sum of its first three lines."""
    below_db: float
    """How far it is below the level of the whole input."""


@dataclass(frozen=True, slots=True)
class InputView:
    """The input, at any step."""

    peak_dbfs: tuple[float | None, ...]
    """Highest sample of the last block for each channel; None for digital silence."""
    clipping: bool
    silent: bool
    port: PortStatus
    only: Literal["", "left", "right"] = ""
    """The only channel that carries sound."""
    hum: Hum | None = None
    """Mains hum that stands out."""
    lost: bool = False
    """Sound was lost in the last seconds: the computer was too busy for the device."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """How the run ended."""

    completed: bool
    exit_code: int
    judged: int
    words: dict[VerdictWord, int]
    said: str
    """The verdict on the run, in words."""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """Everything a screen shows at one moment."""

    job: JobView
    step: StepView | None
    prompt: Prompt
    sound: InputView
    gauges: tuple[Gauge, ...] = ()
    tones: tuple[ToneRow, ...] = ()
    checks: tuple[CheckRow, ...] = ()
    timer_left_s: float | None = None
    curves: tuple[Curve, ...] = ()
    sending: str = ""
    """What is sent; "" for silence."""
    trimmers: tuple[TrimmerPosition, ...] = ()
    """Trimmers of the practice machine that belong to this step; the person turns them by key."""
    can_accept: bool = False
    """Whether `Accept` would keep a reading now."""
    notice: str = ""
    """The latest message, such as an error with its remedy."""
    unsaved: str = ""
    """Why something is not on disk yet; "" when everything is."""
    outcome: Outcome | None = None
    held: bool = False
    """Sound, tape and timer are paused."""
    to_check_again: tuple[str, ...] = ()
    """What must be checked again after an adjustment: "replay response"."""
    head_delay_s: float | None = None
    """Three heads: time from sending to replay, including the delay of the interface, once it was found."""
    as_found: tuple[FoundPoint, ...] = ()
    """As-found readings of the tones of this step."""
    flutter: tuple[FlutterPart, ...] = ()
    """Components of the wow and flutter just measured, strongest first."""
    spectrum: tuple[tuple[float, float], ...] = ()
    """(Hz, % peak) of the spectrum of the flutter, lowest frequency first."""
    to_sign: tuple[str, ...] = ()
    """At the sign-off: the lines that the signature covers, the most important first."""
    to_choose_by: tuple[str, ...] = ()
    """At a decision: what each answer leads to, a line for each."""
    seen: str = ""
    """On the practice machine: what the parts that this step looks at look like."""
    can_go_back: bool = False
    """Whether there is a step to go back to."""
    can_test: bool = False
    """Whether a test that tells two causes apart can be chosen now."""
    kept: tuple[ReadingRecord, ...] = ()
    """All readings kept so far, oldest first."""
    obeyed: int = 0
    """How many commands the runner has taken."""
    last_curves: tuple[Curve, ...] = ()
    """The curves that the last measuring step drew against a trimmer."""
