"""Encodes the exercise in `session.toml`, so that a trainee who opens the file does not read what is hidden.

It is not a secret: it is base64 of JSON, which anyone can decode. The debrief states everything in clear.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Mapping
from typing import Any


def encode_exercise(exercise: Mapping[str, Any]) -> str:
    """Encode a sheet as text."""
    return base64.b64encode(json.dumps(exercise, ensure_ascii=False).encode("utf-8")).decode("ascii")


def decode_exercise(text: str) -> dict[str, Any]:
    """Decode a sheet. Raises `ValueError` for a damaged text."""
    try:
        exercise = json.loads(base64.b64decode(text, validate=True))
    except ValueError:
        exercise = None
    if not isinstance(exercise, dict):
        raise ValueError("this encodes no exercise")
    return exercise
