"""Memory of the process."""

from __future__ import annotations

import sys


def return_freed_memory() -> None:
    """Return freed memory to the system.

    The C library of Linux (glibc) otherwise keeps it, apart for each thread. Elsewhere this does nothing.
    """
    if sys.platform == "linux":
        import ctypes

        trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
        if trim is not None:
            trim(0)
