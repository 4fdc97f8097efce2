"""Memory of large arrays goes back to the system as soon as it is free, so that a long job needs no more than others.

The GNU C library raises its threshold for separate mappings with each large array that is freed. Later arrays then lie
in the heap, which sound of changing length fragments.
"""

from __future__ import annotations

import ctypes
import sys
from contextlib import suppress

M_MMAP_THRESHOLD = -3
"""Source: malloc.h of the GNU C library; setting it also stops its automatic adjustment (mallopt(3))."""
LARGE = 1 << 20
"""Bytes from which a block has a mapping of its own. A choice."""


def return_large_blocks() -> None:
    """Fix the threshold; without effect where the C library has none."""
    if sys.platform == "linux":
        with suppress(AttributeError, OSError):
            ctypes.CDLL(None).mallopt(M_MMAP_THRESHOLD, LARGE)
