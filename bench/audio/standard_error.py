"""C libraries write to file descriptor 2, past Python, and so onto a full-screen program: kept off here."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator
from pathlib import Path


@contextlib.contextmanager
def hushed() -> Iterator[None]:
    """File descriptor 2 leads nowhere for a moment: for short calls into a library that chatters."""
    try:
        kept = os.dup(2)
    except OSError:  # there is no descriptor 2, so nothing can be written to it
        yield
        return
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 2)
        os.close(nowhere)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)


@contextlib.contextmanager
def kept_off_screen(log: Path) -> Iterator[None]:
    """File descriptor 2 leads to `log`, while what Python writes to stderr still reaches the terminal.

    To be entered before sounddevice is imported and before a full-screen program starts: such a program draws
    on `sys.__stderr__` (Linux and macOS), which gets a descriptor of its own here.

    Args:
        log: file that takes what the libraries write; made for its owner alone, appended to.
    """
    if sys.stderr is not None:
        sys.stderr.flush()
    before = sys.__stderr__, sys.stderr
    terminal = os.dup(2)
    handle = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    os.dup2(handle, 2)
    os.close(handle)
    ours = os.fdopen(terminal, "w", encoding="utf-8", errors="backslashreplace", buffering=1, closefd=False)
    sys.__stderr__ = sys.stderr = ours  # type: ignore[misc]
    try:
        yield
    finally:
        ours.flush()
        sys.__stderr__, sys.stderr = before  # type: ignore[misc]
        os.dup2(terminal, 2)
        os.close(terminal)
