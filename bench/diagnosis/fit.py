"""Fits the figures of a machine under many sets of causes at once, and computes the evidence for each set.

Gauss-Newton with Levenberg's damping; the evidence is Laplace's approximation. Figures on which the readings depend
linearly (levels, tolerances, rough responses) are marginalised in advance, in the covariance of the rows.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Floats
from bench.diagnosis.causes.cause import Variant
from bench.diagnosis.parameters import FIGURES, NAMES, SETTINGS, index, usual
from bench.diagnosis.rows import Rows

NONLINEAR = tuple(f.name for f in FIGURES if not f.linear)
"""Settings on which the readings depend nonlinearly, which are therefore fitted."""
DAMPING, STEP = 1e-2, 0.05
UNUSED = 1e12
"""Precision of an amount that only pads a set."""
STARTS = (1.0, 4.0)
"""Starting values of azimuth, in units of its usual spread. Its loss has no slope at 0, where a fit would stay."""
FREEDOM = 4.0
"""Degrees of freedom of the settings' prior, a Student's t because a trimmer may be far out."""


class Problemset:
    """Sets of causes to be fitted, padded to the same size.

    Args:
        sets: the variants in each set.
        columns: the columns that the curves of a variant add, by `id` of the variant.
        rows: the rows.
    """

    def __init__(self, sets: Sequence[tuple[Variant, ...]], columns: dict[int, Floats], rows: Rows) -> None:
        self.sets, self.all_columns, self.rows = list(sets), columns, rows
        moves = [[m for v in s for m in v.moves] for s in sets]
        extra = [np.hstack([columns[id(v)] for v in s] or [np.zeros((len(rows), 0))]) for s in sets]
        most, widest = max(map(len, moves), default=0), max((e.shape[1] for e in extra), default=0)
        self.figure = np.zeros((len(sets), most), dtype=int)
        self.sign, self.median = np.zeros((len(sets), most)), np.zeros((len(sets), most))
        self.precision = np.full((len(sets), most), UNUSED)
        self.columns = np.zeros((len(sets), len(rows), widest))
        for n, (some, more) in enumerate(zip(moves, extra, strict=True)):
            for k, m in enumerate(some):
                self.figure[n, k] = index(m.figure, *m.at)
                self.sign[n, k], self.median[n, k], self.precision[n, k] = m.sign, np.log(m.median), m.spread**-2
            self.columns[n, :, : more.shape[1]] = more

    def select(self, which: NDArray[np.int64]) -> Problemset:
        """A selection of the sets, with the same padding."""
        out = copy(self)
        out.sets = [self.sets[n] for n in which]
        for name in ("figure", "sign", "median", "precision", "columns"):
            setattr(out, name, getattr(self, name)[which])
        return out


@dataclass(frozen=True, slots=True)
class Fitted:
    """The result for each set."""

    problem: Problemset
    settings: int
    """Number of settings at the start of `x`."""
    log_evidence: Floats
    x: Floats
    """Nonlinear settings, then logarithms of amounts, then coefficients of curves, shape (sets, …)."""
    spread: Floats
    """Covariance of `x`."""
    read: Floats
    """Prediction of each set for the rows."""
    slopes: Floats
    """d(rows)/dx of settings and amounts, shape (sets, rows, ·)."""

    def select(self, which: NDArray[np.int64]) -> Fitted:
        """The result for a selection of the sets."""
        arrays = (self.log_evidence, self.x, self.spread, self.read, self.slopes)
        return Fitted(self.problem.select(which), self.settings, *(a[which] for a in arrays))

    def joint_starts(self, groups: Sequence[tuple[int, ...]]) -> Floats:
        """Starting values for sets joined of these: the mean of their settings, and the amounts of each."""
        s, sets = self.settings, self.problem.sets
        joined = Problemset(
            [tuple(v for n in group for v in sets[n]) for group in groups], self.problem.all_columns, self.problem.rows
        )
        out = np.zeros((len(groups), s + joined.figure.shape[1] + joined.columns.shape[2]))
        for row, group in zip(out, groups, strict=True):
            row[:s] = self.x[list(group), :s].mean(axis=0)
            amounts = np.concatenate([self.x[n, s : s + sum(len(v.moves) for v in sets[n])] for n in group])
            row[s : s + len(amounts)] = amounts
        return out


class _State(NamedTuple):
    """The current state of the fit, for each set."""

    x: Floats
    read: Floats
    residual: Floats
    """Whitened."""
    cost: Floats
    """−2 times the logarithm of likelihood times prior."""


class Fitter:
    """Fits sets of causes to the rows of a session.

    Args:
        rows: the readings.
        covariance: covariance of the rows of a machine without a fault whose nonlinear settings are known.
    """

    def __init__(self, rows: Rows, covariance: Floats) -> None:
        self.rows = rows
        self.mean, width, _ = usual(lined_up_before=rows.machine.lined_up_before)
        runs, weights = rows.runs(), rows.channel_weights()
        present = sorted(set(runs.tolist()))
        self.settings: list[int] = []
        self._name_number: list[int] = []
        share: list[Floats] = []
        for number, name in enumerate(NONLINEAR):
            shape = NAMES[name].shape
            for at in np.ndindex(*shape):
                if shape[:1] == SETTINGS and at[0] not in present:
                    continue
                of_run = (runs == at[0]) if shape[:1] == SETTINGS else np.ones(len(rows), dtype=bool)
                self.settings.append(index(name, *at))
                self._name_number.append(number)
                share.append(of_run * (weights[:, at[1]] if len(shape) > 1 else 1.0))
        self._share = np.array(share)
        self._azimuth = width[self.settings] * np.array(["azimuth" in NONLINEAR[n] for n in self._name_number])
        self.weigh_by(covariance, 1.0)

    def graded(self, covariance: Floats, adjusted: float) -> Fitter:
        """The same for another grade of machine."""
        out = copy(self)
        out.weigh_by(covariance, adjusted)
        return out

    def weigh_by(self, covariance: Floats, adjusted: float) -> None:
        """Take the covariance of the rows and the spread of settings from a grade of machine."""
        _, width, _ = usual(lined_up_before=self.rows.machine.lined_up_before, adjusted=adjusted)
        self.precision = width[self.settings] ** -2.0
        self.whiten = np.linalg.inv(np.linalg.cholesky(covariance))
        self.log_det = 2 * float(np.log(np.diag(self.whiten)).sum())

    def figures(self, variants: tuple[Variant, ...], x: Floats) -> Floats:
        """The figures of one set."""
        none = {id(v): np.zeros((len(self.rows), 0)) for v in variants}
        return np.asarray(self.vectors(Problemset([variants], none, self.rows), x[None])[0])

    def vectors(self, problem: Problemset, x: Floats) -> Floats:
        """The figures of each set."""
        count, s, k = len(x), len(self.settings), problem.figure.shape[1]
        out = np.repeat(self.mean[None], count, axis=0)
        out[:, self.settings] = x[:, :s]
        np.add.at(out, (np.arange(count)[:, None], problem.figure), problem.sign * np.exp(x[:, s : s + k]))
        return out

    def predict(self, problem: Problemset, x: Floats) -> Floats:
        """Prediction of each set for the rows."""
        s = len(self.settings) + problem.figure.shape[1]
        return self.rows.predict(self.vectors(problem, x)) + (problem.columns @ x[:, s:, None])[..., 0]

    def slopes(self, problem: Problemset, x: Floats, read: Floats | None = None) -> Floats:
        """d(rows)/dx of settings and amounts, shape (sets, rows, ·).

        All settings of one name are moved at once, because each row depends on only one of them.

        Args:
            problem: the sets.
            x: where.
            read: their prediction there, if it is known.
        """
        count, s, k = len(x), len(self.settings), problem.figure.shape[1]
        read = self.predict(problem, x) if read is None else read
        read = read - (problem.columns @ x[:, s + k :, None])[..., 0]
        base = self.vectors(problem, x)
        tries = []
        for number in range(len(NONLINEAR)):
            moved = base.copy()
            moved[:, [i for i, c in zip(self.settings, self._name_number, strict=True) if c == number]] += STEP
            tries.append(moved)
        which = [np.flatnonzero(problem.precision[:, n] < UNUSED) for n in range(k)]
        for n, some in enumerate(which):
            moved = base[some]
            size = problem.sign[some, n] * np.exp(x[some, s + n])
            moved[np.arange(len(some)), problem.figure[some, n]] += size * np.expm1(STEP)
            tries.append(moved)
        predicted = self.rows.predict(np.concatenate(tries))
        of_settings = predicted[: count * len(NONLINEAR)].reshape(len(NONLINEAR), count, -1)
        out = np.zeros((count, len(self.rows), s + k))
        out[:, :, :s] = np.moveaxis(((of_settings - read) / STEP)[self._name_number] * self._share[:, None], 0, 2)
        rest = predicted[count * len(NONLINEAR) :]
        for n, some in enumerate(which):
            out[some, :, s + n] = (rest[: len(some)] - read[some]) / STEP
            rest = rest[len(some) :]
        return out

    def _prior(self, problem: Problemset) -> tuple[Floats, Floats]:
        """Mean and precision of x for each set."""
        count, e = len(problem.sets), problem.columns.shape[2]
        mean = [np.tile(self.mean[self.settings], (count, 1)), problem.median, np.zeros((count, e))]
        precision = [np.tile(self.precision, (count, 1)), problem.precision, np.ones((count, e))]
        return np.concatenate(mean, axis=1), np.concatenate(precision, axis=1)

    def _weights(self, x: Floats, prior: Floats, precision: Floats) -> tuple[Floats, Floats]:
        """Precision of the prior around x, and its cost there: −2 times its logarithm."""
        off, s = precision * (x - prior) ** 2, len(self.settings)
        weights = precision.copy()
        weights[:, :s] *= (FREEDOM + 1) / (FREEDOM + off[:, :s])
        cost = (FREEDOM + 1) * np.log1p(off[:, :s] / FREEDOM).sum(axis=1) + off[:, s:].sum(axis=1)
        return weights, cost

    def _normal(self, slopes: Floats, columns: Floats, precision: Floats) -> tuple[Floats, Floats]:
        """Whitened slopes together with the whitened columns of curves, and the matrix of the normal equations."""
        white = np.concatenate([self.whiten @ slopes, columns], axis=2)
        normal = np.swapaxes(white, 1, 2) @ white
        at = np.arange(normal.shape[1])
        normal[:, at, at] += precision
        return white, normal

    def fit(self, problem: Problemset, start: Floats | None = None, rounds: int = 5) -> Fitted:
        """Fit the figures of each set and compute its evidence."""
        prior, precision = self._prior(problem)
        if start is None:
            start = prior.copy()
            start[:, : len(self.settings)] += self._azimuth_start(problem)
        at = self._state(problem, start)
        damping, columns = np.full(len(problem.sets), DAMPING), self.whiten @ problem.columns
        for _ in range(rounds):
            slopes = self.slopes(problem, at.x, at.read)
            at, better, normal = self._step(problem, at, (slopes, columns), damping)
            damping = np.where(better, damping / 5, damping * 10)
        evidence = self._laplace(at.cost, precision, normal)
        spread = np.asarray(np.linalg.inv(normal))
        return Fitted(problem, len(self.settings), evidence, at.x, spread, at.read, slopes)

    def _azimuth_start(self, problem: Problemset) -> Floats:
        """The most likely azimuth without a cause, fitted from several starts; the other settings are 0."""
        alone = Problemset([()] * len(STARTS), problem.all_columns, self.rows)
        starts = self.mean[self.settings] + np.outer(STARTS, self._azimuth)
        found = self.fit(alone, starts, rounds=4)
        best = found.x[int(np.argmax(found.log_evidence))]
        return np.asarray(np.where(self._azimuth > 0, best - self.mean[self.settings], 0.0))

    def evidence(self, fitted: Fitted) -> Floats:
        """The evidence of sets that were fitted with another covariance, after one linear step."""
        problem = fitted.problem
        prior, precision = self._prior(problem)
        start = self._state(problem, fitted.x, fitted.read)
        along = (fitted.slopes, self.whiten @ problem.columns)
        step, white, normal = self._solve(problem, start, along, np.full(len(problem.sets), DAMPING))
        residual = start.residual - (white @ step[..., None])[..., 0]
        cost = (residual**2).sum(axis=1) + self._weights(start.x + step, prior, precision)[1]
        return self._laplace(np.minimum(cost, start.cost), precision, normal)

    def step(self, problem: Problemset, x: Floats, residual: Floats, slopes: Floats) -> tuple[Floats, Floats, Floats]:
        """One linear step for sets that were fitted with another covariance or prior.

        Args:
            problem: the sets.
            x: the fitted figures.
            residual: whitened residual of the rows at `x`.
            slopes: d(rows)/dx of settings and amounts at `x`.

        Returns:
            The step, the whitened slopes of all of `x`, and the matrix of the normal equations.
        """
        at = _State(x, residual, residual, np.zeros(len(x)))
        return self._solve(problem, at, (slopes, self.whiten @ problem.columns), np.zeros(len(x)))

    def _state(self, problem: Problemset, x: Floats, read: Floats | None = None) -> _State:
        prior, precision = self._prior(problem)
        read = self.predict(problem, x) if read is None else read
        residual = (self.rows.values - read) @ self.whiten.T
        return _State(x, read, residual, (residual**2).sum(axis=1) + self._weights(x, prior, precision)[1])

    def _step(
        self, problem: Problemset, at: _State, along: tuple[Floats, Floats], damping: Floats
    ) -> tuple[_State, NDArray[np.bool_], Floats]:
        """One damped step, kept for the sets that it improves; and the matrix of the normal equations."""
        step, _, normal = self._solve(problem, at, along, damping)
        then = self._state(problem, at.x + step)
        better = then.cost < at.cost
        whole = better[:, None]
        kept = _State(
            np.where(whole, then.x, at.x),
            np.where(whole, then.read, at.read),
            np.where(whole, then.residual, at.residual),
            np.where(better, then.cost, at.cost),
        )
        return kept, better, normal

    def _solve(
        self, problem: Problemset, at: _State, along: tuple[Floats, Floats], damping: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """The solution of the damped normal equations, the whitened slopes, and the matrix of the equations."""
        s, k = len(self.settings), problem.figure.shape[1]
        prior, precision = self._prior(problem)
        weights, _ = self._weights(at.x, prior, precision)
        white, normal = self._normal(*along, weights)
        diagonal = np.arange(normal.shape[1])
        damped = normal.copy()
        damped[:, diagonal, diagonal] *= 1 + damping[:, None]
        pull = (at.residual[:, None] @ white)[:, 0] - weights * (at.x - prior)
        step = np.linalg.solve(damped, pull[..., None])[..., 0]
        step[:, s : s + k] = np.clip(step[:, s : s + k], -1.5, 1.0)
        step[:, :s] = np.clip(step[:, :s], -8.0, 8.0)
        return np.asarray(step), white, normal

    def _laplace(self, cost: Floats, precision: Floats, normal: Floats) -> Floats:
        half = np.log(precision).sum(axis=1) - np.linalg.slogdet(normal)[1] + self.log_det
        return np.asarray(0.5 * (half - cost))
