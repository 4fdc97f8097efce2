"""What each set of causes predicts for readings that have not been taken, given those that have."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bench.arrays import Floats
from bench.diagnosis.fit import STEP
from bench.diagnosis.machine import Machine
from bench.diagnosis.parameters import index
from bench.diagnosis.rows import DataRow, Rows
from bench.diagnosis.spread import curve_columns, linear_columns, linear_scale, rough_columns, scatter_covariance
from bench.diagnosis.weighing import Weighed, Weighing


def predict(
    weighing: Weighing, sets: Sequence[Weighed], new: Sequence[DataRow], machine: Machine
) -> tuple[Floats, Floats]:
    """Means of the new rows, shape (sets, rows), and their covariance for each set, shape (sets, rows, rows)."""
    fitter, session = weighing.fitter, weighing.session
    old = fitter.rows
    rows = Rows([*old.data_rows, *new], machine)
    order = {id(p): n for n, p in enumerate(rows.data_rows)}
    was, now = [order[id(p)] for p in old.data_rows], [order[id(p)] for p in new]
    rough, repeats, adjusted = weighing.grade
    linear = linear_columns(rows, fitter.mean) * linear_scale(adjusted)
    roughness = rough_columns(rows)
    shared = linear @ linear.T + rough**2 * (roughness @ roughness.T)
    covariance = shared + scatter_covariance(rows, repeats)
    through = np.linalg.solve(covariance[np.ix_(was, was)], covariance[np.ix_(was, now)]).T
    spread = covariance[np.ix_(now, now)] - through @ covariance[np.ix_(was, now)]

    tries = [_tries(weighing, s) for s in sets]
    read = np.split(rows.predict(np.concatenate(tries)), np.cumsum([len(t) for t in tries])[:-1])
    means, spreads = np.zeros((len(sets), len(new))), np.tile(spread, (len(sets), 1, 1))
    random = np.random.default_rng(2)
    for n, (s, each) in enumerate(zip(sets, read, strict=True)):
        means[n] = each[0, now] + through @ (old.values - s.read)
        slopes = (each[1:] - each[0]) / STEP
        slopes = slopes[:, now] - slopes[:, was] @ through.T
        spreads[n] += slopes.T @ _uncertainty(weighing, s) @ slopes
        for curve in (c for o in s.options if id(o.variant) not in session.columns for c in o.variant.curves):
            columns = curve_columns(rows, curve)[now]
            means[n] += columns @ random.standard_normal(columns.shape[1])
    return means, spreads


def _tries(weighing: Weighing, s: Weighed) -> Floats:
    """The figures of a set, followed by those with each setting and amount increased by one step."""
    fitter, moves = weighing.fitter, [m for o in s.options for m in o.variant.moves]
    out = np.repeat(fitter.figures(tuple(o.variant for o in s.options), s.x)[None], 1 + len(s.x), axis=0)
    out[np.arange(1, 1 + s.settings), fitter.settings] += STEP
    for n, m in enumerate(moves, s.settings):
        out[1 + n, index(m.figure, *m.at)] += m.sign * np.exp(s.x[n]) * np.expm1(STEP)
    return out


def _uncertainty(weighing: Weighing, s: Weighed) -> Floats:
    """Covariance of the settings and amounts of a set; the amounts of an unseen cause have their prior."""
    known = s.settings if any(s is unseen for unseen in weighing.unseen) else len(s.x)
    prior = [m.spread**2 for o in s.options for m in o.variant.moves][known - s.settings :]
    out = np.diag(np.concatenate([np.zeros(known), prior]))
    out[:known, :known] = s.spread[:known, :known]
    return out
