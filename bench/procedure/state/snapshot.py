"""What the runner shows to whoever watches: frozen, and all that a screen needs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from bench.audio.port import PortStatus
from bench.measure.reading import Channel, Reading, Result
from bench.measure.stage import Stage
from bench.measure.verdict import Verdict, VerdictWord, off_target
from bench.practice.facts import TrimmerPosition
from bench.procedure.model.steps import Caution


@dataclass(frozen=True, slots=True)
class JobView:
    """What is on the bench."""

    procedure: str
    machine: str
    tape: str
    reference_tape: str
    speed: str
    equalisation: str
    reference_level: str


@dataclass(frozen=True, slots=True)
class StepView:
    """The step that the procedure is at."""

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
    """Up to three, to be shown one after another when asked for."""
    direction: str = ""
    """"forward" or "reverse" where the step says which way the tape runs."""
    lot: str = ""
    """Which of several tapes is on the machine."""


@dataclass(frozen=True, slots=True)
class Prompt:
    """What the person is asked; `go-on` needs nothing but the one key."""

    kind: Literal["go-on", "confirm", "number", "choice", "words", "reason", "wait"]
    """`confirm`: say yes to `text`; `reason`: words that land in the report; `wait`: nothing to answer now."""
    text: str
    choices: tuple[str, ...] = ()
    unit: str = ""
    interlock: bool = False
    left_s: int | None = None
    """How long it still takes, seconds, where that is known."""
    by_hand: bool = False
    """Whether something is to be done at the machine, with no key to press."""
    sounds: bool = False
    """Whether the one key starts tones: whoever asks a person counts down first."""


@dataclass(frozen=True, slots=True)
class Gauge:
    """One live reading against its target."""

    channel: Channel
    label: str
    """"left level"."""
    reading: Result
    verdict: Verdict
    trend: Literal["", "rising", "falling", "steady"]
    direction: str
    """What to do: "raise by 1.2 dB", "hold", "" when nothing can be said."""
    trimmer: str | None
    held_s: float = 0.0
    """How long it has been steady and in."""
    history: tuple[tuple[float, float], ...] = ()
    """(seconds, value) of the last minute."""
    turn: float | None = None
    """How far to turn its trimmer next, degrees clockwise, where that is known or has to be found out; None elsewhere.
    On a machine whose trimmers the program sees, what is left of it."""

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
    """What a reading did as a trimmer was turned: bias past its peak, rounds so far, the positions of a ladder."""

    channel: Channel
    label: str
    """"left, 10 kHz"."""
    along: Literal["degrees", "round", "position"]
    """What is counted along the bottom."""
    points: tuple[tuple[float, float], ...]
    """(along, reading), in the order in which they were taken; the last is where it stands now."""
    unit: str
    frequency_hz: float | None = None
    peak: tuple[float, float] | None = None
    """The highest point, once it is passed."""
    aim: float | None = None
    """The reading to come to, in `unit`."""
    best: float | None = None
    """Of a ladder: the position named as the best."""


@dataclass(frozen=True, slots=True)
class ToneRow:
    """A tone that is expected, or was recognised and measured."""

    id: str
    label: str
    """"10 kHz, -20 dB"."""
    state: Literal["waiting", "sounding", "done", "missing"]
    frequency_hz: float
    readings: tuple[tuple[Result, Verdict | None], ...] = ()


@dataclass(frozen=True, slots=True)
class FoundPoint:
    """What a reading was before anything was turned."""

    channel: Channel
    frequency_hz: float
    off: float
    """Reading less target, in the unit of the reading."""
    stage: Stage


@dataclass(frozen=True, slots=True)
class FlutterPart:
    """One component of wow and flutter."""

    part: str
    """The part of the machine that turns at this rate, by its sheet; "unknown"."""
    rate_hz: float
    percent: float
    """Peak, unweighted."""
    share: float
    """Of all components' power, 0 to 1."""


@dataclass(frozen=True, slots=True)
class CheckRow:
    """A line of a checklist."""

    text: str
    ticked: bool


@dataclass(frozen=True, slots=True)
class Hum:
    """Mains hum in what comes in now."""

    mains_hz: float
    dbfs: float
    """Of its first three lines together."""
    below_db: float
    """How far below all that comes in it lies."""


@dataclass(frozen=True, slots=True)
class InputView:
    """What comes in, whatever the step."""

    peak_dbfs: tuple[float | None, ...]
    """Highest sample of the last block for each channel; None for digital silence."""
    clipping: bool
    silent: bool
    port: PortStatus
    only: Literal["", "left", "right"] = ""
    """The one channel that carries sound, while the other is far below it."""
    hum: Hum | None = None
    """Mains hum that stands out of what comes in."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """How the run ended."""

    completed: bool
    exit_code: int
    judged: int
    words: dict[VerdictWord, int]
    said: str
    """One sentence."""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """All there is to see at one moment."""

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
    """What is being sent, "" for silence."""
    trimmers: tuple[TrimmerPosition, ...] = ()
    """Those the person can turn by key: the practice machine's that belong to this step."""
    can_accept: bool = False
    """Whether accepting would keep a reading now."""
    notice: str = ""
    """The last thing worth saying: an error with its remedy, what was just kept."""
    unsaved: str = ""
    """Set while something is not on disk yet, with the reason."""
    last: tuple[tuple[Result, Verdict | None], ...] = ()
    """The readings kept last."""
    outcome: Outcome | None = None
    held: bool = False
    """Sound and timer are paused; the one key goes on."""
    to_check_again: tuple[str, ...] = ()
    """What an adjustment disturbed after it had been shown, in the trade's words: "replay response"."""
    head_delay_s: float | None = None
    """Three heads: from sending to replay, once it was found; the interface's own delay is in it."""
    as_found: tuple[FoundPoint, ...] = ()
    """What the tones of this step read as found, where it is measured again."""
    flutter: tuple[FlutterPart, ...] = ()
    """The parts of wow and flutter that was just measured, the strongest first."""
    spectrum: tuple[tuple[float, float], ...] = ()
    """(Hz, % peak) of its spectrum, lowest first."""
    ranking: tuple[str, ...] = ()
    """What this session has shown that bears on the answer: tapes ranked, before somebody signs."""
    can_go_back: bool = False
    """Whether there is a step before this one to go back to."""
