"""A cause: a different prior for a few figures of the model, or a curve of its own.

Odds are relative. Odds, sizes and their spreads are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from bench.diagnosis.machine import PARTS

Channels = Literal["left", "right", "both"]
Side = Literal[
    "replay",
    "record",
    "fine replay",
    "fine record",
    "tilted replay",
    "tilted record",
    "low end",
    "encoder",
    "decoder",
    "drift",
]
RATIO = "times the length of a new gap"
"""Unit of a severity whose amount is the logarithm of a ratio."""
SIDES: tuple[Channels, ...] = ("left", "right")


@dataclass(frozen=True, slots=True)
class Move:
    """A change of a figure by a fault. The amount is positive, with a log-normal distribution."""

    figure: str
    median: float
    spread: float = 0.6
    """Standard deviation of the natural logarithm of the amount."""
    sign: int = 1
    at: tuple[int, ...] = ()
    """Index within the figure: channel, run of settings, or both."""


Moves = tuple[Move, ...]


@dataclass(frozen=True, slots=True)
class Curve:
    """A smooth curve over frequency that no formula describes, or a free offset of some rows."""

    side: Side
    width: float
    """Standard deviation, dB (drift: %)."""
    channel: int | None = None
    """0 left, 1 right; None for both alike."""


@dataclass(frozen=True, slots=True)
class Variant:
    """One form that a cause can take."""

    channel: Channels
    moves: tuple[Move, ...] = ()
    curves: tuple[Curve, ...] = ()
    share: float = 1.0
    """Share of the odds of the cause."""
    kind: str = ""
    """Name of this form, if the cause has several."""
    type_one: bool | None = None
    """Whether it is usual on a machine set for type I tape; None if that makes no difference."""
    unless: str = ""
    """A kind of row whose readings rule it out; "" for none."""


CLEARED = frozenset({"replay_film", "record_film", "erasure_dirt", "remanence"})
"""Figures that cleaning and demagnetising reset; what remains afterwards has figures of its own."""


@dataclass(frozen=True, slots=True)
class Cause:
    """Something that can be wrong."""

    name: str
    title: str
    variants: tuple[Variant, ...]
    odds: float
    unit: str
    """Unit of its severity."""
    mended_by: str
    left: str
    """The consequence of leaving it."""
    shown_by: str = ""
    """The only kind of row that shows it; "" if there are several."""
    heads: tuple[int, ...] = (2, 3)
    reels: float = 1.0
    """Factor for its odds on open reel, where few machines may have the part."""
    look: str = ""
    """The inspection by eye that settles it."""
    look_minutes: float = 1.0
    like: tuple[str, ...] = field(default=())
    """Causes with similar readings."""


def by_channel(*moves: Move, both: float = 0.5, edges: float = 0.0) -> tuple[Variant, ...]:
    """Variants of a fault in the left channel, the right, or both.

    Args:
        moves: the changes in one channel, whose `at` lacks the channel.
        both: probability that both channels have it.
        edges: standard deviation of the low-frequency ripple caused by the edges of the head's face, dB; 0 for none.
    """

    def on(side: int) -> tuple[Move, ...]:
        return tuple(Move(m.figure, m.median, m.spread, m.sign, (*m.at, side)) for m in moves)

    def low(side: int | None) -> tuple[Curve, ...]:
        return (Curve("low end", edges, side),) if edges else ()

    one = (1 - both) / 2
    return (
        Variant("left", on(0), low(0), share=one),
        Variant("right", on(1), low(1), share=one),
        Variant("both", (*on(0), *on(1)), low(None), share=both),
    )


def either(*moves: Move, share: float = 1.0, kind: str = "") -> tuple[Variant, ...]:
    """Variants of a fault in the left or the right channel."""
    return tuple(
        Variant(
            side,
            tuple(Move(m.figure, m.median, m.spread, m.sign, (*m.at, n)) for m in moves),
            share=share / 2,
            kind=kind,
        )
        for n, side in enumerate(SIDES)
    )


def both(*moves: Move, share: float = 1.0, kind: str = "", unless: str = "") -> Variant:
    """Variant of a fault that affects both channels equally."""
    return Variant("both", moves, share=share, kind=kind, unless=unless)


def wrong_position(*moves: Move, share: float = 1.0, type_one: bool | None = None) -> tuple[Variant, ...]:
    """Variants of a wrong switch position or tape, which may or may not have been corrected by the as-left readings."""

    def runs(*which: int) -> tuple[Move, ...]:
        return tuple(Move(m.figure, m.median, m.spread, m.sign, (run,)) for m in moves for run in which)

    return (
        Variant("both", runs(0), share=share / 2, type_one=type_one),
        Variant("both", runs(0, 1), share=share / 2, type_one=type_one),
    )


def rotating(
    name: str, of: str, title: str, *, mended_by: str, left: str, odds: float = 1.0, more: Moves = ()
) -> Cause:
    """A rotating part with too strong a flutter component."""
    variant = Variant("both", (Move("part", 2.2, 0.4, at=(PARTS.index(of),)), *more))
    look = f"turn the {of} by hand, and look at it in good light"
    return Cause(name, title, (variant,), odds, "×", mended_by, left, look=look, look_minutes=3.0)


def curve_by_channel(side: Side, width: float) -> tuple[Variant, ...]:
    """Variants of a curve in the left channel, the right, or both."""
    channels: tuple[tuple[Channels, int | None], ...] = (("left", 0), ("right", 1), ("both", None))
    return tuple(Variant(channel, curves=(Curve(side, width, n),), share=1 / 3) for channel, n in channels)
