"""How far each trimmer is out, from all likely sets of causes together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bench.diagnosis.fit import Problemset
from bench.diagnosis.parameters import FIGURES, SETTINGS, index, usual
from bench.diagnosis.tones import settings_of as run_of

if TYPE_CHECKING:
    from bench.diagnosis.weighing import Weighing

Values = NDArray[np.float64]

LIKELY = 0.02
"""Sets less likely than that do not count."""
TOLD = 0.7
"""Share of the usual spread that may remain of a setting which readings tell."""
LAW = {"replay_equalisation": 0.25, "record_equalisation": 0.3, "bias": 0.15}
"""Share by which a trimmer's effect differs from the law that its error is stated by: an equaliser may be a shelf or a
resonance, and bias acts by its own curve on each tape. Common practice, no source."""
SIDELESS = {"replay_azimuth": "reference-tape", "record_azimuth": "record-replay"}
"""Settings whose loss of treble does not tell to which side they are out, and the source that tells it by its delay."""
RUNS = ("as found", "as left")


@dataclass(frozen=True, slots=True)
class Setting:
    """A trimmer's error, expanded uncertainty (k = 2)."""

    name: str
    channel: str
    run: str
    """as found, or as left."""
    value: float
    unit: str
    uncertainty: float


def settings_of(weighing: Weighing) -> tuple[Setting, ...]:
    """Every trimmer's error that the readings tell, mixed over the likely sets."""
    fitter = weighing.fitter
    _, width, straight = usual(lined_up_before=fitter.rows.machine.lined_up_before)
    sets = [s for s in weighing.sets[:12] if s.probability >= LIKELY] or list(weighing.sets[:1])
    weights = np.array([s.probability for s in sets])
    weights /= weights.sum()
    found = [_of_set(weighing, n) for n in range(len(sets))]
    columns = np.flatnonzero(straight & (width > 0))
    out = []
    for figure in FIGURES:
        if not figure.trimmer:
            continue
        for at in np.ndindex(*figure.shape):
            which = index(figure.name, *at)
            if figure.straight:
                k = int(np.searchsorted(columns, which))
                means = np.array([f.straight[k] for f in found]) * width[which]
                variances = np.array([f.straight_variance[k] for f in found]) * width[which] ** 2
            elif which in fitter.settings:
                k = fitter.settings.index(which)
                means, variances = np.array([f.bent[k] for f in found]), np.array([f.bent_variance[k] for f in found])
            else:
                continue
            if figure.name in SIDELESS and not _delay_read(weighing, SIDELESS[figure.name], at[0]):
                means, variances = np.zeros_like(means), variances + means**2
            mean = float(weights @ means)
            deviation = float(np.sqrt(weights @ (variances + (means - mean) ** 2)))
            deviation = float(np.hypot(deviation, LAW.get(figure.name, 0.0) * abs(mean)))
            if deviation < TOLD * figure.usual:
                channel = ("left", "right")[at[1]] if figure.shape == (*SETTINGS, 2) else "both"
                out.append(Setting(figure.trimmer, channel, RUNS[at[0]], mean, figure.unit, 2 * deviation))
    return tuple(out)


class _OfSet(NamedTuple):
    """Settings as one set of causes has them."""

    bent: Values
    bent_variance: Values
    straight: Values
    """In units of the usual spread."""
    straight_variance: Values


def _delay_read(weighing: Weighing, source: str, run: int) -> bool:
    places = weighing.fitter.rows.places
    return any(p.kind == "delay" and (p.finding.source, run_of(p.finding.stage)) == (source, run) for p in places)


def _of_set(weighing: Weighing, n: int) -> _OfSet:
    s, fitter = weighing.sets[n], weighing.fitter
    problem = Problemset([tuple(o.variant for o in s.options)], weighing.session.columns, fitter.rows)
    slopes = fitter.whiten @ np.hstack([fitter.slopes(problem, s.x[None])[0], problem.columns[0]])
    precision = np.concatenate(
        [fitter.precision, problem.precision[0], np.ones(problem.columns.shape[2])],
    )
    spread = np.linalg.inv(slopes.T @ slopes + np.diag(precision))
    columns = fitter.whiten @ weighing.session.straight
    means = columns.T @ (fitter.whiten @ (fitter.rows.values - s.read))
    through = columns.T @ slopes
    variances = 1 - (columns**2).sum(axis=0) + np.einsum("cx,xy,cy->c", through, spread, through)
    count = s.settings
    return _OfSet(s.x[:count], np.diag(spread)[:count], means, np.maximum(variances, 1e-6))
