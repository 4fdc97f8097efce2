"""Text made safe for the screen, clipped and wrapped."""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING

from rich.cells import cell_len, chop_cells, set_cell_size

from bench.words.names import SIGNS

if TYPE_CHECKING:
    from bench.measure.verdict import VerdictWord

ROLES: dict[VerdictWord, str] = {"in": "in", "out": "out", "too close to call": "close", "no reading": "none"}
SHAPES: dict[VerdictWord, tuple[str, str]] = {word: (sign, ROLES[word]) for word, sign in SIGNS.items()}
"""A symbol and a colour role for each verdict; word, symbol and colour always go together."""


_JOINERS = {*range(0xFE00, 0xFE10), *range(0x1F1E6, 0x1F200), *range(0x1F3FB, 0x1F400), *range(0xE0100, 0xE01F0)}
"""Characters that change the width or shape of their neighbours, differently in each terminal."""


def plain(text: str, limit: int = 4000) -> str:
    """Text that can't control a terminal, reorder a line or stack up: one line of visible characters.

    Line ends become spaces, other control characters a visible "�"; signs of direction, joiners and variation
    selectors are dropped; a letter keeps at most two combining marks.
    """
    text = text[:limit] + ("…" if len(text) > limit else "")
    if text.isascii() and text.isprintable():
        return text
    out: list[str] = []
    marks = 0
    for sign in unicodedata.normalize("NFC", text):
        category = unicodedata.category(sign)
        if category.startswith("M"):
            marks += 1
            if marks > 2 or category == "Me" or ord(sign) in _JOINERS or not out:
                continue
            out.append(sign)
            continue
        marks = 0
        if sign in "\n\r\t" or category in ("Zs", "Zl", "Zp"):
            out.append(" ")
        elif category == "Cc":
            out.append("\N{REPLACEMENT CHARACTER}")
        elif category[0] != "C" and ord(sign) not in _JOINERS:
            out.append(sign)
    return "".join(out)


def cell(text: str, width: int, align: str = "left") -> str:
    """Untrusted text in exactly `width` cells, clipped with "…" or padded; `align` is `left`, `right` or `centre`."""
    if width <= 0:
        return ""
    text = plain(text)
    room = width - cell_len(text)
    if room < 0:
        return set_cell_size(set_cell_size(text, width - 1).rstrip() + "…", width)
    if align == "right":
        return " " * room + text
    if align == "centre":
        return " " * (room // 2) + text + " " * (room - room // 2)
    return text + " " * room


def wrap(text: str, width: int) -> list[str]:
    """Untrusted text in lines of at most `width` cells, wrapped between words if possible."""
    lines: list[str] = []
    line = ""
    for word in plain(text).split():
        parts = chop_cells(word, width) if cell_len(word) > width else [word]
        for part in parts:
            if not line:
                line = part
            elif cell_len(line) + 1 + cell_len(part) <= width:
                line += " " + part
            else:
                lines.append(line)
                line = part
    return [*lines, line] if line else lines


def clip(lines: list[str], count: int, width: int) -> list[str]:
    """The first `count` lines; the last one ends in "…" if lines were left out."""
    if len(lines) <= count or count < 1:
        return lines[: max(0, count)]
    last = lines[count - 1]
    while cell_len(last) + 2 > width and " " in last:
        last = last.rpartition(" ")[0]
    return [*lines[: count - 1], last + " …" if cell_len(last) + 2 <= width else cell(last + " " * width, width)]
