"""Drives `tapebench run --plain` as a person at a terminal would: reads its output and types answers."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from collections.abc import Mapping
from pathlib import Path


class Typed:
    """A run in its own process."""

    def __init__(self, args: list[str], env: Mapping[str, str], cwd: Path) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "bench", *args],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=dict(env),
            cwd=cwd,
        )
        self.said: list[str] = []
        self._from = 0
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self._process.stderr is not None
        for line in self._process.stderr:
            self.said.append(line.rstrip("\n"))

    def wait_for(self, words: str, limit_s: float = 60.0) -> str:
        """Wait for a new line that contains these words."""
        until = time.monotonic() + limit_s
        while time.monotonic() < until:
            while self._from < len(self.said):
                line = self.said[self._from]
                self._from += 1
                if words in line:
                    return line
            time.sleep(0.02)
        raise AssertionError(f'"{words}" was never said; the last lines were:\n' + "\n".join(self.said[-30:]))

    def type(self, line: str = "") -> None:
        """Type a line and press enter."""
        assert self._process.stdin is not None
        self._process.stdin.write(line + "\n")
        self._process.stdin.flush()

    def end(self, limit_s: float = 30.0) -> tuple[int, str]:
        """Wait for the end; returns the exit code and stdout."""
        assert self._process.stdout is not None
        try:
            code = self._process.wait(limit_s)
        except subprocess.TimeoutExpired:
            self._process.kill()
            raise AssertionError("it did not end; the last lines were:\n" + "\n".join(self.said[-30:])) from None
        return code, self._process.stdout.read()

    def kill(self) -> None:
        """Kill the process."""
        self._process.kill()
        self._process.wait()
