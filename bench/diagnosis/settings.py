"""The error of each trimmer, averaged over all likely sets of causes.

Even a machine that is kept in adjustment may have one trimmer far out, so the usual spread of trimmers is assumed here,
whatever the other trimmers suggest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from bench.arrays import Floats
from bench.diagnosis.fit import Problemset
from bench.diagnosis.parameters import FIGURES, SETTINGS, index, usual
from bench.diagnosis.tones import settings_of as run_of

if TYPE_CHECKING:
    from bench.diagnosis.weighing import Weighed, Weighing


DETERMINED, BEYOND_DOUBT = 0.7, 0.5
"""A setting is reported if its remaining spread is below this share of the usual one, or of its own error."""
WORTH_TURNING = 0.25
"""Smallest error that is worth a turn, as a share of the usual spread of the setting. Common practice, no source."""
_USUAL = {figure.trimmer: figure.usual for figure in FIGURES if figure.trimmer}
LAW_ERROR = {"replay_equalisation": 0.25, "record_equalisation": 0.3, "bias": 0.25}
"""Relative uncertainty of the law by which a setting's error is computed: an equaliser may be a shelf or a resonance,
and bias follows a different curve on each tape. Common practice, no source."""
NO_SIGN = {"replay_azimuth": "reference-tape", "record_azimuth": "record-replay"}
"""Settings whose treble loss has no sign, and the source whose delay gives the sign."""
RUNS = ("as found", "as left")


@dataclass(frozen=True, slots=True)
class Setting:
    """Error of a trimmer, with expanded uncertainty (k = 2)."""

    name: str
    channel: str
    run: str
    """as found, or as left."""
    value: float
    unit: str
    uncertainty: float

    @property
    def out(self) -> bool:
        """Whether it is out of adjustment beyond doubt, and by enough to be worth a turn."""
        return abs(self.value) > max(self.uncertainty, WORTH_TURNING * _USUAL[self.name])


def settings_of(weighing: Weighing) -> tuple[Setting, ...]:
    """The error of every trimmer that the readings determine, averaged over the sets by probability."""
    rows = weighing.fitter.rows
    _, width, linear = usual(lined_up_before=rows.machine.lined_up_before)
    weights = np.array([s.probability for s in weighing.sets])
    weights /= weights.sum()
    found = _of_sets(weighing)
    columns = np.flatnonzero(linear & (width > 0))
    out = []
    for figure in FIGURES:
        if not figure.trimmer:
            continue
        for at in np.ndindex(*figure.shape):
            which = index(figure.name, *at)
            if figure.linear:
                k = int(np.searchsorted(columns, which))
                means, variances = (v[:, k] for v in (found.linear, found.linear_variance))
            elif which in weighing.fitter.settings:
                k = weighing.fitter.settings.index(which)
                means, variances = (v[:, k] for v in (found.nonlinear, found.nonlinear_variance))
            else:
                continue
            if figure.name in NO_SIGN and not _delay_read(weighing, NO_SIGN[figure.name], at[0]):
                means, variances = np.zeros_like(means), variances + means**2
            mean = float(weights @ means)
            deviation = float(np.sqrt(weights @ (variances + (means - mean) ** 2)))
            deviation = float(np.hypot(deviation, LAW_ERROR.get(figure.name, 0.0) * abs(mean)))
            if deviation < max(DETERMINED * figure.usual, BEYOND_DOUBT * abs(mean)):
                channel = ("left", "right")[at[1]] if figure.shape == (*SETTINGS, 2) else "both"
                out.append(Setting(figure.trimmer, channel, RUNS[at[0]], mean, figure.unit, 2 * deviation))
    return tuple(out)


class _OfSets(NamedTuple):
    """The settings under each set of causes, shape (sets, ·): the nonlinear, fitted ones and the linear ones."""

    nonlinear: Floats
    nonlinear_variance: Floats
    linear: Floats
    linear_variance: Floats


def _delay_read(weighing: Weighing, source: str, run: int) -> bool:
    data_rows = weighing.fitter.rows.data_rows
    return any(p.kind == "delay" and (p.finding.source, run_of(p.finding.stage)) == (source, run) for p in data_rows)


def _of_sets(weighing: Weighing) -> _OfSets:
    """The settings of each set, by one linear step from its fit."""
    rows, sets = weighing.fitter.rows, weighing.sets
    grade = weighing.grade._replace(adjusted=1.0)
    fitter = weighing.fitter.graded(weighing.session.covariance(grade, weighing.extra_variance), grade.adjusted)
    problem = Problemset([tuple(o.variant for o in s.options) for s in sets], weighing.session.columns, rows)
    x, count = _padded(problem, sets), sets[0].settings
    residual = (rows.values - np.array([s.read for s in sets])) @ fitter.whiten.T
    step, white, normal = fitter.step(problem, x, residual, fitter.slopes(problem, x))
    residual = residual - (white @ step[..., None])[..., 0]
    spread = np.linalg.inv(normal)
    _, width, linear = usual(lined_up_before=rows.machine.lined_up_before)
    scale = width[linear & (width > 0)]
    columns = fitter.whiten @ weighing.session.linear(1.0)
    through = columns.T @ white
    variances = 1 - (columns**2).sum(axis=0) + np.einsum("ncx,nxy,ncy->nc", through, spread, through)
    return _OfSets(
        (x + step)[:, :count],
        np.diagonal(spread, axis1=1, axis2=2)[:, :count],
        residual @ columns * scale,
        np.maximum(variances, 1e-6) * scale**2,
    )


def _padded(problem: Problemset, sets: tuple[Weighed, ...]) -> Floats:
    """The fitted figures of all sets in one array: settings, amounts, coefficients of curves."""
    count, most, widest = sets[0].settings, problem.figure.shape[1], problem.columns.shape[2]
    out = np.zeros((len(sets), count + most + widest))
    for n, s in enumerate(sets):
        out[n, : len(s.x)] = s.x
        out[n, count + most :][: len(s.curves)] = s.curves[:widest]
    return out
