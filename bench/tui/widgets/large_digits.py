"""Digits and shapes large enough to read across the bench, drawn with full and half blocks at any height."""

from __future__ import annotations

from bench.figures import MINUS

_SEGMENTS = {
    "0": "abcdef",
    "1": "bc",
    "2": "abged",
    "3": "abgcd",
    "4": "fgbc",
    "5": "afgcd",
    "6": "afgedc",
    "7": "abc",
    "8": "abcdefg",
    "9": "abcdfg",
}
"""Segments of each digit: a top, b and c right, d bottom, e and f left, g middle."""

TICK = ["     ▄▄", "    ▄█▀", "▄▄ ▄█▀ ", "▀█▄█▀  ", "  ▀▀   "]
CROSS = ["▄▄   ▄▄", " ▀█▄█▀ ", "  ▄█▄  ", "▄█▀ ▀█▄", "▀     ▀"]
UP = ["   ▄   ", "  ▄█▄  ", " ▄███▄ ", "▀▀███▀▀", "  ███  "]
DOWN = ["  ███  ", "▄▄███▄▄", " ▀███▀ ", "  ▀█▀  ", "   ▀   "]
ABOUT = ["       ", " ▄▄   ▄", "█▀▀█▄▄█", "▀   ▀▀ ", "       "]


def large_text(text: str, rows: int) -> list[str]:
    """Digits, signs, points and colons, `rows` lines high (5 or more, odd), one blank column between them."""
    drawn = [_sign(sign, rows) for sign in text]
    return [" ".join(parts) for parts in zip(*drawn, strict=True)]


def _sign(sign: str, rows: int) -> list[str]:
    stroke = 2 if rows < 7 else 3
    width = rows + 1
    middle = rows // 2
    if sign in _SEGMENTS:
        return _digit(_SEGMENTS[sign], rows, width, stroke)
    if sign in (MINUS, "-", "–", "+"):
        wide = width - 2
        out = [" " * wide] * rows
        if sign == "+":
            half = (wide - stroke) // 2
            for row in range(middle - 1, middle + 2):
                out[row] = (" " * half + "█" * stroke).ljust(wide)
        out[middle] = "█" * wide
        return out
    if sign == ".":
        return [" " * stroke] * (rows - 1) + ["█" * stroke]
    if sign == ":":
        return ["█" * stroke if row in (1, rows - 2) else " " * stroke for row in range(rows)]
    return [" " * stroke] * rows


def _digit(bars: str, rows: int, width: int, stroke: int) -> list[str]:
    middle = rows // 2
    grid = [[" "] * width for _ in range(rows)]

    def across(row: int) -> None:
        grid[row] = ["█"] * width

    def down(first: int, last: int, column: int) -> None:
        for row in range(first, last + 1):
            grid[row][column : column + stroke] = ["█"] * stroke

    for bar, row in (("a", 0), ("g", middle), ("d", rows - 1)):
        if bar in bars:
            across(row)
    right = width - stroke
    for bar, first, last, column in (
        ("f", 0, middle, 0),
        ("e", middle, rows - 1, 0),
        ("b", 0, middle, right),
        ("c", middle, rows - 1, right),
    ):
        if bar in bars:
            down(first, last, column)
    for bar, upright, row, column, half in (
        ("a", "f", 0, 0, "▄"),
        ("a", "b", 0, width - 1, "▄"),
        ("d", "e", rows - 1, 0, "▀"),
        ("d", "c", rows - 1, width - 1, "▀"),
    ):
        if bar in bars and upright in bars:
            grid[row][column] = half
    return ["".join(row) for row in grid]
