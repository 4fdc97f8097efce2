"""A fault of this program: the file to send us, and the sentence that names it."""

from __future__ import annotations

import os
import sys
import tempfile
import traceback
from functools import lru_cache

from bench import __version__


@lru_cache(maxsize=1)
def crash_file(fault: BaseException) -> str:
    """Write a file with what is needed to fix a fault, once for each fault.

    Returns:
        "please send us" and the file, or why there is none, because the disk itself may be the fault.
    """
    text = "".join(traceback.format_exception(fault))
    try:
        handle, name = tempfile.mkstemp(prefix="tapebench-fault-", suffix=".txt")
        with os.fdopen(handle, "w", encoding="utf-8") as out:
            out.write(f"tapebench {__version__}\n{sys.version}\n{sys.argv}\n\n{text}")
    except OSError as error:
        return f"no file with the details could be written ({error.strerror})"
    return f"please send us {name}"


def fault_words(fault: BaseException) -> str:
    """A fault in one line: what it is, what is safe according to its notes, and the file to send."""
    what = f"a fault of this program ({type(fault).__name__}: {fault})"
    return "; ".join([what, *getattr(fault, "__notes__", ()), crash_file(fault)])
