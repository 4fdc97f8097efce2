"""Settings of Hypothesis: the same cases each time, and no deadlines, because the computer may be busy.

`--hypothesis-profile=search` tries new cases.
"""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile("bench", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("search", settings.get_profile("bench"), derandomize=False, database=None, max_examples=1000)
settings.load_profile("bench")
