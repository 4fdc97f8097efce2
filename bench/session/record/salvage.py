"""What can still be read from a damaged `session.toml`: every table that is intact."""

from __future__ import annotations

import re
from typing import Any

from bench.bounded_toml import parse

_TABLE = re.compile(r"(?m)^(?=\[)")
"""The beginning of a table: the program writes no other line that starts with a bracket."""


def salvage(text: str) -> tuple[dict[str, Any], int]:
    """The tables of a damaged file that parse, as one table, and how many don't.

    Args:
        text: content of the file, with bytes that are not text already replaced by the replacement character.
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
