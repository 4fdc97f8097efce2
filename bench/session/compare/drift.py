"""How a quantity drifts from visit to visit, and when it will reach its tolerance.

Between two visits nobody turns anything, so the step from as left to as found at the next visit is the machine's own
drift. From all such steps d over spans t (years) the drift r is the weighted least-squares line through the origin,

    r = Σ(d t / u²) / Σ(t² / u²),    u(r) = 1 / √Σ(t² / u²),

with u the root sum of squares of both readings' uncertainties; with one step that is their combined uncertainty over
the span. Where three steps or more scatter by more than their uncertainties explain, u(r) grows by the root of
chi-squared over its degrees of freedom (Birge's ratio; R. T. Birge, Physical Review 40, 1932). What the readings
share, such as the reference tape's own error, cancels in a step and is left out where the budget lists it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

DAYS_A_YEAR = 365.25
SHORTEST_DAYS = 1.0
"""Visits on the same day show nothing about drift over years."""
FARTHEST_YEARS = 50.0


@dataclass(frozen=True, slots=True)
class Step:
    """The change from as left at one visit to as found at the next."""

    days: float
    by: float
    uncertainty: float
    """Expanded (k = 2)."""

    @property
    def years(self) -> float:
        """The span in years."""
        return self.days / DAYS_A_YEAR


@dataclass(frozen=True, slots=True)
class Drift:
    """Drift per year."""

    per_year: float
    uncertainty: float
    """Expanded (k = 2)."""
    steps: int
    years: float
    """Sum of all spans."""

    @property
    def shows(self) -> bool:
        """Whether it exceeds its uncertainty."""
        return abs(self.per_year) > self.uncertainty


def drift(steps: Sequence[Step]) -> Drift | None:
    """The drift of these steps; None where they span less than a day or have no uncertainty for their weights."""
    usable = [s for s in steps if s.days > 0 and s.uncertainty > 0]
    if sum(s.days for s in usable) < SHORTEST_DAYS:
        return None
    weight = sum((s.years / s.uncertainty) ** 2 for s in usable)
    rate = sum(s.by * s.years / s.uncertainty**2 for s in usable) / weight
    spread = 1 / math.sqrt(weight)
    if len(usable) > 2:
        chi2 = sum(((s.by - rate * s.years) / (s.uncertainty / 2)) ** 2 for s in usable)
        spread *= math.sqrt(max(1.0, chi2 / (len(usable) - 1)))
    return Drift(rate, spread, len(usable), sum(s.years for s in usable))


def reaches(found: Drift, since: date, value: float, allowed: tuple[float, float]) -> date | None:
    """The day on which the drift reaches a limit of the tolerance.

    Args:
        found: the drift.
        since: when `value` was read.
        value: the as-left value.
        allowed: lowest and highest accepted value; infinite where there is no limit.

    Returns:
        That day; `since` where the value is outside already; None where no drift shows, or for fifty years and more.
    """
    low, high = allowed
    if not low <= value <= high:
        return since
    if not found.shows:
        return None
    years = ((high if found.per_year > 0 else low) - value) / found.per_year
    if years >= FARTHEST_YEARS:
        return None
    return since + timedelta(days=years * DAYS_A_YEAR)
