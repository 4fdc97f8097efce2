"""What a measurement gives: a reading, or the reason why there is none. Imports nothing heavy."""

from __future__ import annotations

from dataclasses import KW_ONLY, dataclass
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


@dataclass(frozen=True, slots=True)
class Contribution:
    """One of the things that make a reading uncertain (JCGM 100:2008, 4.3)."""

    source: Literal["noise", "wander", "slower wander", "method", "other stretches"]
    """Noise beside the tone; wander that is seen within it; wander slower than it is long; the method's own limits; and
    by how much another stretch of the same machine would differ."""
    value: float
    """Standard uncertainty (k = 1), in the reading's unit."""


Budget = tuple[Contribution, ...]


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

    def as_json(self) -> dict[str, Any]:
        """The reading as `measure --json` prints it."""
        budget = [{"source": c.source, "standard_uncertainty": c.value} for c in self.budget]
        own = {"value": self.value, "bound": self.bound, "time_s": self.time_s, "budget": budget or None}
        return self._as_json(uncertainty=self.stated_uncertainty, **own)


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
