"""Parts of sentences: lists, counts, minus signs, and text without control characters."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

NO_BREAK = "\N{NO-BREAK SPACE}"


def listed(items: Sequence[str]) -> str:
    """Items in a sentence: "a, b and c"."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"


def capitalised(text: str) -> str:
    """Text with its first letter as a capital."""
    return text[:1].upper() + text[1:]


def counted(count: int, noun: str, plural: str = "") -> str:
    """A number of things: "1 pass", "2 passes"; `plural` is needed only where an s is not enough."""
    return f"{count} {noun if count == 1 else plural or noun + 's'}"


def differing(facts: Iterable[tuple[str, object, object]]) -> list[str]:
    """A sentence for each (plural name, one, other) that differs: "different tapes: A, and B"."""
    return [f"different {name}: {a or 'not given'}, and {b or 'not given'}" for name, a, b in facts if a != b]


def in_columns(rows: Sequence[Sequence[str]]) -> list[str]:
    """A line for each row, with cells as wide as the widest of their column."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return ["  ".join(map(str.ljust, row, widths)).rstrip() for row in rows]


def all_are(count: int, noun: str, where: str = "") -> str:
    """The beginning of a sentence about all of them: "All 3 readings at 2 steps are", "The reading at 1 step is"."""
    return f"The {noun}{where} is" if count == 1 else f"All {count} {noun}s{where} are"


def true_minus(text: str) -> str:
    """Text with a true minus sign before each number that has one."""
    return re.sub(r"(?<![\w-])-(?=\d)", "−", text)


def inert(text: str) -> str:
    """Text on one line, without characters that act on a terminal or a page."""
    return "".join(
        c if c.isprintable() or c == NO_BREAK else " " if c.isspace() else "\N{REPLACEMENT CHARACTER}" for c in text
    )
