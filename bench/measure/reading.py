"""What a measurement gives: a reading, or the reason why there is none. Imports nothing heavy."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import KW_ONLY, dataclass, replace
from typing import Any, Literal

from bench.measure.catalogue import QUANTITIES
from bench.measure.method import UNSTATED, Method

Channel = Literal["left", "right", "mono", "both", "left-right"]
Bound = Literal["at least", "at most"]


@dataclass(frozen=True, slots=True)
class ReferenceTone:
    """A tone that a value is relative to; `str` gives "400 Hz at -20 dB"."""

    hz: float
    db: float | None = None
    """Its level, re the reference level; None where the level does not matter."""

    def __str__(self) -> str:
        return f"{self.hz:g} Hz" if self.db is None else f"{self.hz:g} Hz at {self.db:+g} dB"


@dataclass(frozen=True, slots=True)
class _Described:
    """What a reading and its absence both say."""

    quantity: str
    """A key of `bench.measure.catalogue.QUANTITIES`."""
    channel: Channel
    """`mono` is a one-channel capture, `both` what holds for the whole, `left-right` a difference."""
    _: KW_ONLY
    frequency_hz: float | None = None
    """The nominal frequency asked for; the measured one for components and unasked tones."""
    method: Method = UNSTATED
    """How it was measured."""
    reference: str | ReferenceTone = ""
    """What the value is relative to: a name ("full-scale sine") or a tone; "" for nothing."""

    @property
    def unit(self) -> str:
        """The unit of the quantity."""
        return QUANTITIES[self.quantity].unit

    def _as_json(self, **own: Any) -> dict[str, Any]:
        out: dict[str, Any] = {
            "quantity": self.quantity,
            "channel": self.channel,
            "value": None,
            "unit": self.unit,
            "uncertainty": None,
            "frequency_hz": self.frequency_hz,
            "method": str(self.method),
        }
        more = own | {"reference": str(self.reference)}
        return out | {key: value for key, value in more.items() if value not in (None, "")}


Source = Literal[
    "noise",
    "method",
    "ends of the tone",
    "dropouts",
    "wander",
    "slower wander",
    "other stretches",
    "other passes",
    "reference tape",
    "interface",
    "other reading",
    "lossy coding",
    "what was recorded",
]
"""What makes a reading uncertain. Of this tone itself: noise beside it, the method's own limits, the ends of the tone,
which are left out with their fades, and what is left of dropouts that are bridged. Of what it says about the machine:
wander seen within the tone; wander slower than it is long; how far other stretches of the same machine differ, and
other passes (contact, warmth, the tape's batch). Besides: the reference tape, the interface, another reading that this
one is relative to, lossy coding on the way, and how well it is known what was recorded."""
OF_THE_TONE: tuple[Source, ...] = ("noise", "method", "ends of the tone", "dropouts")


@dataclass(frozen=True, slots=True)
class Contribution:
    """One of the things that make a reading uncertain (JCGM 100:2008, 4.3)."""

    source: Source
    value: float
    """Standard uncertainty (k = 1), in the reading's unit."""


Budget = tuple[Contribution, ...]


def budget_of(expanded: float, parts: Mapping[Source, float]) -> Budget:
    """The budget of an uncertainty, from the sizes of its parts.

    Args:
        expanded: the uncertainty (k = 2).
        parts: sizes in any unit, alike for all: they are scaled so that their root sum of squares is `expanded`.
    """
    whole = math.hypot(*parts.values())
    return tuple(Contribution(s, 0.5 * expanded * size / whole) for s, size in parts.items() if size)


@dataclass(frozen=True, slots=True)
class Reading(_Described):
    """One measured quantity."""

    value: float
    """In `unit`."""
    uncertainty: float
    """Expanded (k = 2), in `unit`; zero for an exact count, for a bound that already contains it, and for what is zero
    by definition."""
    _: KW_ONLY
    bound: Bound | None = None
    """Set when the value is the most that can be claimed."""
    time_s: float | None = None
    """Where in the capture an event lies, for quantities that are events."""
    budget: Budget = ()
    """What the uncertainty is made of, as far as it is known: twice the root of the sum of squares."""

    @property
    def stated_uncertainty(self) -> float | None:
        """The uncertainty as it is written down: none for an exact count or for a bound that already contains it."""
        return self.uncertainty or (None if self.bound or self.unit == "1" else 0.0)

    @property
    def tone_uncertainty(self) -> float | None:
        """How well this very stretch of sound is known, expanded (k = 2); None where the budget does not tell it."""
        if not self.budget:
            return None
        return 2.0 * math.hypot(*(c.value for c in self.budget if c.source in OF_THE_TONE))

    def widened(self, source: Source, expanded: float) -> Reading:
        """The same with one thing more that makes it uncertain.

        Args:
            source: of that.
            expanded: what it adds (k = 2), in `unit`; 0 adds nothing.
        """
        if not expanded:
            return self
        own = self.budget or ((Contribution("method", self.uncertainty / 2),) if self.uncertainty else ())
        more = (*own, Contribution(source, abs(expanded) / 2))
        return replace(self, uncertainty=math.hypot(self.uncertainty, expanded), budget=more)

    def wandering(self, within: float, slower: float) -> Reading:
        """The same, of a machine that wanders: standard uncertainties of what is seen within, and of what is slower."""
        return self.widened("wander", 2.0 * within).widened("slower wander", 2.0 * slower)

    def uncertainty_without(self, *shared: Source) -> float:
        """The expanded uncertainty, less what another reading shares with this one."""
        off = sum((2.0 * c.value) ** 2 for c in self.budget if c.source in shared)
        return math.sqrt(max(0.0, self.uncertainty**2 - off))

    def as_json(self) -> dict[str, Any]:
        """The reading as `measure --json` prints it."""
        own: dict[str, Any] = {"value": self.value, "bound": self.bound, "time_s": self.time_s}
        if self.budget:
            own["uncertainty_of"] = "the machine" if self.of_the_machine else "this stretch"
            own["uncertainty_of_this_stretch"] = self.tone_uncertainty
            own["budget"] = [{"source": c.source, "standard_uncertainty": c.value} for c in self.budget]
        return self._as_json(uncertainty=self.stated_uncertainty, **own)

    @property
    def of_the_machine(self) -> bool:
        """Whether the uncertainty is that of the machine in the long run, and not of this stretch of sound alone."""
        return any(c.source not in OF_THE_TONE for c in self.budget)


@dataclass(frozen=True, slots=True)
class NoReading(_Described):
    """A quantity for which there is no reading, and why."""

    reason: str
    """The rest of the sentence "no reading, because …"."""

    def as_json(self) -> dict[str, Any]:
        """As `measure --json` prints it: `value` is null, and there is a `reason`."""
        return self._as_json(reason=self.reason)


Result = Reading | NoReading
"""A measurement result: what a meter gives for a quantity that it was asked for."""


@dataclass(frozen=True, slots=True)
class Measured:
    """What a quantity's function gives: readings, and what else must be said."""

    readings: tuple[Result, ...]
    warnings: tuple[str, ...] = ()
    """One sentence each."""
