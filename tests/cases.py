"""How many cases a property is tried with."""

from __future__ import annotations

from collections.abc import Collection

from hypothesis import HealthCheck, settings


def cases(count: int, suppress_health_check: Collection[HealthCheck] = ()) -> settings:
    """Settings for a property: `count` cases, and in a search as many as its profile has."""
    profile = settings()
    return settings(
        max_examples=count if profile.derandomize else max(count, profile.max_examples),
        suppress_health_check=[*profile.suppress_health_check, *suppress_health_check],
    )
