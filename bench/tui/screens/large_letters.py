"""Words in the largest letters that fit: a matrix of 5 × 7 dots, from several cells for a dot to eight dots in one."""

from __future__ import annotations

from functools import lru_cache

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
    " ": "0000000000",
}  # fmt: skip
"""The columns of each sign from the left, two hexadecimal digits each, the lowest bit at the top."""

_ALIKE = {"−": "-", "–": "-", "—": "-", "’": "'", "“": "'", "”": "'", "Μ": "µ"}
_MATRIX = 6, 8
"""Dots across a letter and the gap after it, and down."""

_HALVES = " ▀▄█"
_QUARTERS = " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"
_BRAILLE = [0x01, 0x08, 0x02, 0x10, 0x04, 0x20, 0x40, 0x80]
_EIGHTHS = " " + "".join(
    chr(0x2800 + sum(bit for n, bit in enumerate(_BRAILLE) if dots >> n & 1)) for dots in range(1, 256)
)
_SIZES = ((3, 1, 2, _HALVES), (2, 1, 2, _HALVES), (1, 1, 2, _HALVES), (1, 2, 2, _QUARTERS), (1, 2, 4, _EIGHTHS))
"""The largest first: side of a dot, dots across and down in a cell, and the cell for each pattern of dots, whose lowest
bit is at the top left."""


def large_words(text: str, width: int, height: int) -> list[str]:
    """Text in the largest letters in which all of it fits, with rows between the lines if there is room.

    Args:
        text: any text.
        width: cells.
        height: rows. Plain letters are cut off there.
    """
    words = plain(text)
    longest = max(map(len, words.split()), default=1)
    for side, across, down, cells in _SIZES:
        most = width * across // (side * _MATRIX[0])
        lines = wrap(words, most) if longest <= most else []
        if lines and len(lines) * side * _MATRIX[1] // down <= height:
            return _set([_large(line, side, across, down, cells) for line in lines], height)
    return _set([(line,) for line in wrap(words, width)], height)[:height]


def _set(lines: list[tuple[str, ...]], height: int) -> list[str]:
    """Lines of several rows below one another, with an empty row after each if there is room."""
    spaced = [row for rows in lines for row in (*rows, "")]
    return spaced if len(spaced) <= height else [row for rows in lines for row in rows]


@lru_cache(maxsize=64)
def _large(line: str, side: int, across: int, down: int, cells: str) -> tuple[str, ...]:
    letters = [
        _COLUMNS.get(_ALIKE.get(sign, sign), _COLUMNS["?"]) if sign != " " else "00" * 5 for sign in line.upper()
    ]
    columns = [dots for letter in letters for dots in (*bytes.fromhex(letter), 0)]

    def dot(x: int, y: int) -> int:
        return columns[x // side] >> y // side & 1 if x < side * len(columns) else 0

    return tuple(
        "".join(
            cells[sum(dot(x + n % across, y + n // across) << n for n in range(across * down))]
            for x in range(0, side * len(columns), across)
        ).rstrip()
        for y in range(0, side * _MATRIX[1], down)
    )
