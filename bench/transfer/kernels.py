"""Interpolation between samples, the only loop of this room over single samples."""

from __future__ import annotations

import numba
import numpy as np

from bench.arrays import Floats

HALF = 32
"""Samples that are used on either side."""
PHASES = 512
"""Positions between two samples that have weights of their own; linear interpolation between them errs by -110 dB."""


def sinc_table() -> Floats:
    """The windowed sinc, shape (PHASES + 2, 2·HALF): a row for each position between two samples, and a spare one.

    The Kaiser window has β = 9, for 90 dB of stop-band attenuation (Kaiser and Schafer, IEEE Trans. ASSP-28, 1980;
    from memory).
    """
    place = np.arange(PHASES + 2)[:, None] / PHASES
    away = np.arange(1 - HALF, HALF + 1)[None] - place
    window = np.i0(9.0 * np.sqrt(np.maximum(0.0, 1 - (away / HALF) ** 2))) / np.i0(9.0)
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
        out: shape (frames, channels); receives the result.
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
            of_near, of_next = 0.0, 0.0
            for k in range(2 * HALF):
                of_near += piece[k] * near[k]
                of_next += piece[k] * next_one[k]
            out[n, channel] = of_near + share * (of_next - of_near)
