"""Covariance of the readings of a machine without a fault: repeatability, tolerances and uneven responses."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import NamedTuple

import numpy as np

from bench.arrays import Floats
from bench.diagnosis.causes.cause import Curve
from bench.diagnosis.parameters import usual
from bench.diagnosis.rows import Rows
from bench.diagnosis.tones import Tones


class Grade(NamedTuple):
    """The unknown quality of a machine, relative to a usual one."""

    rough: float
    """Unevenness of its responses."""
    repeats: float
    """Scatter of its readings."""
    adjusted: float = 1.0
    """Spread of its trimmers as found."""


GRID = np.linspace(np.log2(15.0), np.log2(24e3), 48)
OCTAVES = 1.0
"""Correlation length of an uneven response."""
CIRCUITS = ("encoder", "decoder")
ONE_PASS = 0.6
"""Correlation of the channels of one pass: both read the same tape at the same time. Common practice, no source."""
SHARED = 0.75
"""Share of the variance of an uneven response that is common to both channels."""


def _basis(octaves: float, columns: int) -> Floats:
    """Smooth random curves of unit variance on the grid, as columns."""
    kernel = np.exp(-0.5 * ((GRID[:, None] - GRID) / octaves) ** 2)
    weights, vectors = np.linalg.eigh(kernel)
    return np.asarray(vectors[:, -columns:] * np.sqrt(np.maximum(weights[-columns:], 0.0)))


SMOOTH, FINE = _basis(OCTAVES, 11), _basis(0.45, 20)


def random_curves(hz: Floats, basis: Floats = SMOOTH) -> Floats:
    """A basis of random curves of unit variance at these frequencies, shape (tones, k)."""
    at = np.log2(hz)
    return np.column_stack([np.interp(at, GRID, column) for column in basis.T])


def tilt(hz: Floats) -> Floats:
    """A straight line over log frequency through middle frequencies, 1 four octaves away, shape (tones, 1)."""
    return np.log2(hz / 700.0)[:, None] / 4.0


def roughness_db(hz: Floats, side: str) -> Floats:
    """Standard deviation of a usual response, dB, smallest at middle frequencies. Common practice, no source."""
    ends = 0.45 * np.minimum(hz / 1e4, 1.6) + 0.35 * np.minimum(50.0 / hz, 1.5)
    return np.asarray((0.15 + ends) * (1.0 if side == "replay" else 0.9))


def side_columns(rows: Rows, side: str, channel: int | None, size: Floats | float = 1.0) -> Floats:
    """Columns of a smooth curve on the record or replay side, in one channel or common to both."""

    def kernel(hz: Floats, tones: Tones) -> Floats:
        if side == "low end":
            curve = random_curves(hz, FINE) * (np.minimum(80.0 / hz, 1.0) ** 1.5)[:, None]
        elif side.startswith("fine"):
            curve = random_curves(hz, FINE)
        elif side.startswith("tilted"):
            curve = tilt(hz)
        else:
            curve = random_curves(hz) * roughness_db(hz, side)[:, None]
        curve = curve * np.broadcast_to(size, hz.shape)[:, None]
        curve = curve * (not side.endswith("record") or tones.source == "record-replay")
        off = np.zeros_like(curve)
        return np.vstack([curve if channel in (None, 0) else off, curve if channel in (None, 1) else off])

    return rows.curve_factor(kernel)


def rough_columns(rows: Rows) -> Floats:
    """All columns of a usual uneven response."""
    out = []
    for side in ("replay", "record"):
        for channel, share in ((None, SHARED), (0, 1 - SHARED), (1, 1 - SHARED)):
            out.append(side_columns(rows, side, channel, np.sqrt(share)))
    out.append(side_columns(rows, "low end", None, 0.6))
    return np.hstack(out)


def scatter_covariance(rows: Rows, scale: float) -> Floats:
    """Repeatability of each reading, and what is common to a group: a reference tone, or one pass for both channels."""
    own = np.array([(scale * p.scatter) ** 2 + p.stated**2 for p in rows.data_rows])
    out = np.diag(own)
    groups: dict[object, list[int]] = {}
    passes: dict[object, list[int]] = {}
    for n, p in enumerate(rows.data_rows):
        if p.tone and p.tone.relative_to is not None:
            groups.setdefault((p.tone.group, p.tone.weights, p.tone.relative_to), []).append(n)
        elif p.single and p.kind not in CIRCUITS:
            passes.setdefault((p.kind, replace(p.single, channel=None, driven=None)), []).append(n)
    for members in groups.values():
        out[np.ix_(members, members)] += (scale * 0.12) ** 2
    for members in passes.values():
        own = np.array([scale * rows.data_rows[n].scatter for n in members])
        out[np.ix_(members, members)] += ONE_PASS * (np.outer(own, own) - np.diag(own**2))
    return out


def curve_columns(rows: Rows, curve: Curve) -> Floats:
    """The columns that the curve of a cause adds."""
    if curve.side.endswith(("replay", "record", "low end")):
        return side_columns(rows, curve.side, curve.channel, curve.width)
    wanted = [n for n, p in enumerate(rows.data_rows) if p.kind == curve.side]
    out = np.zeros((len(rows), len(wanted)))
    if curve.side == "drift":
        out[wanted, np.arange(len(wanted))] = curve.width
    elif curve.side in ("encoder", "decoder"):
        out = np.zeros((len(rows), 2 * SMOOTH.shape[1]))
        for n in wanted:
            row = rows.data_rows[n].single
            if row is None or (curve.channel is not None and row.channel not in (curve.channel, None)):
                continue
            base = random_curves(np.array([row.hz or 5e3]))[0] * curve.width
            out[n] = np.concatenate([base * 0.85, base * 0.5 * (row.sent_db + 25) / 12])
    return out


def linear_columns(rows: Rows, base: Floats) -> Floats:
    """Change of the rows for one usual standard deviation of each linear figure."""
    _, width, linear = usual(lined_up_before=rows.machine.lined_up_before)
    which = np.flatnonzero(linear & (width > 0))
    sets = np.repeat(base[None], len(which) + 1, axis=0)
    sets[np.arange(len(which)), which] += 0.5 * width[which]
    read = rows.predict(sets)
    return np.asarray(2 * (read[:-1] - read[-1]).T)


@cache
def linear_scale(adjusted: float) -> Floats:
    """Factors for the columns of `linear_columns`, for trimmers with this spread relative to the usual one."""
    _, width, linear = usual()
    scaled = usual(adjusted=adjusted)[1]
    which = np.flatnonzero(linear & (width > 0))
    return np.asarray(scaled[which] / width[which])
