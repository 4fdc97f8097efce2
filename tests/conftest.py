"""Settings of all tests.

Hypothesis has the same cases each time, and no deadlines, because the computer may be busy;
`--hypothesis-profile=search` tries new cases. Folders of tests are in memory where there is room for them: a session is
flushed to the disk after every event, which takes a real disk some milliseconds each time.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from hypothesis import HealthCheck, settings

MEMORY, ENOUGH = Path("/dev/shm"), 4e9
"""The disk in memory of a Linux system, and the free space that it must have, bytes."""
if MEMORY.is_dir() and shutil.disk_usage(MEMORY).free > ENOUGH:
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(MEMORY))

settings.register_profile("bench", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("search", settings.get_profile("bench"), derandomize=False, database=None, max_examples=1000)
settings.load_profile("bench")
