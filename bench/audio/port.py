"""The one protocol behind which the live device, a file and the practice machine look alike.

A port yields blocks of what comes in and is told what to send out. What acts on a machine beyond sound is
the second, optional protocol, `Hands`: only the practice port has it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from bench.signals.source import Source

Samples = NDArray[np.float64]
"""Shape (frames, channels), full scale ±1."""

Act = Literal[
    "clean", "demagnetise", "load-reference-tape", "load-work-tape", "load-owners-tape", "rewind", "turn-back"
]
"""What a step's `does` may say was done to the machine."""

Threaded = Literal["none", "reference", "work", "owners"]
"""The tape that is threaded."""


@dataclass(frozen=True, slots=True)
class Block:
    """A stretch of incoming sound."""

    samples: Samples
    start: int
    """Frames since the port was opened, those lost included."""
    lost: int = 0
    """Frames lost just before this block (0 when the sound is whole)."""


@dataclass(frozen=True, slots=True)
class PortStatus:
    """How a port is doing, for the screen and the session."""

    name: str
    """What a person calls it: the device's name, the file's, "practice machine"."""
    kind: Literal["practice", "live", "file"]
    sample_rate: int
    channels: int
    state: Literal["closed", "running", "stalled", "lost", "ended"]
    """`stalled`: no sound for half a second; `lost`: the device went away; `ended`: the file is over."""
    overflows: int = 0
    underflows: int = 0
    backlog_s: float = 0.0
    """Sound waiting in the queue, seconds."""
    detail: str = ""
    """One sentence when something is wrong, with its remedy."""


class Port(Protocol):
    """Where sound comes from and goes to. All calls are made from one thread, the bench thread."""

    @property
    def status(self) -> PortStatus:
        """How the port is doing now; cheap, never blocks, callable from any thread."""

    def open(self) -> None:
        """Start. Raises `Problem` in one sentence when it can't."""

    def close(self) -> None:
        """Stop and silence; safe to call twice."""

    def send(self, source: Source | None) -> int:
        """Send this from now on, from its frame 0; None is silence. Returns the input frame at which it begins.

        Raises `Problem` on a port that can't send (a file).
        """

    def read(self, timeout_s: float) -> Block | None:
        """The next block; None when none came in time or the port is `lost` or `ended` (see `status`)."""

    def reopen(self) -> bool:
        """Try to get a lost device back; True when sound runs again. What was being sent goes on being sent."""


@dataclass(frozen=True, slots=True)
class TrimmerInfo:
    """A trimmer that can be turned."""

    name: str
    """As in the machine's sheet: "replay level left"."""
    degrees: float
    """Where it stands, degrees from its middle."""
    low: float = -150.0
    high: float = 150.0


@dataclass(frozen=True, slots=True)
class Loaded:
    """What is threaded on the machine."""

    tape: Threaded
    section: str | None = None
    """The section of the reference tape it was wound to; it repeats until wound elsewhere."""


@runtime_checkable
class Hands(Protocol):
    """What hands do to a machine. None of it tells what is inside: only readings do."""

    def clean(self) -> None:
        """Clean heads, capstan, pinch roller and guides."""

    def demagnetise(self) -> None:
        """Demagnetise heads and guides."""

    def load(self, tape: Threaded, lot: int = 0) -> None:
        """Thread a tape, or none; of several work tapes, which."""

    def rewind(self, section: str | None = None) -> None:
        """Back to the start, or to a section of the reference tape, which then repeats."""

    def switch(self, control: str, position: str) -> None:
        """Set a control.

        `transport` to `stop`, `play` or `record`; `monitor` to `tape` or `source`; `noise-reduction` to `off`, `on`,
        `record-only` or `replay-only`; `direction` to `forward` or `reverse`, on a machine that has both.
        """

    def turn(self, trimmer: str, degrees: float) -> None:
        """Turn a trimmer by so many degrees, positive clockwise. Raises `Problem` for an unknown trimmer."""

    def trimmers(self) -> tuple[TrimmerInfo, ...]:
        """The trimmers this machine has."""


@runtime_checkable
class Instruments(Protocol):
    """What lies beside the interface and can be read by eye: only the practice loop has any to read."""

    def reads(self, unit: str) -> float | None:
        """What the instrument that reads in this unit says now; None where there is none."""


def hands_of(port: Port) -> Hands | None:
    """The port's hands, if what is behind it can be acted on by the program."""
    return port if isinstance(port, Hands) else None


def perform(hands: Hands, act: str, lot: int = 0) -> None:
    """Do one of `Act`; anything else, and what needs a memory of the job, is left undone.

    Of several work tapes it is the one of this number.
    """
    match act:
        case "clean":
            hands.clean()
        case "demagnetise":
            hands.demagnetise()
        case "load-reference-tape":
            hands.load("reference")
        case "load-work-tape":
            hands.load("work", lot)
        case "load-owners-tape":
            hands.load("owners")
        case "rewind":
            hands.rewind()
