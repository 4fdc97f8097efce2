"""The probability of each set of causes: every cause alone, those that matter in pairs, none, and something else.

How rough a machine's responses are and how well its readings repeat is not known beforehand: a few grades of each are
gone through, and weigh by how well they explain what was read.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bench.diagnosis.causes import Cause, Curve, Variant
from bench.diagnosis.fit import Fitter, Problemset
from bench.diagnosis.rows import Rows
from bench.diagnosis.spread import curve_columns, rough_columns, scatter_covariance, straight_columns

Values = NDArray[np.float64]

NOTHING, SINGLES, PAIRS = 0.35, 0.45, 0.15
"""Prior weights; "not in the list" has the rest."""
ROUGH, REPEATS = (0.6, 1.2, 2.2), (0.8, 1.8, 3.5)
"""Grades of a machine: roughness of its responses, and scatter of its readings, re the usual ones."""
GRADE_WEIGHTS = (0.4, 0.4, 0.2)
TEMPER = 0.75
"""Of what the readings say, since the model is not the machine."""
SEEN = 0.6
"""Standard deviations that a cause of usual size must move the readings by, to be looked for at all."""
BEST_SINGLES, MOST_PAIRS = 9, 40

STRANGE = Cause(
    "not-in-list",
    "something that is not in this list",
    (
        Variant("both", curves=(Curve("replay", 5.0), Curve("fine replay", 4.0))),
        Variant("left", curves=(Curve("replay", 5.0, 0), Curve("fine replay", 4.0, 0))),
        Variant("right", curves=(Curve("replay", 5.0, 1), Curve("fine replay", 4.0, 1))),
        Variant("both", curves=(Curve("record", 5.0), Curve("fine record", 4.0))),
        Variant("left", curves=(Curve("record", 5.0, 0), Curve("fine record", 4.0, 0))),
        Variant("right", curves=(Curve("record", 5.0, 1), Curve("fine record", 4.0, 1))),
        Variant("both", curves=(Curve("part", 2.5),)),
    ),
    1.0,
    "",
    "look further",
    "unknown",
)


@dataclass(frozen=True, slots=True)
class Option:
    """A way in which one cause is there."""

    cause: Cause
    variant: Variant
    weight: float
    """Prior odds, with what was seen and which rate a line has."""


@dataclass(frozen=True, slots=True)
class Weighed:
    """A set of causes, and how likely it is."""

    options: tuple[Option, ...]
    probability: float
    x: Values
    spread: Values
    """Of `x` as it was fitted among others, which may have more figures between."""
    read: Values
    """What it says the rows read."""
    settings: int
    """How many of `x` are settings; amounts of causes and coefficients of curves follow."""


@dataclass(frozen=True, slots=True)
class Weighing:
    """The outcome."""

    sets: tuple[Weighed, ...]
    """Most likely first; the empty set is "nothing wrong"."""
    invisible: tuple[Cause, ...]
    """What these readings can't show at all."""
    fitter: Fitter
    columns: dict[int, Values]
    """Those of the curves of each variant."""
    straight: Values
    """How rows follow the figures that they follow in a straight line, for the usual spread of each."""
    grade: tuple[float, float]
    misfit: float
    """Chi-squared of the best set over the number of rows."""
    outliers: tuple[int, ...]
    """Rows that no set explains."""


