from __future__ import annotations

import pytest


@pytest.fixture(autouse=True)
def _many_colours(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same terminal for every test, wherever it runs."""
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("COLORTERM", "truecolor")
    monkeypatch.delenv("NO_COLOR", raising=False)
