from __future__ import annotations

from functools import partial

import pytest
from textual._wait import wait_for_idle


@pytest.fixture(autouse=True)
def _many_colours(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same terminal for every test, wherever it runs."""
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("COLORTERM", "truecolor")
    monkeypatch.delenv("NO_COLOR", raising=False)


@pytest.fixture(autouse=True)
def _scripted_threads_are_not_slow(monkeypatch: pytest.MonkeyPatch) -> None:
    """A scripted thread shows nothing between two snapshots, however long a busy machine takes for a test."""
    monkeypatch.setattr("bench.tui.screens.bench.SLOW_S", 600.0)


@pytest.fixture
def _bench_never_idle(monkeypatch: pytest.MonkeyPatch) -> None:
    """A bench at work redraws its meters all the time; Textual would wait a second for an idle screen at each key."""
    for module in ("app", "pilot"):
        monkeypatch.setattr(f"textual.{module}.wait_for_idle", partial(wait_for_idle, max_sleep=0.05))
