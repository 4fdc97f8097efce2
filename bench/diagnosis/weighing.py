"""Computes the probability of each set: one cause alone, likely pairs and triples, none, and an unknown cause.

How uneven a machine's responses are, how well its readings repeat and how far its trimmers are out is unknown. A few
grades of each are tried and weighted by how well they explain the readings.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Floats
from bench.diagnosis.causes.cause import Cause
from bench.diagnosis.fit import Fitted, Fitter, Problemset
from bench.diagnosis.options import STRANGE, Option, SessionRows
from bench.diagnosis.rows import Rows
from bench.diagnosis.spread import Grade

Set = tuple[Option, ...]

NOTHING, SINGLES, PAIRS, TRIPLES = 0.35, 0.4, 0.15, 0.02
"""Prior probabilities; the rest is that of a cause not in the list."""
ROUGH, REPEATS = {0.6: 0.4, 1.2: 0.4, 2.2: 0.2}, {0.8: 0.4, 1.8: 0.4, 3.5: 0.2}
"""Unevenness of responses and scatter of readings, relative to the usual ones, with their prior weights."""
USED = 0.5
ADJUSTED = {0.2: 0.3, USED: 0.4, 1.0: 0.3}
"""Spread of the trimmers as found, with prior weights: a machine that is kept in adjustment, used, or neglected."""
GRADES = {
    Grade(rough, repeats, adjusted): math.log(ROUGH[rough] * REPEATS[repeats] * ADJUSTED[adjusted])
    for rough, repeats, adjusted in itertools.product(ROUGH, REPEATS, ADJUSTED)
}
UNSEEN = 0.5
"""Factor for the odds of a cause that these readings cannot show, because people first measure what they suspect."""
TEMPER = 0.9
"""Factor for the log-likelihood, because the model is not exact."""
NEAR = 6.0
"""Grades whose log-evidence is this far below the best are ignored."""
LEADING = 16
"""Number of sets by which the grades are weighted."""
BEST_SINGLES, MOST_PAIRS, MOST_GROWN = 9, 20, 12
OUTLIER, LISTED_OUTLIER = 3.0, 4.5
"""A reading this many standard deviations from every set counts less; beyond the second figure, it is listed."""


@dataclass(frozen=True, slots=True)
class Weighed:
    """A set of causes and its probability."""

    options: Set
    probability: float
    x: Floats
    """Settings, then logarithms of the amounts of its causes."""
    curves: Floats
    """Coefficients of its curves."""
    spread: Floats
    """Covariance of `x`, followed by padding."""
    read: Floats
    """Its prediction for the rows."""
    settings: int
    """Number of settings at the start of `x`."""


@dataclass(frozen=True, slots=True)
class Weighing:
    """The result for all sets of causes."""

    sets: tuple[Weighed, ...]
    """Most likely first; the empty set is "nothing wrong"."""
    alone: tuple[Weighed, ...]
    """Each cause alone, however unlikely."""
    invisible: tuple[Cause, ...]
    """Causes that these readings cannot show."""
    unseen: tuple[Weighed, ...]
    """The same causes as sets, which share the probability of "nothing wrong"."""
    session: SessionRows
    fitter: Fitter
    grade: Grade
    """The grade that explains the readings best."""
    extra_variance: Floats
    """Additional variance of the rows that no set explains."""
    outliers: tuple[int, ...]
    """Rows that are far from what any set explains."""


def weigh(rows: Rows, causes: Sequence[Cause], ratios: Mapping[str, float]) -> Weighing:
    """Compute the probability of each set.

    Args:
        rows: the readings.
        causes: the causes that a machine of this kind can have.
        ratios: likelihood ratio of what a person saw, by cause.
    """
    session = SessionRows(rows)
    options, invisible = session.visible(causes, ratios)
    prior = _prior(options, invisible)
    singles: list[Set] = [(), *((o,) for o in options)]
    usual = Fitter(rows, session.covariance(Grade(1.0, 1.5), np.zeros(len(rows))))
    first = _fit(usual, singles, session, rounds=3)
    fitter = _Grades(usual, session, [(first, prior)]).fitter
    fitted = _fit(fitter, singles, session, start=first.x, rounds=2)
    beside = _beside_the_best(fitter, fitted, session, options, prior)
    scores = TEMPER * fitted.log_evidence + prior
    sets, fits = list(singles), [(fitted, prior)]

    def add(chosen: Sequence[tuple[int, ...]], share: float) -> None:
        """Fit these sets of several options, whose share of the prior probability is `share`."""
        size = len(chosen[0])
        some: list[Set] = [tuple(options[n] for n in which) for which in chosen]
        start = fitted.joint_starts([tuple(n + 1 for n in which) for which in chosen])
        more = prior[np.array(chosen) + 1].sum(axis=1) + math.log(math.factorial(size) * share / SINGLES**size)
        fits.append((_fit(fitter, some, session, start=start, rounds=4), more))
        sets.extend(some)

    def likeliest(chosen: Sequence[tuple[int, ...]]) -> tuple[float, tuple[int, ...]]:
        fit, its_prior = fits[-1]
        return max(zip((TEMPER * fit.log_evidence + its_prior).tolist(), chosen, strict=True))

    if pairs := _pairs(scores, beside, options):
        add(pairs, PAIRS)
        score, pair = likeliest(pairs)
        if score > scores.max() and (triples := _grown(pair, scores, beside, options)):
            add(triples, TRIPLES)
            within = itertools.combinations(sorted(likeliest(triples)[1]), 2)
            if missing := [pair for pair in within if pair not in pairs]:
                add(missing, PAIRS)
    grades = _Grades(usual, session, fits)
    scores = np.concatenate([grades.log_evidence(fit) + its_prior for fit, its_prior in fits])
    probability = np.exp(scores - np.logaddexp.reduce(scores))
    places = [(fit, n) for fit, _ in fits for n in range(len(fit.read))]
    out: list[Weighed] = []
    within_best = {*map(id, sets[int(np.argmax(probability))])}
    for n in np.argsort(-probability):
        if probability[n] < 1e-4 and len(out) > 8 and not {*map(id, sets[n])} <= within_best:
            continue  # parts of the likeliest set stay for comparison, and "nothing wrong"
        out.append(_weighed(sets[n], float(probability[n]), *places[n]))
    order = 1 + np.argsort(-scores[1 : len(singles)])
    alone = tuple(_weighed(singles[n], float(probability[n]), fitted, int(n)) for n in order)
    unseen = [one for s in out if not s.options for one in _unseen(s, invisible, options)]
    return Weighing(
        tuple(out),
        alone,
        tuple(invisible),
        tuple(unseen),
        session,
        grades.fitter,
        grades.best,
        grades.extra_variance,
        grades.outliers,
    )


class _Grades:
    """The likely grades of a machine, given the sets that explain its readings best.

    Trimmers spread as on a machine in use are tried first, and the others only where that comes near the best.

    Args:
        usual: the fitter for a usual grade.
        session: the rows.
        fits: sets that were fitted, with the logarithms of their prior probabilities.
    """

    def __init__(self, usual: Fitter, session: SessionRows, fits: Sequence[tuple[Fitted, Floats]]) -> None:
        self.extra_variance, self.outliers = _outliers(usual, np.concatenate([fit.read for fit, _ in fits]))
        score = np.concatenate([fit.log_evidence + prior for fit, prior in fits])
        least = np.sort(score)[-LEADING:][0]
        leading = [(fit.select(n), prior[n]) for fit, prior in fits if len(n := _at_least(least, fit, prior))]
        found: dict[Grade, tuple[Fitter, float]] = {}

        def add(grades: Iterable[Grade]) -> float:
            for g in grades:
                fitter = usual.graded(session.covariance(g, self.extra_variance), g.adjusted)
                logs = np.concatenate([TEMPER * fitter.evidence(fit) + prior for fit, prior in leading])
                found[g] = fitter, float(np.logaddexp.reduce(logs)) + GRADES[g]
            return max(evidence for _, evidence in found.values())

        most = add(g for g in GRADES if g.adjusted == USED)
        near = [g for g, (_, evidence) in found.items() if evidence > most - 2 * NEAR]
        most = add(g._replace(adjusted=adjusted) for g in near for adjusted in ADJUSTED if adjusted != USED)
        self.fitters = {g: fitter for g, (fitter, evidence) in found.items() if evidence > most - NEAR}
        self.best = max(self.fitters, key=lambda g: found[g][1])

    @property
    def fitter(self) -> Fitter:
        """The fitter for the likeliest grade."""
        return self.fitters[self.best]

    def log_evidence(self, fit: Fitted) -> Floats:
        """Log-evidence of each set, summed over the likely grades."""
        logs = [TEMPER * fitter.evidence(fit) + GRADES[g] for g, fitter in self.fitters.items()]
        return np.asarray(np.logaddexp.reduce(logs, axis=0))


def _at_least(least: float, fit: Fitted, prior: Floats) -> NDArray[np.int64]:
    """The sets with at least this score."""
    return np.flatnonzero(fit.log_evidence + prior >= least)


def _weighed(options: Set, probability: float, fit: Fitted, n: int) -> Weighed:
    fitted, most = fit.settings, fit.problem.figure.shape[1]
    own = fitted + sum(len(o.variant.moves) for o in options)
    curves = fit.x[n, fitted + most :]
    return Weighed(options, probability, fit.x[n, :own], curves, fit.spread[n], fit.read[n], fitted)


def _prior(options: Sequence[Option], invisible: Sequence[Cause]) -> Floats:
    """Logarithms of the prior probabilities of "nothing visible wrong" and of each option alone."""
    unseen = UNSEEN * sum(c.odds for c in invisible)
    total = unseen + sum(o.weight for o in options if o.cause is not STRANGE)
    strange = sum(o.weight for o in options if o.cause is STRANGE) or 1.0
    rest = 1 - NOTHING - SINGLES - PAIRS - TRIPLES
    shares = [rest / strange if o.cause is STRANGE else SINGLES / total for o in options]
    nothing = NOTHING + SINGLES * unseen / max(total, 1e-9)
    return np.log([nothing, *(share * o.weight for share, o in zip(shares, options, strict=True))])


def _unseen(nothing: Weighed, invisible: Sequence[Cause], options: Sequence[Option]) -> list[Weighed]:
    """Each invisible cause in its likeliest variant, as a share of "nothing visible wrong"."""
    odds = sum(o.weight for o in options if o.cause is not STRANGE)
    hidden = UNSEEN * sum(c.odds for c in invisible)
    share = SINGLES * UNSEEN / max(odds + hidden, 1e-9) / (NOTHING + SINGLES * hidden / max(odds + hidden, 1e-9))
    out = []
    for cause in invisible:
        variant = max(cause.variants, key=lambda v: v.share)
        x = np.concatenate([nothing.x[: nothing.settings], [math.log(m.median) for m in variant.moves]])
        set_ = (Option(cause, variant, cause.odds),)
        chance = nothing.probability * share * cause.odds
        out.append(Weighed(set_, chance, x, np.zeros(0), nothing.spread, nothing.read, nothing.settings))
    return out


def _fit(
    fitter: Fitter, sets: Sequence[Set], session: SessionRows, *, start: Floats | None = None, rounds: int
) -> Fitted:
    problem = Problemset([tuple(o.variant for o in s) for s in sets], session.columns, fitter.rows)
    return fitter.fit(problem, start, rounds)


def _beside_the_best(
    fitter: Fitter, fitted: Fitted, session: SessionRows, options: Sequence[Option], prior: Floats
) -> Floats:
    """By how much each option raises the score beside the likeliest cause, which may hide what it alone explains."""
    out = np.full(len(options), -np.inf)
    best = int(np.argmax(fitted.log_evidence[1:] + prior[1:])) if options else 0
    others = [n for n, o in enumerate(options) if o.cause is not options[best].cause]
    if not others:
        return out
    both = [(options[best], options[n]) for n in others]
    joint = _fit(fitter, both, session, start=fitted.joint_starts([(best + 1, n + 1) for n in others]), rounds=1)
    out[others] = TEMPER * (joint.log_evidence - fitted.log_evidence[best + 1]) + prior[1:][others]
    return out


def _pairs(scores: Floats, beside: Floats, options: Sequence[Option]) -> list[tuple[int, int]]:
    """The pairs to weigh: the likeliest causes, each with every other, by the sum of what each of them explains."""
    by_cause: dict[str, list[int]] = {}
    for n in np.argsort(-scores[1:]):
        by_cause.setdefault(options[n].cause.name, []).append(int(n))
    alone = np.maximum(beside, scores[1:] - scores[0])
    out: dict[tuple[int, int], float] = {}
    for rank, (name, first) in enumerate(itertools.islice(by_cause.items(), BEST_SINGLES)):
        for a in first[: 2 if rank < 3 else 1]:
            gains = alone if rank else beside
            for other, second in by_cause.items():
                if other != name:
                    b = max(second, key=lambda n: gains[n])
                    pair = (min(a, b), max(a, b))
                    out[pair] = max(scores[a + 1] + gains[b], out.get(pair, -np.inf))
    return sorted(out, key=lambda pair: -out[pair])[:MOST_PAIRS]


def _grown(pair: tuple[int, ...], scores: Floats, beside: Floats, options: Sequence[Option]) -> list[tuple[int, ...]]:
    """The likeliest pair with each other cause, in the variant that explains most, by what each explains."""
    gains = np.maximum(beside, scores[1:] - scores[0])
    there = {options[n].cause.name for n in pair}
    best: dict[str, int] = {}
    for n in np.argsort(-gains):
        best.setdefault(options[n].cause.name, int(n))
    return [(*pair, n) for name, n in best.items() if name not in there][:MOST_GROWN]


def _outliers(fitter: Fitter, read: Floats) -> tuple[Floats, tuple[int, ...]]:
    """Additional variance of each row that no set explains, as if its scatter had heavy tails; and the far outliers."""
    precision = fitter.whiten.T @ fitter.whiten
    alone = np.abs((fitter.rows.values - read) @ precision) / np.sqrt(np.diag(precision))
    z = alone.min(axis=0)
    extra_variance = np.where(z > OUTLIER, (z * z - 1) / np.diag(precision), 0.0)
    return extra_variance, tuple(int(n) for n in np.flatnonzero(z > LISTED_OUTLIER))
