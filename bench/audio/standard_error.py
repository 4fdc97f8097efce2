"""Keeps output of C libraries to file descriptor 2, which bypasses Python's stderr, off a full-screen program."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator
from pathlib import Path


@contextlib.contextmanager
def stderr_silenced() -> Iterator[None]:
    """Discard output to file descriptor 2 during short calls into a noisy library."""
    try:
        kept = os.dup(2)
    except OSError:  # no descriptor 2 exists, so nothing can be written to it
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
def stderr_to_file(log: Path) -> Iterator[None]:
    """Redirect file descriptor 2 to `log`, while Python's own output to stderr still reaches the terminal.

    Enter it before sounddevice is imported and before a full-screen program starts: such a program draws on
    `sys.__stderr__` (Linux and macOS), which gets a descriptor of its own here.

    Args:
        log: file to which the libraries' output is appended; readable by its owner only.
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
