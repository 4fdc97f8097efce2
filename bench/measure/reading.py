"""The result of a measurement: a reading, or the reason why there is none. Imports nothing heavy."""

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
    """A tone that a value is relative to; `str` gives, for example, "400 Hz at -20 dB"."""

    hz: float
    db: float | None = None
    """Its level, re the reference level; None where the level does not matter."""

    def __str__(self) -> str:
        return f"{self.hz:g} Hz" if self.db is None else f"{self.hz:g} Hz at {self.db:+g} dB"


@dataclass(frozen=True, slots=True)
class _Described:
    """What `Reading` and `NoReading` have in common."""

    quantity: str
    """A key of `bench.measure.catalogue.QUANTITIES`."""
    channel: Channel
    """`mono` is a one-channel capture, `both` applies to the whole signal, `left-right` is a difference."""
    _: KW_ONLY
    frequency_hz: float | None = None
    """The nominal frequency requested; for components, and tones that were not requested, the measured one."""
    method: Method = UNSTATED
    """How it was measured."""
    reference: str | ReferenceTone = ""
    """What the value is relative to: a name ("full-scale sine") or a tone; "" for none."""

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
"""Sources of uncertainty. For this tone itself: noise around it, the limits of the method, the ends of the tone, which
are excluded with their fades, and the residual effect of bridged dropouts. For the machine: wander within the tone;
wander too slow to show within it; the spread between stretches of the same machine, and between passes (contact,
warmth, the tape's batch). In addition: the reference tape, the interface, another reading that this one is relative to,
lossy coding in the signal path, and the uncertainty of what was recorded."""
OF_THE_TONE: tuple[Source, ...] = ("noise", "method", "ends of the tone", "dropouts")


@dataclass(frozen=True, slots=True)
class Contribution:
    """One component of a reading's uncertainty (JCGM 100:2008, 4.3)."""

    source: Source
    value: float
    """Standard uncertainty (k = 1), in the reading's unit."""


Budget = tuple[Contribution, ...]


def budget_of(expanded: float, parts: Mapping[Source, float]) -> Budget:
    """The budget of an uncertainty, from the relative sizes of its components.

    Args:
        expanded: the uncertainty (k = 2).
        parts: sizes in any common unit; they are scaled so that their root sum of squares matches `expanded`.
    """
    whole = math.hypot(*parts.values())
    return tuple(Contribution(s, 0.5 * expanded * size / whole) for s, size in parts.items() if size)


@dataclass(frozen=True, slots=True)
class Reading(_Described):
    """One measured quantity."""

    value: float
    """In `unit`."""
    uncertainty: float
    """Expanded (k = 2), in `unit`; zero for an exact count, for a bound that already includes it, and for a value that
    is exact by definition."""
    _: KW_ONLY
    bound: Bound | None = None
    """Set when the value is the most that can be claimed."""
    time_s: float | None = None
    """Position of an event in the capture, for quantities that are events."""
    budget: Budget = ()
    """The components of the uncertainty, as far as known; it is twice the root of their sum of squares."""

    @property
    def stated_uncertainty(self) -> float | None:
        """The uncertainty as it is written: None for an exact count or a bound that already includes it."""
        return self.uncertainty or (None if self.bound or self.unit == "1" else 0.0)

    @property
    def tone_uncertainty(self) -> float | None:
        """Expanded uncertainty (k = 2) for this stretch of sound alone; None if there is no budget."""
        if not self.budget:
            return None
        return 2.0 * math.hypot(*(c.value for c in self.budget if c.source in OF_THE_TONE))

    def widened(self, source: Source, expanded: float) -> Reading:
        """The same reading with one more component of uncertainty.

        Args:
            source: of the component.
            expanded: the component (k = 2), in `unit`; 0 adds nothing.
        """
        if not expanded:
            return self
        own = self.budget or ((Contribution("method", self.uncertainty / 2),) if self.uncertainty else ())
        more = (*own, Contribution(source, abs(expanded) / 2))
        return replace(self, uncertainty=math.hypot(self.uncertainty, expanded), budget=more)

    def wandering(self, within: float, slower: float) -> Reading:
        """The same reading of a machine that wanders: standard uncertainties of wander within the tone and slower."""
        return self.widened("wander", 2.0 * within).widened("slower wander", 2.0 * slower)

    def uncertainty_without(self, *shared: Source) -> float:
        """The expanded uncertainty without the components that another reading shares with this one."""
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
        """Whether the uncertainty is for the machine in the long run, not for this stretch of sound alone."""
        return any(c.source not in OF_THE_TONE for c in self.budget)


@dataclass(frozen=True, slots=True)
class NoReading(_Described):
    """A quantity without a reading, and the reason."""

    reason: str
    """The rest of the sentence "no reading, because …"."""

    def as_json(self) -> dict[str, Any]:
        """The absence as `measure --json` prints it: `value` is null, and there is a `reason`."""
        return self._as_json(reason=self.reason)


Result = Reading | NoReading
"""A measurement result: what a meter gives for a quantity that it was asked for."""


@dataclass(frozen=True, slots=True)
class Measured:
    """The results of a meter, with its warnings."""

    readings: tuple[Result, ...]
    warnings: tuple[str, ...] = ()
    """One sentence each."""
