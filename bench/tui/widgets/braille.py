"""A canvas of braille dots, two across and four down in each cell, in layers of different colours."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from bench.tui.widgets.line_widget import Line

_BITS = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]])
"""The bit of each dot in a cell: rows from the top, left and right (Unicode block "Braille Patterns")."""


class BrailleCanvas:
    """Layers of dots, the first at the bottom; where layers share a cell, the topmost gives the colour."""

    def __init__(self, width: int, height: int) -> None:
        self._shape = (height * 4, width * 2)
        self._layers: dict[str, NDArray[np.bool_]] = {}

    @property
    def across(self) -> int:
        """Number of dots from left to right."""
        return self._shape[1]

    @property
    def down(self) -> int:
        """Number of dots from top to bottom."""
        return self._shape[0]

    def layer(self, role: str) -> NDArray[np.bool_]:
        """The dots of a role, [row, column] from the top left."""
        return self._layers.setdefault(role, np.zeros(self._shape, dtype=bool))

    def level(self, role: str, row: int, *, every: int = 1) -> None:
        """Draw a horizontal line of every n-th dot; nothing if it is outside the canvas."""
        if 0 <= row < self.down:
            self.layer(role)[row, ::every] = True

    def curve(self, role: str, columns: NDArray[np.int_], rows: NDArray[np.int_]) -> None:
        """Draw a line through points given in dots; points outside the canvas are drawn at its edge."""
        dots = self.layer(role)
        columns = np.clip(columns, 0, self.across - 1)
        rows = np.clip(rows, 0, self.down - 1)
        if len(columns) == 1:
            dots[rows[0], columns[0]] = True
        for (c0, r0), (c1, r1) in pairwise(zip(columns.tolist(), rows.tolist(), strict=True)):
            steps = max(abs(c1 - c0), abs(r1 - r0), 1)
            dots[
                np.rint(np.linspace(r0, r1, steps + 1)).astype(int), np.rint(np.linspace(c0, c1, steps + 1)).astype(int)
            ] = True

    def lines(self) -> list[Line]:
        """The canvas as lines of spans."""
        height, width = self.down // 4, self.across // 2
        signs = np.zeros((height, width), dtype=int)
        top = np.full((height, width), -1)
        for n, layer in enumerate(self._layers.values()):
            bits = np.einsum("hrwc,rc->hw", layer.reshape(height, 4, width, 2).astype(int), _BITS)
            signs |= bits
            top[bits > 0] = n
        roles = [*self._layers, ""]
        return [_runs(row_signs, row_roles, roles) for row_signs, row_roles in zip(signs, top, strict=True)]


def _runs(signs: NDArray[np.int_], tops: NDArray[np.int_], roles: list[str]) -> Line:
    edges = [0, *(np.flatnonzero(np.diff(tops)) + 1).tolist(), len(tops)]
    out: Line = []
    for start, end in pairwise(edges):
        text = "".join(chr(0x2800 + int(s)) if s else " " for s in signs[start:end])
        out.append((text, roles[int(tops[start])] if start < len(tops) else ""))
    return out
