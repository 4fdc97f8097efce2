"""What can still be read of a damaged `session.toml`: every table that is whole by itself."""

from __future__ import annotations

import re
from typing import Any

from bench.bounded_toml import parse

_TABLE = re.compile(r"(?m)^(?=\[)")
"""Where a table begins: the program writes no other line that starts with a bracket."""


def salvage(text: str) -> tuple[dict[str, Any], int]:
    """The tables of a damaged file that parse, as one table, and how many don't.

    Args:
        text: the file's content; a byte that is no text is a replacement character by now.
    """
    whole: dict[str, Any] = {}
    lost = 0
    for part in _TABLE.split(text):
        try:
            table = parse(part)
        except ValueError:
            lost += 1
            continue
        for key, value in table.items():
            old = whole.get(key)
            if isinstance(old, list) and isinstance(value, list):
                old.extend(value)
            else:
                whole.setdefault(key, value)
    return whole, lost
