"""Time to the first frame, as a multiple of that of an empty Textual app."""

from __future__ import annotations

import os
import select
import shutil
import statistics
import subprocess
import sys
import time
from pathlib import Path

import pytest

from bench.workspace import shipped_procedures

if not Path("/proc/self/schedstat").exists():
    pytest.skip("processor time of another process is read from /proc", allow_module_level=True)
pty = pytest.importorskip("pty", reason="pseudo-terminals are a matter of Unix")

EMPTY = """
from textual.app import App
from textual.widgets import Static

class Empty(App):
    def compose(self):
        yield Static("Emptiness")

Empty().run()
"""
ROUNDS = 9


def _spent(pid: int) -> float:
    """Processor seconds of a running process, all its threads together."""
    threads = Path(f"/proc/{pid}/task").glob("*/schedstat")
    return sum(int(thread.read_text().split()[0]) for thread in threads) / 1e9


def _until(words: bytes, command: list[str], env: dict[str, str]) -> float:
    """Processor seconds from the start of a program until it shows text, not counting other processes."""
    master, slave = pty.openpty()
    started = time.monotonic()
    process = subprocess.Popen(command, stdin=slave, stdout=slave, stderr=slave, env=env, start_new_session=True)
    text = b""
    try:
        while words not in text:
            assert time.monotonic() - started < 60, text[-500:]
            if select.select([master], [], [], 0.05)[0]:
                text += os.read(master, 65536)
        return _spent(process.pid)
    finally:
        process.kill()
        process.wait()
        os.close(master)
        os.close(slave)


def test_the_first_frame_within_half_as_much_again_as_an_empty_app(tmp_path: Path) -> None:
    shutil.copytree(shipped_procedures(), tmp_path / "bench" / "procedures")
    env = os.environ | {"TERM": "xterm-256color", "COLORTERM": "truecolor", "XDG_STATE_HOME": str(tmp_path)}
    env.pop("PYTHONDONTWRITEBYTECODE", None)
    ours = [sys.executable, "-m", "bench", "--workspace", str(tmp_path / "bench")]
    ratios = []
    for _ in range(ROUNDS + 1):  # the first run of each fills the caches
        empty = _until(b"Emptiness", [sys.executable, "-c", EMPTY], env)
        ratios.append(_until(b"Tapebench", ours, env) / empty)
    ratio = statistics.median(ratios[1:])
    print(f"first frame: {ratio:.2f} x an empty Textual app")
    assert ratio < 1.5
