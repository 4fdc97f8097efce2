"""A cause: another prior on a few figures of the model, or as a curve of its own.

Odds are relative; they, the sizes and their spreads are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from bench.diagnosis.machine import PARTS

Channels = Literal["left", "right", "both"]
Side = Literal["replay", "record", "fine replay", "fine record", "low end", "encoder", "decoder", "drift"]
ONE: tuple[Channels, ...] = ("left", "right")


@dataclass(frozen=True, slots=True)
class Move:
    """A figure moved by a fault, by an amount above 0 that scatters by a factor."""

    figure: str
    median: float
    spread: float = 0.6
    """Standard deviation of the natural logarithm of the amount."""
    sign: int = 1
    at: tuple[int, ...] = ()
    """Where in the figure: channel, run of settings, or both."""


Moves = tuple[Move, ...]


@dataclass(frozen=True, slots=True)
class Curve:
    """A smooth curve over frequency that no closed form gives, or a free offset of some rows."""

    side: Side
    width: float
    """Standard deviation, dB (drift: %)."""
    channel: int | None = None
    """0 left, 1 right; None for both alike."""


@dataclass(frozen=True, slots=True)
class Variant:
    """One way in which a cause can be there."""

    channel: Channels
    moves: tuple[Move, ...] = ()
    curves: tuple[Curve, ...] = ()
    share: float = 1.0
    """Of the cause's odds."""
    kind: str = ""
    """What kind of it this is."""
    type_one: bool | None = None
    """Whether it is usual on a machine set for type I tape; None where that makes no difference."""


CLEARED = frozenset({"replay_film", "record_film", "erasure_dirt", "remanence"})
"""Figures that cleaning and demagnetising put right; what they leave has figures of its own."""


@dataclass(frozen=True, slots=True)
class Cause:
    """Something that can be wrong."""

    name: str
    title: str
    variants: tuple[Variant, ...]
    odds: float
    unit: str
    """Of its severity."""
    mended_by: str
    left: str
    """What it costs to leave it."""
    shown_by: str = ""
    """The kind of row without which it can't be seen, where there is only one."""
    heads: tuple[int, ...] = (2, 3)
    reels: float = 1.0
    """Share of its odds that it has on open reel, where few machines have the part."""
    look: str = ""
    """The look that settles it."""
    look_minutes: float = 1.0
    like: tuple[str, ...] = field(default=())
    """Causes that read much alike."""


def by_channel(*moves: Move, both: float = 0.5, edges: float = 0.0) -> tuple[Variant, ...]:
    """A fault of the left, of the right, or of both; the channel is put in front of where each move acts.

    Args:
        moves: those of one channel.
        both: how often both channels have it.
        edges: ripple at the low end, from the edges of the head's face where it bears, dB (standard).
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


def in_one(*moves: Move, share: float = 1.0, kind: str = "") -> tuple[Variant, ...]:
    """A fault of the left or of the right."""
    return tuple(
        Variant(
            side,
            tuple(Move(m.figure, m.median, m.spread, m.sign, (*m.at, n)) for m in moves),
            share=share / 2,
            kind=kind,
        )
        for n, side in enumerate(ONE)
    )


def alike(*moves: Move, share: float = 1.0, kind: str = "") -> Variant:
    """A fault of both channels alike."""
    return Variant("both", moves, share=share, kind=kind)


def switched(*moves: Move, share: float = 1.0, type_one: bool | None = None) -> tuple[Variant, ...]:
    """Something that a hand puts right: still so as left, or not."""

    def runs(*which: int) -> tuple[Move, ...]:
        return tuple(Move(m.figure, m.median, m.spread, m.sign, (run,)) for m in moves for run in which)

    return (
        Variant("both", runs(0), share=share / 2, type_one=type_one),
        Variant("both", runs(0, 1), share=share / 2, type_one=type_one),
    )


def turning(name: str, of: str, title: str, *, mended_by: str, left: str, odds: float = 1.0, more: Moves = ()) -> Cause:
    """A rotating part whose line is too strong."""
    variant = Variant("both", (Move("part", 2.2, 0.4, at=(PARTS.index(of),)), *more))
    look = f"turn the {of} by hand, and look at it in good light"
    return Cause(name, title, (variant,), odds, "×", mended_by, left, look=look, look_minutes=3.0)


def of_each(side: Side, width: float) -> tuple[Variant, ...]:
    """A curve of the left, of the right, or of both."""
    channels: tuple[tuple[Channels, int | None], ...] = (("left", 0), ("right", 1), ("both", None))
    return tuple(Variant(channel, curves=(Curve(side, width, n),), share=1 / 3) for channel, n in channels)
