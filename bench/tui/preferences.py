"""Preferences kept from one start to the next: the last choices, and whether the bell is on."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any


class Preferences:
    """Text by name, kept in a file. If the file can't be read or written, the preferences are lost silently."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def load(self) -> dict[str, Any]:
        """All saved preferences."""
        try:
            saved = json.loads(self._path.read_text(encoding="utf-8"))
        except (OSError, ValueError, RecursionError):
            return {}
        return {k: v for k, v in saved.items() if isinstance(v, str)} if isinstance(saved, dict) else {}

    def save(self, what: dict[str, str]) -> None:
        """Save these in addition to those already saved."""
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            self._path.write_text(json.dumps(self.load() | what, ensure_ascii=False, indent=1), encoding="utf-8")
        except OSError:
            return


def user_preferences() -> Preferences:
    """The preferences in the system's folder for them."""
    import platformdirs

    return Preferences(platformdirs.user_state_path("tapebench", appauthor=False) / "chooser.json")
