from __future__ import annotations

import pytest


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