def weigh(rows: Rows, causes: Sequence[Cause], ratios: Mapping[str, float], fits: Mapping[str, float]) -> Weighing:
    """Weigh all sets.

    Args:
        rows: the readings.
        causes: those that a machine of this kind can have.
        ratios: how much likelier what was seen is with each cause.
        fits: how well the rate of the strongest line fits each part, as a logarithm.
    """
    grades = [
        (rough, repeats, math.log(a * b))
        for (rough, a), (repeats, b) in itertools.product(
            zip(ROUGH, GRADE_WEIGHTS, strict=True), zip(REPEATS, GRADE_WEIGHTS, strict=True)
        )
    ]
    base = _Base(rows)
    options, invisible = base.visible(causes, ratios, fits)
    total = sum(o.weight for o in options if o.cause is not STRANGE) or 1.0
    strange = sum(o.weight for o in options if o.cause is STRANGE) or 1.0
    prior = np.array(
        [math.log(NOTHING)]
        + [
            math.log((1 - NOTHING - SINGLES - PAIRS) * o.weight / strange)
            if o.cause is STRANGE
            else math.log(SINGLES * o.weight / total)
            for o in options
        ]
    )
    singles: list[tuple[Option, ...]] = [(), *((o,) for o in options)]
    problem = Problemset([tuple(o.variant for o in s) for s in singles], base.columns, rows)
    first = Fitter(rows, base.covariance(1.0, 1.5, np.zeros(len(rows))))
    start = first.fit(problem, rounds=5).x
    grown, outliers = _outliers(first, problem, start, rows)
    fitters = [Fitter(rows, base.covariance(rough, repeats, grown)) for rough, repeats, _ in grades]
    fitted = [fitter.fit(problem, start, rounds=2) for fitter in fitters]
    log = np.array([TEMPER * f.log_evidence + g[2] for f, g in zip(fitted, grades, strict=True)])
    best = int(np.argmax(np.logaddexp.reduce(log + prior, axis=1)))
    relative = np.logaddexp.reduce(log, axis=0) - log[best]
    mixed = np.logaddexp.reduce(log, axis=0) + prior
    pairs = _pairs(mixed[1:], options)
    fitter, result = fitters[best], fitted[best]
    sets = list(singles)
    scores, xs, spreads = list(mixed), [*result.x], [*result.spread]
    if pairs:
        chosen = [(options[a], options[b]) for a, b in pairs]
        both = Problemset([tuple(o.variant for o in s) for s in chosen], base.columns, rows)
        fit = fitter.fit(both, _joined(problem, both, result.x, pairs, len(fitter.settings)), rounds=4)
        for n, ((a, b), s) in enumerate(zip(pairs, chosen, strict=True)):
            more = 0.5 * (relative[a + 1] + relative[b + 1])
            weight = 2 * PAIRS * options[a].weight * options[b].weight / total**2
            sets.append(s)
            scores.append(TEMPER * fit.log_evidence[n] + grades[best][2] + more + math.log(weight))
            xs.append(fit.x[n])
            spreads.append(fit.spread[n])
    probability = np.exp(np.array(scores) - np.logaddexp.reduce(scores))
    order = np.argsort(-probability)
    out = []
    for n in order:
        if probability[n] < 1e-4 and len(out) > 8:
            break
        one = Problemset([tuple(o.variant for o in sets[n])], base.columns, rows)
        x = _trimmed(xs[n], one, problem if n < len(singles) else both, len(fitter.settings))
        read = fitter.predict(one, x[None])[0]
        out.append(Weighed(sets[n], float(probability[n]), x, spreads[n], read, len(fitter.settings)))
    chi2 = float((fitter.whiten @ (rows.values - out[0].read)) @ (fitter.whiten @ (rows.values - out[0].read)))
    return Weighing(tuple(out), tuple(invisible), fitter, base.columns, base.straight, grades[best][:2], chi2 / max(len(rows), 1), outliers)


def _trimmed(x: Values, one: Problemset, padded: Problemset, s: int) -> Values:
    k, most = one.figure.shape[1], padded.figure.shape[1]
    e = one.columns.shape[2]
    return np.concatenate([x[: s + k], x[s + most : s + most + e]])


def _joined(
    single: Problemset, both: Problemset, x: Values, pairs: Sequence[tuple[int, int]], s: int
) -> Values:
    """A start for each pair from its two singles."""
    out = np.zeros((len(pairs), s + both.figure.shape[1] + both.columns.shape[2]))
    for n, (a, b) in enumerate(pairs):
        first, second = x[a + 1], x[b + 1]
        out[n, :s] = 0.5 * (first[:s] + second[:s])
        ka, kb = len(single.sets[a + 1][0].moves), len(single.sets[b + 1][0].moves)
        out[n, s : s + ka] = first[s : s + ka]
        out[n, s + ka : s + ka + kb] = second[s : s + kb]
        out[n, s + ka + kb : s + both.figure.shape[1]] = both.median[n, ka + kb :]
    return out


