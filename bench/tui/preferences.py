"""What is remembered from one start to the next: the last choices, and whether the bell is on."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any


class Memory:
    """Words by name, kept from one start to the next. What can't be read or written is forgotten in silence."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def recall(self) -> dict[str, Any]:
        """What was kept."""
        try:
            kept = json.loads(self._path.read_text(encoding="utf-8"))
        except (OSError, ValueError, RecursionError):
            return {}
        return {k: v for k, v in kept.items() if isinstance(v, str)} if isinstance(kept, dict) else {}

    def keep(self, what: dict[str, str]) -> None:
        """Keep this beside what is already kept."""
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            self._path.write_text(json.dumps(self.recall() | what, ensure_ascii=False, indent=1), encoding="utf-8")
        except OSError:
            return


def usual_memory() -> Memory:
    """In the place that the system has for such things."""
    import platformdirs

    return Memory(platformdirs.user_state_path("tapebench", appauthor=False) / "chooser.json")
