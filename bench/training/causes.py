"""Named causes of what is wrong with a machine: what an exercise hides, and what a trainee may name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from bench.words.sentences import capitalised

Figure = float | str | bool


@dataclass(frozen=True, slots=True)
class Cause:
    """Something that can be wrong with a machine."""

    name: str
    """"Dirt on the replay head"."""
    tells: str
    """How the cause shows."""
    figures: Mapping[str, Figure]
    """The figures of the machine that it changes, with their values: "replay_dirt_left_um"."""
    mended_by: tuple[str, ...] = ()
    """Work that removes it: "clean", "demagnetise"."""


def trimmer_kind(trimmer: str) -> str:
    """The part of a trimmer's name that both channels share: "replay level" in "replay level left"."""
    return trimmer.removesuffix(" left").removesuffix(" right")


def out_of_adjustment(kind: str) -> str:
    """Name of the cause that trimmers of a kind are out of adjustment."""
    return f"{capitalised(kind)} out of adjustment"


def is_right_name(named: str, hidden: Cause, known: Sequence[Cause]) -> bool:
    """Whether a name is right for a hidden cause.

    A cause is the same one by a wider or narrower name if it changes some of the same figures, not in the opposite
    direction, and is removed by the same work.

    Args:
        named: a name from `known`.
        hidden: the cause.
        known: all causes that can be named.
    """
    if named == hidden.name:
        return True
    cause = next((c for c in known if c.name == named), None)
    if cause is None or cause.mended_by != hidden.mended_by:
        return False
    shared = set(cause.figures) & set(hidden.figures)
    return bool(shared) and not any(_goes_the_other_way(cause, hidden, figure, known) for figure in shared)


def _goes_the_other_way(named: Cause, hidden: Cause, figure: str, known: Sequence[Cause]) -> bool:
    """Whether the name includes the direction of a figure, and the directions are opposite: bias high, bias low."""
    asked, true = _number(named, figure), _number(hidden, figure)
    has_opposite = any(_number(c, figure) * asked < 0 for c in known)
    return has_opposite and asked * true < 0


def _number(cause: Cause, figure: str) -> float:
    value = cause.figures.get(figure, 0.0)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else 0.0
