"""The variants of each cause that these readings could show."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bench.arrays import Floats
from bench.diagnosis.causes.cause import CLEARED, Cause, Curve, Move, Variant
from bench.diagnosis.fit import Problemset
from bench.diagnosis.machine import PARTS
from bench.diagnosis.parameters import usual
from bench.diagnosis.readings.finding import MAGNETISED, Stage
from bench.diagnosis.rows import Rows
from bench.diagnosis.spread import (
    Grade,
    curve_columns,
    linear_columns,
    linear_scale,
    rough_columns,
    scatter_covariance,
)

SEEN = 0.6
"""A cause is considered if a usual size of it changes the readings by this many standard deviations."""
TYPE_ONE_US, UNUSUAL = 100.0, 0.15
"""A machine with a longer time constant is set for type I; factor for the odds of a variant of the other type."""
DIRECTIONS, LEAST_DIRECTION = 10, 0.3
"""Number of principal directions of a curve that are kept, and the least effect of each, in standard deviations."""


def _strange(side: str) -> tuple[Variant, ...]:
    """A response with peaks, steps or holes, or one that is tilted as a whole, in one channel or both."""

    def curve(channel: str, n: int | None, share: float, *widths: tuple[str, float]) -> Variant:
        curves = tuple(Curve(name, width, n) for name, width in widths)  # type: ignore[arg-type]
        return Variant(channel, curves=curves, share=share)  # type: ignore[arg-type]

    return tuple(
        made
        for channel, n in (("both", None), ("left", 0), ("right", 1))
        for made in (
            curve(channel, n, 1.0, (side, 5.0), (f"fine {side}", 3.0)),
            curve(channel, n, 0.5, (f"tilted {side}", 4.0)),
        )
    )


STRANGE = Cause(
    "not-in-list",
    "something that is not in this list",
    (
        *_strange("replay"),
        *_strange("record"),
        Variant("both", (Move("part", 2.3, 0.5, at=(PARTS.index("idler"),)),), share=1.5),
        Variant("both", curves=(Curve("low end", 4.0),), share=0.15),
    ),
    1.0,
    "",
    "look further",
    "unknown",
)


def cleared(variant: Variant, stage: Stage) -> bool:
    """Whether the cleaning and demagnetising done by a stage have put it right.

    Its first move is the fault itself; the others are consequences.
    """
    if stage == "before-cleaning" or not variant.moves:
        return False
    done = CLEARED - {"remanence"} if stage in MAGNETISED else CLEARED
    return variant.moves[0].figure in done


@dataclass(frozen=True, slots=True)
class Option:
    """One variant of a cause, with its weight."""

    cause: Cause
    variant: Variant
    weight: float
    """Prior odds, times the likelihood ratio of what a person saw."""
    shown: bool = True
    """Whether the readings could show it; otherwise only an answer bears on it."""


class SessionRows:
    """What all sets of causes of a session share: the rows, and their covariance without a fault."""

    def __init__(self, rows: Rows) -> None:
        self.rows = rows
        self._mean = usual()[0]
        rough = rough_columns(rows)
        self._rough2 = rough @ rough.T
        self._linear = linear_columns(rows, self._mean)
        self._stated = scatter_covariance(rows, 0.0)
        self._scatter = scatter_covariance(rows, 1.0) - self._stated
        self.columns: dict[int, Floats] = {}
        """The columns of the curves of each variant, by its `id`."""

    def linear(self, adjusted: float) -> Floats:
        """Change of the rows for one standard deviation of each linear figure.

        Args:
            adjusted: spread of the trimmers as found, relative to the usual one.
        """
        return np.asarray(self._linear * linear_scale(adjusted))

    def covariance(self, grade: Grade, extra_variance: Floats) -> Floats:
        """Covariance of the rows for a grade of machine; `extra_variance` is the additional variance of outliers."""
        linear = self.linear(grade.adjusted)
        out = self._stated + grade.repeats**2 * self._scatter + linear @ linear.T + grade.rough**2 * self._rough2
        return np.asarray(out + np.diag(extra_variance))

    def visible(self, causes: Sequence[Cause], ratios: Mapping[str, float]) -> tuple[list[Option], list[Cause]]:
        """The variants that would change these readings or on which an answer bears, and the causes without any.

        Args:
            causes: all possible causes.
            ratios: how much likelier the answers are with each cause that they are about.
        """
        kinds = {p.kind for p in self.rows.data_rows}
        usual_spread = np.linalg.cholesky(self.covariance(Grade(1.0, 1.2), np.zeros(len(self.rows))))
        whiten = np.linalg.inv(usual_spread)
        pairs = [
            (c, v)
            for c in (*causes, STRANGE)
            for v in c.variants
            if (not c.shown_by or c.shown_by in kinds or c.name in ratios) and not (v.unless and v.unless in kinds)
        ]
        none = np.zeros((len(self.rows), 0))
        for _, v in pairs:
            raw = np.hstack([curve_columns(self.rows, c) for c in v.curves]) if v.curves else none
            self.columns[id(v)] = usual_spread @ _principal_directions(whiten @ raw) if raw.shape[1] else none
        problem = Problemset([(v,) for _, v in pairs], dict.fromkeys(self.columns, none), self.rows)
        vectors = np.repeat(self._mean[None], len(pairs) + 1, axis=0)
        np.add.at(vectors, (np.arange(len(pairs))[:, None], problem.figure), problem.sign * np.exp(problem.median))
        read = self.rows.predict(vectors)
        moved = np.linalg.norm((read[:-1] - read[-1]) @ whiten.T, axis=1)
        options = []
        for size, (cause, v) in zip(moved, pairs, strict=True):
            shown = bool(size > SEEN or self.columns[id(v)].shape[1])
            if shown or cause.name in ratios:
                weight = cause.odds * v.share * ratios.get(cause.name, 1.0)
                weight *= 1.0 if self.rows.machine.cassette else cause.reels
                type_one = self.rows.machine.t1_us >= TYPE_ONE_US
                weight *= UNUSUAL if v.type_one is not None and v.type_one != type_one else 1.0
                options.append(Option(cause, v, weight, shown))
        seen = {o.cause.name for o in options}
        return options, [c for c in causes if c.name not in seen]


def _principal_directions(columns: Floats) -> Floats:
    """The few principal directions in which whitened columns change the rows most."""
    directions, sizes, _ = np.linalg.svd(columns, full_matrices=False)
    kept = min(DIRECTIONS, int((sizes > LEAST_DIRECTION).sum()))
    return np.asarray(directions[:, :kept] * sizes[:kept])
