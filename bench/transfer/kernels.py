"""Interpolation between samples, the only loop of this room over single samples."""

from __future__ import annotations

import numba
import numpy as np

from bench.arrays import Floats

PHASES = 512
"""Positions between two samples that have weights of their own; linear interpolation between them errs by -110 dB."""


def sinc_table(half: int, beta: float) -> Floats:
    """The windowed sinc, shape (PHASES + 2, 2·half): a row for each position between two samples, and a spare one.

    Args:
        half: samples that are used on either side.
        beta: of the Kaiser window (Kaiser and Schafer, IEEE Trans. ASSP-28, 1980; from memory).
    """
    place = np.arange(PHASES + 2)[:, None] / PHASES
    away = np.arange(1 - half, half + 1)[None] - place
    window = np.i0(beta * np.sqrt(np.maximum(0.0, 1 - (away / half) ** 2))) / np.i0(beta)
    table = np.sinc(away) * window
    return np.asarray(table / table.sum(axis=1, keepdims=True))


@numba.njit(cache=True, nogil=True, fastmath=True)  # type: ignore[untyped-decorator, unused-ignore]
def interpolate(  # noqa: PLR0917 - compiled code is called by position
    sound: Floats, first: int, start: int, step: float, late: Floats, every: float, table: Floats, out: Floats
) -> None:
    """Interpolate at `place + late(place)`, `place = (start + n)·step`, for every frame n of `out`.

    The result does not depend on the size of the blocks.

    Args:
        sound: shape (channels, frames); its first frame is number `first` of the whole sound.
        first: see `sound`.
        start: number of the first frame of `out` in the whole output.
        step: frames of `sound` for each frame of `out`.
        late: delay in the middle of each stretch, in frames of `sound`, shape (channels, stretches + 1); linear between
            the middles. The last one is repeated.
        every: length of a stretch, in frames of `sound`.
        table: the result of `sinc_table`.
        out: shape (channels, frames); receives the result.
    """
    # Unsigned indices are not checked for counting from the end, which would take a third of the time.
    taps, back = np.uint64(table.shape[1]), first + table.shape[1] // 2 - 1
    for channel in range(out.shape[0]):
        line = sound[channel]
        for n in range(out.shape[1]):
            place = (start + n) * step
            stretch = min(max(place / every - 0.5, 0.0), late.shape[1] - 2.0)
            before = int(stretch)
            now = late[channel, before]
            place += now + (stretch - before) * (late[channel, before + 1] - now)
            whole = int(np.floor(place))
            phase = int((place - whole) * PHASES)
            share = (place - whole) * PHASES - phase
            at, near, next_one = np.uint64(whole - back), np.uint64(phase), np.uint64(phase + 1)
            total = 0.0
            for k in range(taps):
                total += line[at + k] * (table[near, k] + share * (table[next_one, k] - table[near, k]))
            out[channel, n] = total