def _pairs(scores: Values, options: Sequence[Option]) -> list[tuple[int, int]]:
    """The pairs to look at: of the likeliest causes with each other one."""
    by_cause: dict[str, list[int]] = {}
    for n in np.argsort(-scores):
        if options[n].cause is not STRANGE:
            by_cause.setdefault(options[n].cause.name, []).append(int(n))
    leading = [names[:2] for names in by_cause.values()]
    out: list[tuple[float, int, int]] = []
    for first, second in itertools.combinations(range(len(leading)), 2):
        if first >= BEST_SINGLES:
            break
        for a, b in itertools.product(leading[first][: 2 if first < 3 else 1], leading[second][:1]):
            out.append((scores[a] + scores[b], a, b))
    out.sort(reverse=True)
    return [(a, b) for _, a, b in out[:MOST_PAIRS]]


def _outliers(fitter: Fitter, problem: Problemset, x: Values, rows: Rows) -> tuple[Values, tuple[int, ...]]:
    """By how much the scatter of each row is to grow: of one that stands alone whatever is wrong, heavy tails."""
    precision = fitter.whiten.T @ fitter.whiten
    residual = rows.values - fitter.predict(problem, x)
    alone = np.abs(residual @ precision) / np.sqrt(np.diag(precision))
    z = alone.min(axis=0)
    own = 1 / np.diag(precision)
    grown = np.where(z > 3.5, (z * z - 1) * own, 0.0)
    return grown, tuple(int(n) for n in np.flatnonzero(z > 4.5))


class _Base:
    """What all sets of a session share."""

    def __init__(self, rows: Rows) -> None:
        from bench.diagnosis.parameters import usual

        self.rows = rows
        self._mean = usual()[0]
        self._rough = rough_columns(rows)
        self.straight = straight_columns(rows, self._mean)
        self._straight2 = self.straight @ self.straight.T
        self._rough2 = self._rough @ self._rough.T
        self.columns: dict[int, Values] = {}

    def covariance(self, rough: float, repeats: float, grown: Values) -> Values:
        """Of the rows, for a grade of machine."""
        out = scatter_covariance(self.rows, repeats) + self._straight2 + rough**2 * self._rough2
        return np.asarray(out + np.diag(grown))

    def visible(
        self, causes: Sequence[Cause], ratios: Mapping[str, float], fits: Mapping[str, float]
    ) -> tuple[list[Option], list[Cause]]:
        """The ways that would move these readings, and the causes that would not."""
        kinds = {p.kind for p in self.rows.places}
        options, invisible = [], []
        whiten = np.linalg.inv(np.linalg.cholesky(self.covariance(1.0, 1.2, np.zeros(len(self.rows)))))
        plain = self.rows.predict(self._mean[None])[0]
        for cause in (*causes, STRANGE):
            found = []
            for variant in cause.variants:
                self.columns[id(variant)] = np.hstack(
                    [curve_columns(self.rows, c) for c in variant.curves] or [np.zeros((len(self.rows), 0))]
                )
                if cause.shown_by and cause.shown_by not in kinds:
                    continue
                vector = self._mean.copy()
                one = Problemset([(variant,)], self.columns, self.rows)
                np.add.at(vector, one.figure[0], one.sign[0] * np.exp(one.median[0]))
                moved = self.rows.predict(vector[None])[0] - plain
                size = float(np.linalg.norm(whiten @ moved))
                size += float(np.linalg.norm(whiten @ self.columns[id(variant)])) if variant.curves else 0.0
                if size > SEEN:
                    weight = cause.odds * variant.share * ratios.get(cause.name, 1.0)
                    weight *= math.exp(fits.get(variant.part, 0.0)) if variant.part else 1.0
                    found.append(Option(cause, variant, weight))
            options += found
            if not found and cause is not STRANGE:
                invisible.append(cause)
        return options, invisible
