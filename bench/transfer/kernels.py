"""Sound between its samples: the one loop of this room that goes sample by sample."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HALF = 32
"""Samples that are taken on either side."""
PHASES = 512
"""Places between two samples for which weights are held; in between they are interpolated, to within -110 dB."""


def weights() -> Floats:
    """The windowed sinc, shape (PHASES + 2, 2·HALF): a row for each place between two samples, and one to spare.

    A Kaiser window of β = 9: 90 dB down outside (Kaiser and Schafer, IEEE Trans. ASSP-28, 1980; from memory).
    """
    place = np.arange(PHASES + 2)[:, None] / PHASES
    away = np.arange(1 - HALF, HALF + 1)[None] - place
    window = np.i0(9.0 * np.sqrt(np.maximum(0.0, 1 - (away / HALF) ** 2))) / np.i0(9.0)
    table = np.sinc(away) * window
    return np.asarray(table / table.sum(axis=1, keepdims=True))


@numba.njit(cache=True, nogil=True, fastmath=True)  # type: ignore[untyped-decorator, unused-ignore]
def between(  # noqa: PLR0917 - compiled code is called by position
    sound: Floats, first: int, start: int, step: float, late: Floats, every: float, table: Floats, out: Floats
) -> None:
    """Sound at places `at + late(at)`, `at = (start + n)·step`, for every n of `out`: they depend on no block.

    Args:
        sound: shape (channels, frames), the frame at 0 being frame `first` of the whole.
        first: see above.
        start: the first frame of `out`, counted over the whole.
        step: frames of `sound` for a frame of `out`.
        late: frames of `sound`, shape (channels, stretches + 1): in the middle of each stretch, between the middles in
            a straight line; the last one is there twice.
        every: frames of `sound` in a stretch.
        table: of `weights`.
        out: shape (frames, channels), written.
    """
    for channel in range(out.shape[1]):
        line = sound[channel]
        for n in range(out.shape[0]):
            place = (start + n) * step
            stretch = min(max(place / every - 0.5, 0.0), late.shape[1] - 2.0)
            before = int(stretch)
            now = late[channel, before]
            place += now + (stretch - before) * (late[channel, before + 1] - now)
            whole = int(np.floor(place))
            row = int((place - whole) * PHASES)
            share = (place - whole) * PHASES - row
            at = whole - first - HALF + 1
            piece, near, next_one = line[at : at + 2 * HALF], table[row], table[row + 1]
            total = 0.0
            for k in range(2 * HALF):
                total += piece[k] * (near[k] + share * (next_one[k] - near[k]))
            out[n, channel] = total


def warm() -> None:
    """Compile it now."""
    between(np.zeros((1, 4 * HALF)), -HALF, 0, 1.0, np.zeros((1, 2)), 1.0, weights(), np.zeros((1, 1)))
