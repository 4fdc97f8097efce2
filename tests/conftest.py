"""How Hypothesis runs here: nothing is judged by the clock, for the computer may be busy."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile("bench", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("bench")
