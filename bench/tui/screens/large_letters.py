"""Words in the largest letters that fit: a matrix of 5 × 7 dots, two dots in a cell, one above the other."""

from __future__ import annotations

from bench.tui.text import plain, wrap

_COLUMNS = {
    "A": "7e1111117e", "B": "7f49494936", "C": "3e41414122", "D": "7f4141221c", "E": "7f49494941", "F": "7f09090901",
    "G": "3e4149497a", "H": "7f0808087f", "I": "00417f4100", "J": "2040413f01", "K": "7f08142241", "L": "7f40404040",
    "M": "7f020c027f", "N": "7f0408107f", "O": "3e4141413e", "P": "7f09090906", "Q": "3e4151215e", "R": "7f09192946",
    "S": "4649494931", "T": "01017f0101", "U": "3f4040403f", "V": "1f2040201f", "W": "3f4038403f", "X": "6314081463",
    "Y": "0708700807", "Z": "6151494543", "0": "3e4141413e", "1": "00427f4000", "2": "4261514946", "3": "2141454b31",
    "4": "1814127f10", "5": "2745454539", "6": "3c4a494930", "7": "0171090503", "8": "3649494936", "9": "064949291e",
    ".": "0060600000", ",": "0050300000", ":": "0036360000", ";": "0056360000", "-": "0808080808", "+": "08083e0808",
    "/": "2010080402", "%": "2313086462", "(": "001c224100", ")": "0041221c00", "'": "0005030000", "?": "0201510906",
    "!": "00005f0000", "=": "1414141414", "°": "0006090906", "µ": "7c20201c20", "±": "44445f4444", "×": "2214081422",
}  # fmt: skip
"""The columns of each sign from the left, two hexadecimal digits each, the lowest bit at the top."""

_ALIKE = {"−": "-", "–": "-", "—": "-", "’": "'", "“": "'", "”": "'", "Μ": "µ"}
WIDTH, ROWS = 6, 4
"""Cells across a letter and the gap after it, and rows."""


def large_words(text: str, width: int, height: int) -> list[str]:
    """Text in large letters if all of it fits in `height` rows; else in plain letters, with rows between the lines.

    Args:
        text: any text.
        width: cells.
        height: rows.
    """
    words = plain(text)
    lines = wrap(words, max(1, width // WIDTH))
    if len(lines) * ROWS <= height and not any(len(line) * WIDTH > width for line in lines):
        return [row for line in lines for row in _large(line)]
    small = wrap(words, width)
    spaced = [row for line in small for row in (line, "")]
    return (spaced if len(spaced) <= height else small)[:height]


def _large(line: str) -> list[str]:
    columns: list[int] = []
    for sign in line.upper():
        dots = _COLUMNS.get(_ALIKE.get(sign, sign), "0000000000" if sign == " " else _COLUMNS["?"])
        columns += [*bytes.fromhex(dots), 0]
    return ["".join(" ▀▄█"[c >> 2 * row & 3] for c in columns).rstrip() for row in range(ROWS)]
