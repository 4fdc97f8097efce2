"""The card of a step: cautions first, then what to do, then what a good result is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bench.tui.text import clip, wrap
from bench.tui.widgets.line_widget import Line, LineWidget

if TYPE_CHECKING:
    from bench.procedure.model.steps import Caution, Hazard
    from bench.procedure.state.snapshot import StepView

HAZARDS: dict[Hazard, str] = {
    "mains": "Mains",
    "demagnetiser": "Demagnetiser",
    "solvent": "Solvent",
    "moving-parts": "Moving parts",
    "loud-tones": "Loud tones",
    "reference-tape": "Reference tape",
    "owners-tape": "Owner's tape",
}

READABLE = 84
"""Longest comfortable line, cells."""

Part = tuple[str, str, str]
"""The lead of the first line, the text, and its role."""


def card_parts(
    step: StepView, *, whole: bool = False, read: frozenset[Caution] = frozenset(), seen: str = ""
) -> list[Part]:
    """The parts of a card in reading order.

    Args:
        step: the step.
        whole: whether to add the `why` and `if_not` texts.
        read: cautions that the step before gave in the same words, of which only the hazard is named.
        seen: what the practice machine looks like.
    """
    new = [c for c in step.cautions if c not in read]
    parts: list[Part] = [("▲ ", f"{HAZARDS[c.hazard]}: {c.say}", "caution") for c in new]
    known = [HAZARDS[c.hazard] for c in step.cautions if c in read]
    if known:
        parts.append(("▲ ", f"{', '.join([known[0], *(k.lower() for k in known[1:])])}: as before", "caution"))
    parts.append(("", step.do, ""))
    parts.append(("good  ", step.good, "quiet"))
    parts.append(("you see  ", seen, ""))
    if whole:
        parts += [("if not  ", step.if_not, "quiet"), ("why  ", step.why, "quiet")]
    return [p for p in parts if p[1].strip()]


def fold_cautions(parts: list[Part]) -> list[Part]:
    """The parts with all cautions folded into one line that names their hazards."""
    if sum(role == "caution" for _, _, role in parts) < 2:
        return parts
    return [_hazards(parts), *(p for p in parts if p[2] != "caution")]


def caution_reading_s(parts: list[Part]) -> float:
    """Time to read the cautions, at 12 characters a second, plus 4 s to look up and down."""
    return 4.0 + sum(len(text) for _, text, role in parts if role == "caution") / 12.0


def rows_of(parts: list[Part], width: int) -> int:
    """The rows that the whole card takes."""
    return sum(len(wrap(text, min(width, READABLE) - len(lead))) for lead, text, _ in parts)


def card_height(parts: list[Part], width: int, soft: int, hard: int) -> int:
    """The rows of a card above something live.

    Args:
        parts: parts of the card.
        width: cells.
        soft: rows available for any part.
        hard: rows available for cautions and for what to do, which must be read whole.
    """
    must = rows_of([p for p in parts if p[2] in ("caution", "")], width)
    return max(min(rows_of(parts, width), soft), min(must, hard))


def card_lines(parts: list[Part], width: int, height: int) -> list[Line]:
    """Parts in `width` × `height` cells; parts without room are clipped with "…", what to do last of all."""
    wrapped = [wrap(text, width - len(lead)) for lead, text, _ in parts]
    counts = [len(w) for w in wrapped]
    spare = height - sum(counts)
    gaps = 1 if spare >= len(parts) - 1 else 0
    if spare < 0:
        cautions = sum(role == "caution" for _, _, role in parts)
        if cautions > 1 and cautions + 1 > height:
            return card_lines(fold_cautions(parts), width, height)
        counts = _share(parts, counts, height)
    out: list[Line] = []
    for (lead, _, role), text, count in zip(parts, wrapped, counts, strict=True):
        for n, line in enumerate(clip(text, count, width - len(lead))):
            first = lead if n == 0 else " " * len(lead)
            out.append([(first, "quiet" if role == "quiet" else role), (line, _text_role(lead, role))])
        if count and gaps:
            out.append([])
    return out[:height]


def _hazards(parts: list[Part]) -> Part:
    """All cautions in one line: the names of their hazards."""
    names = [text.partition(":")[0] for _, text, role in parts if role == "caution"]
    return "▲ ", ", ".join([names[0], *(n.lower() for n in names[1:])]) + ": w shows the cautions", "caution"


def _text_role(lead: str, role: str) -> str:
    return "" if role == "quiet" and lead.startswith("good") else role


def _share(parts: list[Part], counts: list[int], height: int) -> list[int]:
    """Lines for each part if not all fit: one for what to do, then whole cautions, then the others in order."""
    roles = [role for _, _, role in parts]
    doing = roles.index("")
    given = [0] * len(parts)
    given[doing] = min(1, height)
    left = height - given[doing]
    for n in sorted(range(len(parts)), key=lambda n: {"caution": 0, "": 1}.get(roles[n], 2)):
        more = min(left, counts[n] - given[n])
        given[n] += more
        left -= more
    return given


class Card(LineWidget):
    """The step's card."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._parts: list[Part] = []

    def show(self, parts: list[Part]) -> None:
        """Show the parts of a card."""
        if parts != self._parts:
            self._parts = parts
            self.repaint()

    def lines(self, width: int, height: int) -> list[Line]:
        """Draw, no wider than a comfortable line."""
        return card_lines(self._parts, min(width, READABLE), height)
