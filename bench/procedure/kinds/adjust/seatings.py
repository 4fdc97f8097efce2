"""Azimuth of a cassette, averaged over insertions: the shell sits a little differently each time it is put in."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from bench.procedure.model.job import Job
from bench.procedure.model.steps import Adjust
from bench.tape.geometry import delay_us
from bench.words.figures import plus_minus

USUAL_ARCMIN = 1.2
"""Standard deviation from one insertion to the next that is expected beforehand. Common practice, no source: 1 to 3
minutes of arc between insertions."""

PRIOR = 1.0
"""Weight of that expectation, in insertions."""

NEEDED_BELOW_ARCMIN = 3.0
"""A tolerance below this needs more than one insertion."""

LEAST, MOST = 3, 6
"""Fewest and most insertions. A choice."""

ENOUGH = 0.8
"""Fraction of the tolerance that the uncertainty may use up. A choice."""


@dataclass(slots=True)
class Seatings:
    """The delay at each insertion, all at the same position of the screw."""

    tolerance: float
    usual: float
    """Standard deviation expected beforehand, in the unit of the reading."""
    stage: Literal["setting", "out", "reading", "done"] = "setting"
    """The screw is set in the first insertion; the cassette is out; another insertion is read; all were read."""
    _delays: list[float] = field(default_factory=list)

    @property
    def count(self) -> int:
        """How many insertions were read."""
        return len(self._delays)

    def add(self, delay: float) -> None:
        """Add the delay of this insertion; then the cassette comes out again, or enough insertions were read."""
        self._delays.append(delay)
        self.stage = "out" if self.more else "done"

    @property
    def prompt(self) -> str:
        """What to do while the cassette is out, and why."""
        least = "" if self.count < LEAST else f", known to {plus_minus(self.uncertainty, 'µs')} µs so far"
        more = f"more than {plus_minus(self.tolerance, 'µs')} µs allows"
        return (
            f"Take the cassette out, put it in again and play the same section, then go on: insertion {self.count + 1}"
            f"{least}. It sits a little differently each time, by {more}"
        )

    @property
    def offset(self) -> float:
        """The mean of all insertions minus the last one. A turn of the screw moves both alike."""
        return sum(self._delays) / len(self._delays) - self._delays[-1] if self._delays else 0.0

    @property
    def uncertainty(self) -> float:
        """Expanded uncertainty (k = 2) of the mean, from the scatter of insertions."""
        count = len(self._delays)
        if count < LEAST:
            return 2.0 * self.usual
        mean = sum(self._delays) / count
        squares = sum((d - mean) ** 2 for d in self._delays)
        spread = math.sqrt((PRIOR * self.usual**2 + squares) / (PRIOR + count - 1) / count)
        return 2.0 * spread * (1 + 0.5 / (count - 1))  # about Student's factor

    @property
    def known(self) -> float:
        """Expanded uncertainty (k = 2) from the scatter of insertions, once all were read; 0 before."""
        return self.uncertainty if self.stage == "done" else 0.0

    @property
    def more(self) -> bool:
        """Whether another insertion is worthwhile."""
        return self.count < LEAST or (self.count < MOST and self.uncertainty > ENOUGH * self.tolerance)


def seatings_needed(step: Adjust, job: Job, tolerance: float) -> Seatings | None:
    """The insertions to average over: for azimuth of a cassette whose tolerance is finer than the shell's seating."""
    machine = job.machine
    if step.quantity != "azimuth_delay" or step.plays is None or job.tape.iec_type == "open reel":
        return None
    usual, least = (
        float(delay_us(arcmin, machine.track_spacing_mm, machine.speed_mm_s))
        for arcmin in (USUAL_ARCMIN, NEEDED_BELOW_ARCMIN)
    )
    return Seatings(tolerance, usual) if tolerance < least else None
