"""Finds the line of each key in a TOML text, which tomllib does not report."""

from __future__ import annotations

import contextlib
import re
from typing import Any

from bench.procedure.load.file_problems import KeyPath

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}#\n]+")
_STRING = re.compile(
    "|".join(
        (
            r'"""(?:[^\\]|\\.)*?"{3,5}',
            r"'''.*?'{3,5}",
            r'"(?:[^"\\\n]|\\.)*"',
            r"'[^'\n]*'",
        )
    ),
    re.DOTALL,
)


def lines_of(text: str) -> dict[KeyPath, int]:
    """The line, from 1, of every key, list item and table of a text that tomllib has accepted."""
    scan = _Scan(text)
    with contextlib.suppress(_Lost, RecursionError):  # the lines found so far still help
        scan.document()
    return scan.found


def line_at(lines: dict[KeyPath, int], at: KeyPath) -> int | None:
    """Line of a place, or of the nearest enclosing place that has one."""
    while at:
        if at in lines:
            return lines[at]
        at = at[:-1]
    return None


class _Lost(Exception):  # noqa: N818 - never leaves this module
    """The scanner does not know this syntax."""


class _Scan:
    """Scans a text once, and notes the lines of keys."""

    def __init__(self, text: str) -> None:
        self.text = text.replace("\r\n", "\n")
        self.at = 0
        self.line = 1
        self.found: dict[KeyPath, int] = {}
        self.lists: dict[KeyPath, int] = {}
        """Number of items so far in each list of tables."""

    def document(self) -> None:
        """Scan the whole text."""
        table: KeyPath = ()
        while True:
            self.skip(_BLANK)
            if self.at >= len(self.text):
                return
            if self.text.startswith("[", self.at):
                table = self.header()
            else:
                self.pair(table)

    def header(self) -> KeyPath:
        """`[table]` or `[[list of tables]]`."""
        double = self.text.startswith("[[", self.at)
        line = self.line
        self.at += 2 if double else 1
        keys = self.keys()
        self.at += 2 if double else 1
        place = self.into(keys[:-1])
        place = (*place, keys[-1])
        if double:
            index = self.lists.get(place, 0)
            self.lists[place] = index + 1
            self.found.setdefault(place, line)
            place = (*place, index)
        self.found.setdefault(place, line)
        return place

    def into(self, keys: tuple[str, ...]) -> KeyPath:
        """Place of a header: a key that names a list of tables means its last item."""
        place: KeyPath = ()
        for key in keys:
            place = (*place, key)
            self.found.setdefault(place, self.line)
            if place in self.lists:
                place = (*place, self.lists[place] - 1)
        return place

    def pair(self, table: KeyPath) -> None:
        """`key = value`."""
        line = self.line
        place = table
        for key in self.keys():
            place = (*place, key)
            self.found.setdefault(place, line)
        self.expect("=")
        self.value(place)

    def keys(self) -> tuple[str, ...]:
        """`a.b."c d"`."""
        keys = []
        while True:
            self.skip(_SPACE)
            if self.text[self.at : self.at + 1] in {'"', "'"}:
                keys.append(_unquoted(self.take(_STRING)))
            else:
                keys.append(self.take(_BARE))
            self.skip(_SPACE)
            if not self.text.startswith(".", self.at):
                return tuple(keys)
            self.at += 1

    def value(self, place: KeyPath) -> None:
        """Scan a value, including lists and inline tables."""
        self.skip(_SPACE)
        match self.text[self.at : self.at + 1]:
            case "[":
                self.at += 1
                self.items(place)
            case "{":
                self.at += 1
                self.inline(place)
            case '"' | "'":
                self.take(_STRING)
            case _:
                self.take(_SCALAR)

    def items(self, place: KeyPath) -> None:
        """Scan the items of a list up to its `]`."""
        index = 0
        while True:
            self.skip(_BLANK)
            if self.text.startswith("]", self.at):
                self.at += 1
                return
            self.found[(*place, index)] = self.line
            self.value((*place, index))
            index += 1
            self.skip(_BLANK)
            if self.text.startswith(",", self.at):
                self.at += 1

    def inline(self, place: KeyPath) -> None:
        """Scan the pairs of an inline table up to its `}`."""
        while True:
            self.skip(_BLANK)
            if self.text.startswith("}", self.at):
                self.at += 1
                return
            self.pair(place)
            self.skip(_BLANK)
            if self.text.startswith(",", self.at):
                self.at += 1

    def expect(self, sign: str) -> None:
        if not self.text.startswith(sign, self.at):
            raise _Lost
        self.at += len(sign)

    def skip(self, pattern: re.Pattern[str]) -> None:
        match = pattern.match(self.text, self.at)
        if match:
            self.line += match.group().count("\n")
            self.at = match.end()

    def take(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        if not match:
            raise _Lost
        self.line += match.group().count("\n")
        self.at = match.end()
        return match.group()


def _unquoted(key: str) -> str:
    import tomllib

    table: dict[str, Any] = tomllib.loads(f"{key} = 0")
    return next(iter(table))
