"""How an exercise stands in `session.toml`: encoded, so that a trainee who opens the file does not read what is hidden.

It is no secret, and anyone who wants to can decode it: base64 of JSON. The debrief says everything in clear.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Mapping
from typing import Any


def veiled(exercise: Mapping[str, Any]) -> str:
    """The text for a sheet."""
    return base64.b64encode(json.dumps(exercise, ensure_ascii=False).encode("utf-8")).decode("ascii")


def unveiled(text: str) -> dict[str, Any]:
    """The sheet of a text. Raises `ValueError` for one that is damaged."""
    try:
        exercise = json.loads(base64.b64decode(text, validate=True))
    except ValueError:
        exercise = None
    if not isinstance(exercise, dict):
        raise ValueError("this encodes no exercise")
    return exercise
