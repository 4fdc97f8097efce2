"""A TOML file, read once, so that the same text is checked, used and copied."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

from bench.bounded_toml import OutOfBoundsError, parse
from bench.procedure.load.file_problems import Finding, KeyPath, Mistake, hidden_character, key_text
from bench.procedure.load.toml_lines import line_at, lines_of

LARGEST_FILE = 1_000_000
"""Largest file, bytes; ten times the longest realistic line-up."""
CACHED_FILES, LARGEST_CACHED = 128, 50_000
"""Number of parsed files in the cache, and the largest cached file, bytes: a list of jobs reads each sheet and each
part many times. The key includes the content, so a changed file is parsed again."""


@dataclass(frozen=True)
class Document:
    """A file, its text and its TOML content."""

    path: Path
    content: bytes
    text: str
    data: dict[str, Any]
    """The TOML content, with tuples for lists, as in the models."""
    made: dict[str, Any] = field(default_factory=dict, compare=False)
    """What was read from it, by the kind of file that it was read as."""

    @cached_property
    def lines(self) -> dict[KeyPath, int]:
        """Line of each key."""
        return lines_of(self.text)

    def finding(self, mistake: Mistake) -> Finding:
        """A mistake of this file as a finding."""
        return Finding(
            self.path, line_at(self.lines, mistake.at), key_text(mistake.at), mistake.message, mistake.remedy
        )

    def findings(self, mistakes: list[Mistake]) -> list[Finding]:
        """Mistakes as findings, ordered by line; those without a line first."""
        return sorted((self.finding(w) for w in mistakes), key=lambda f: f.line or 0)


def read_document(path: Path) -> Document | Finding:
    """Read a file as TOML; a finding where it is not TOML."""
    content = _content(path)
    if isinstance(content, Finding):
        return content
    return _cached(path, content) if len(content) <= LARGEST_CACHED else _parsed(path, content)


@lru_cache(maxsize=CACHED_FILES)
def _cached(path: Path, content: bytes) -> Document | Finding:
    return _parsed(path, content)


def _parsed(path: Path, content: bytes) -> Document | Finding:
    if content.startswith(b"\xef\xbb\xbf"):
        return Finding(path, 1, "", "begins with a byte order mark", "save it as UTF-8 without one")
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        return Finding(path, line, "", "is not UTF-8 text", "save it as UTF-8 in your editor")
    try:
        data = parse(text)
    except OutOfBoundsError as error:
        there = line_at(lines_of(text), error.at) if error.at else error.line
        return Finding(path, there, key_text(error.at), str(error), "take it out, or write what belongs there")
    except ValueError as error:
        return _not_toml(path, text, str(error))
    return Document(path, content, text, {key: _tuples(value) for key, value in data.items()})


def hidden_text(data: Any) -> list[Mistake]:
    """Every key and text with a character that controls a terminal or hides text."""
    out = []
    for at, text in _texts(data, ()):
        code = hidden_character(text)
        if code:
            out.append(Mistake(at, f"holds the hidden character {code}", "take it out; it can act on a terminal"))
    return out


def _content(path: Path) -> bytes | Finding:
    try:
        if path.is_dir():
            return Finding(path, None, "", "is a folder", "name a .toml file")
        if not path.is_file():
            if path.exists():
                return Finding(path, None, "", "is not a plain file", "name a .toml file")
            return Finding(path, None, "", "no such file", "see its name and folder")
        with path.open("rb") as file:
            content = file.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as error:
        reason = os.strerror(error.errno) if isinstance(error, OSError) and error.errno else "no such file name"
        return Finding(path, None, "", f"can't be read ({reason})", "see its name and permissions")
    if len(content) > LARGEST_FILE:
        return Finding(path, None, "", f"is larger than {LARGEST_FILE:,} bytes", "this is not a procedure or a sheet")
    if not content.strip():
        return Finding(path, None, "", "is empty", "begin it with `format = 1`")
    return content


def _not_toml(path: Path, text: str, said: str) -> Finding:
    """The message of the parser, with its line in the usual place."""
    place = re.search(r" \(at line (\d+), column (\d+)\)$", said)
    at_end = said.endswith(" (at end of document)")
    line = int(place.group(1)) if place else text.count("\n") + 1 if at_end else None
    message = re.sub(r" \(at [^()]*\)$", "", said)
    message = message[:1].lower() + message[1:]
    where = f" at column {place.group(2)}" if place else ""
    return Finding(path, line, "", f"is not TOML: {message}{where}", "see quotes, brackets and = signs there")


def _tuples(value: Any) -> Any:
    match value:
        case list():
            return tuple(_tuples(v) for v in value)
        case dict():
            return {k: _tuples(v) for k, v in value.items()}
    return value


def _texts(value: Any, at: KeyPath) -> Iterator[tuple[KeyPath, str]]:
    match value:
        case str():
            yield at, value
        case tuple():
            for n, item in enumerate(value):
                yield from _texts(item, (*at, n))
        case dict():
            for key, item in value.items():
                yield (*at, key), key
                yield from _texts(item, (*at, key))
