from __future__ import annotations

from functools import partial

import pytest
from textual._wait import wait_for_idle


@pytest.fixture(autouse=True)
def _many_colours(monkeypatch: pytest.MonkeyPatch) -> None:
    """Give every test the same terminal, wherever it runs."""
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("COLORTERM", "truecolor")
    monkeypatch.delenv("NO_COLOR", raising=False)


@pytest.fixture(autouse=True)
def _scripted_threads_are_not_slow(monkeypatch: pytest.MonkeyPatch) -> None:
    """Never report a scripted thread as slow: it shows nothing between two snapshots, however long a test takes."""
    monkeypatch.setattr("bench.tui.screens.bench.SLOW_S", 600.0)


@pytest.fixture
def _bench_never_idle(monkeypatch: pytest.MonkeyPatch) -> None:
    """Do not wait for an idle screen after a key: a working bench always redraws its meters, so that takes a second."""
    for module in ("app", "pilot"):
        monkeypatch.setattr(f"textual.{module}.wait_for_idle", partial(wait_for_idle, max_sleep=0.05))
