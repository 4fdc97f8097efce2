"""Bounds for TOML from outside: what no file of this program needs is refused or cleaned here, and nowhere else."""

from __future__ import annotations

import re
import tomllib
from datetime import date, datetime
from typing import Any

LARGEST_NUMBER = 1e15
FIRST_YEAR, LAST_YEAR = 1970, 2200
MOST_PARTS = 16
"""Maximum number of parts of a dotted key. The parser's time and memory grow with their square."""

_PART = r"""(?:[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|'[^'\n]*')"""
_DOTTED = rf"(?:[ \t]*{_PART}[ \t]*\.){{{MOST_PARTS}}}"
_LONG_KEY = re.compile(rf"(?m)^[ \t]*\[{{0,2}}{_DOTTED}|[{{,]{_DOTTED}")
_ACTS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
"""Characters that act on a terminal or a page, and lone surrogates."""


class OutOfBoundsError(ValueError):
    """What is wrong, as the end of a sentence; `at` is the key."""

    def __init__(self, message: str, at: tuple[str | int, ...] = (), line: int | None = None) -> None:
        super().__init__(message)
        self.at = at
        self.line = line


def parse(text: str) -> dict[str, Any]:
    """Parse a text.

    Raises:
        OutOfBoundsError: a key, a number or a date that no file needs.
        tomllib.TOMLDecodeError: it is not TOML.
    """
    if found := _LONG_KEY.search(text):
        line = text.count("\n", 0, found.end()) + 1
        raise OutOfBoundsError(f"a key has more than {MOST_PARTS} parts", line=line)
    try:
        table = tomllib.loads(text)
        _check(table, ())
    except RecursionError:
        raise OutOfBoundsError("lists or tables are nested too deep") from None
    return table


def clean(text: str) -> str:
    """The text with characters that act on a terminal or a page replaced, and line ends normalised."""
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    return _ACTS.sub("\N{REPLACEMENT CHARACTER}", text)


def cleaned(value: Any) -> Any:
    """A parsed value with all its texts and keys clean."""
    match value:
        case str():
            return clean(value)
        case dict():
            return {clean(key): cleaned(item) for key, item in value.items()}
        case list():
            return [cleaned(item) for item in value]
    return value


def _check(value: Any, at: tuple[str | int, ...]) -> None:
    match value:
        case dict():
            for key, item in value.items():
                _check(item, (*at, key))
        case list():
            for n, item in enumerate(value):
                _check(item, (*at, n))
        case bool() | str():
            pass
        case int() | float() if abs(value) > LARGEST_NUMBER and value not in (float("inf"), float("-inf")):
            raise OutOfBoundsError("is too large a number", at)
        case datetime() | date() if not FIRST_YEAR <= value.year <= LAST_YEAR:
            raise OutOfBoundsError(f"is not a date from {FIRST_YEAR} to {LAST_YEAR}", at)
