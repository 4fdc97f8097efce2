"""The protocol that the live device, a file and the practice machine share.

A port yields blocks of incoming sound and sends a source. The second, optional protocol, `Hands`, acts on the machine
itself: only the practice port has it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from bench.practice.facts import LoadedTape, TrimmerPosition
from bench.signals.source import Source

Samples = NDArray[np.float64]
"""Shape (frames, channels), full scale ±1."""

Act = Literal[
    "clean",
    "demagnetise",
    "load-reference-tape",
    "load-work-tape",
    "load-owners-tape",
    "rewind",
    "turn-back",
    "output-to-mark",
]
"""Acts that a step's `does` may name."""

LOADS: tuple[Act, ...] = ("load-reference-tape", "load-work-tape", "load-owners-tape")
"""The acts that load a tape."""


@dataclass(frozen=True, slots=True)
class Block:
    """A stretch of incoming sound."""

    samples: Samples
    start: int
    """Frames since the port was opened, including lost ones."""
    lost: int = 0
    """Frames lost just before this block."""


@dataclass(frozen=True, slots=True)
class PortStatus:
    """State of a port, for the screen and the session."""

    name: str
    """The displayed name: that of the device or the file, or "practice machine"."""
    kind: Literal["practice", "live", "file"]
    sample_rate: int
    channels: int
    state: Literal["closed", "running", "stalled", "lost", "ended"]
    """`stalled`: no sound for half a second, or a tone was stopped because nothing was read for too long; `lost`: the
    device disappeared; `ended`: the end of the file."""
    overflows: int = 0
    underflows: int = 0
    detail: str = ""
    """One sentence if something is wrong, with its remedy."""


class Port(Protocol):
    """A source and destination of sound. All calls except `mute` are made from one thread, the bench thread."""

    @property
    def status(self) -> PortStatus:
        """The present state; cheap, never blocks, callable from any thread."""

    def open(self) -> None:
        """Start. Raises `Problem` if it can't."""

    def close(self) -> None:
        """Stop and send nothing more; safe to call twice."""

    def send(self, source: Source | None) -> int:
        """Send this source from its start; None is silence. Returns the input frame at which it begins.

        Raises `Problem` on a port that can't send (a file).
        """

    def mute(self, muted: bool) -> None:
        """Send silence at once instead of the source, until unmuted. Callable from any thread; never blocks."""

    def read(self, timeout_s: float) -> Block | None:
        """The next block; None if none came in time or the port is `lost` or `ended` (see `status`)."""

    def reopen(self) -> bool:
        """Try to reopen a lost device; True if sound runs again. It continues to send the same source."""


@runtime_checkable
class Hands(Protocol):
    """Manual operation of a machine. None of it reveals the machine's state; only readings do."""

    def clean(self) -> None:
        """Clean heads, capstan, pinch roller and guides."""

    def demagnetise(self) -> None:
        """Demagnetise heads and guides."""

    def load(self, tape: LoadedTape, lot: int = 0) -> None:
        """Load a tape, or none; `lot` is the number of the recordable tape, or the side of the owner's tape."""

    def rewind(self, section: str | None = None, *, on: bool = False) -> None:
        """Wind to the start, or to a section of the reference or owner's tape.

        The section then repeats; with `on`, a reference tape plays on from it.
        """

    def switch(self, control: str, position: str) -> None:
        """Set a control.

        `transport` to `stop`, `play` or `record`; `monitor` to `tape` or `source`; `noise-reduction` to `off`, `on`,
        `record-only` or `replay-only`; `direction` to `forward` or `reverse`, on a machine that has both.
        """

    def output_to_mark(self) -> None:
        """Turn the output control to its mark."""

    def turn(self, trimmer: str, degrees: float) -> None:
        """Turn a trimmer by an angle, positive clockwise. Raises `Problem` for an unknown trimmer."""

    def trimmers(self) -> tuple[TrimmerPosition, ...]:
        """The trimmers this machine has."""


@runtime_checkable
class Instruments(Protocol):
    """External instruments: at the simulated loopback and at the practice machine."""

    def reading_in(self, unit: str, at: str = "") -> float | None:
        """Present reading of the instrument with this unit; None if there is none.

        Args:
            unit: unit of the reading.
            at: test point: "meter left", "encoder right"; "" for the interface.
        """


@runtime_checkable
class Visible(Protocol):
    """A machine whose parts can be inspected; only the practice machine describes them in words."""

    def look(self, part: str) -> str:
        """The look of a part, in a sentence."""


def hands_of(port: Port) -> Hands | None:
    """The port's hands, if the program can operate the machine behind it."""
    return port if isinstance(port, Hands) else None


def perform(hands: Hands, act: str, lot: int = 0) -> None:
    """Do one of `Act`; anything else is ignored, and so is "turn-back", which needs the events of the job.

    Args:
        hands: the hands of the machine.
        act: what to do.
        lot: number of the recordable tape, or the side of the owner's tape.
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
            hands.load("owners", lot)
        case "rewind":
            hands.rewind()
        case "output-to-mark":
            hands.output_to_mark()
