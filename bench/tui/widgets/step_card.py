"""What a step says: cautions first, then what to do, then what good looks like."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bench.tui.text import clip, wrap
from bench.tui.widgets.line_widget import Line, Painted

if TYPE_CHECKING:
    from bench.procedure.model.steps import Hazard
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
"""A line of text is no longer than can be read with ease."""

Part = tuple[str, str, str]
"""What is set before the first line, the text, and the role."""


def parts_of(step: StepView, *, whole: bool = False) -> list[Part]:
    """The parts of a card in the order in which they must be read; `whole` adds why, and what if not."""
    parts: list[Part] = [("▲ ", f"{HAZARDS[c.hazard]}: {c.say}", "caution") for c in step.cautions]
    parts.append(("", step.do, ""))
    parts.append(("good  ", step.good, "quiet"))
    if whole:
        parts += [("if not  ", step.if_not, "quiet"), ("why  ", step.why, "quiet")]
    return [p for p in parts if p[1].strip()]


def folded(parts: list[Part]) -> list[Part]:
    """Cautions that were read, in one line: their hazards by name."""
    if sum(role == "caution" for _, _, role in parts) < 2:
        return parts
    return [_hazards(parts), *(p for p in parts if p[2] != "caution")]


def reading_s(parts: list[Part]) -> float:
    """How long cautions take to read, at a dozen letters a second, and a look up and down."""
    return 4.0 + sum(len(text) for _, text, role in parts if role == "caution") / 12.0


def rows_of(parts: list[Part], width: int) -> int:
    """How many rows all of a card takes at least."""
    return sum(len(wrap(text, min(width, READABLE) - len(lead))) for lead, text, _ in parts)


def card_height(parts: list[Part], width: int, soft: int, hard: int) -> int:
    """The rows that a card should have beside something live.

    Args:
        parts: of the card.
        width: cells.
        soft: rows that may be taken for anything.
        hard: rows that may be taken for cautions, which are read whole, and for what to do.
    """
    must = rows_of([p for p in parts if p[2] in ("caution", "")], width)
    return max(min(rows_of(parts, width), soft), min(must, hard))


def card_lines(parts: list[Part], width: int, height: int) -> list[Line]:
    """Parts in `width` × `height` cells; what finds no room is clipped with "…", what to do last of all."""
    wrapped = [wrap(text, width - len(lead)) for lead, text, _ in parts]
    counts = [len(w) for w in wrapped]
    spare = height - sum(counts)
    gaps = 1 if spare >= len(parts) - 1 else 0
    if spare < 0:
        cautions = sum(role == "caution" for _, _, role in parts)
        if cautions > 1 and cautions + 1 > height:
            return card_lines(folded(parts), width, height)
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
    """All cautions in one line, where there is no room for each: their hazards by name."""
    names = [text.partition(":")[0] for _, text, role in parts if role == "caution"]
    return "▲ ", ", ".join([names[0], *(n.lower() for n in names[1:])]) + ": w says how to take care", "caution"


def _text_role(lead: str, role: str) -> str:
    return "" if role == "quiet" and lead.startswith("good") else role


def _share(parts: list[Part], counts: list[int], height: int) -> list[int]:
    """Lines for each part when not all fit: one for what to do, then cautions whole, then the others in order."""
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


class Card(Painted):
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
        """Draw, no wider than can be read with ease."""
        return card_lines(self._parts, min(width, READABLE), height)
