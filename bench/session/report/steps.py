"""The steps of a session's procedure, from the copies kept beside it: titles, and cautions given."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from bench.session.record.record import SessionRecord

JUDGED_KINDS = frozenset({"reference", "adjust", "record-replay", "measure"})


@dataclass(frozen=True, slots=True)
class StepOutline:
    """What a report needs of a step."""

    id: str
    title: str
    kind: str
    stage: str
    cautions: tuple[tuple[str, str], ...]
    """(hazard, what was said)."""
    target: str = ""
    """The target that it is set to, by name: "tape.bias"."""
    direction: str = ""
    """`forward` or `reverse`, where the procedure says which."""

    @property
    def judged(self) -> bool:
        """Whether a reading of it counts at the end."""
        return self.kind in JUDGED_KINDS and self.stage == "left"


def outline(session: SessionRecord) -> dict[str, StepOutline]:
    """The steps in order, by id; empty when the copies are missing or unreadable.

    A session stays readable without its inputs, so nothing here is an error.
    """
    files: dict[str, dict[str, Any]] = {}
    for file in session.inputs:
        path = Path(file.path)
        try:
            table = tomllib.loads((session.folder / path).read_text(encoding="utf-8"))
        except (OSError, ValueError, RecursionError):
            continue
        if isinstance(table.get("step"), list):  # a sheet has none
            files.setdefault(path.stem, table)
    first = session.job.procedure_id or next(iter(files), "")
    plain = {step.id: step for step in _walk(files, first, 0, both=False)}
    both = {step.id: step for step in _walk(files, first, 0, both=True)}
    # A step that is done in each direction has an id for each on a machine that has both, and one elsewhere.
    met = {r.step for r in session.readings} | {e.step for e in session.events} | set(session.steps_done)
    return both if met & (both.keys() - plain.keys()) else plain


def _walk(files: dict[str, dict[str, Any]], name: str, depth: int, *, both: bool) -> Iterator[StepOutline]:
    """The steps of a file, on a machine that runs in both directions or forward only."""
    if depth > 10:  # a damaged copy that follows itself
        return
    for step in files.get(name, {}).get("step", []):
        if not isinstance(step, dict) or not isinstance(step.get("id"), str):
            continue
        rows = step.get("cautions", [])
        cautions = tuple(
            (str(c.get("hazard", "")), str(c["say"])) for c in rows if isinstance(c, dict) and c.get("say")
        )
        stage, direction = str(step.get("stage", "left")), str(step.get("direction", ""))
        ways = ("forward", "reverse") if both and step.get("each_direction") is True else ("",)
        if step.get("kind") == "follow":
            inners = list(_walk(files, str(step.get("procedure", "")), depth + 1, both=both))
            for way in ways:
                for inner in inners:
                    yield replace(
                        inner if inner.direction else _running(inner, way or direction),
                        id=f"{_of(step['id'], way)}/{inner.id}",
                        stage=inner.stage if stage == "left" else stage,
                        cautions=cautions + inner.cautions,
                    )
            continue
        title, kind = str(step.get("title", step["id"])), str(step.get("kind", ""))
        told = StepOutline(step["id"], title, kind, stage, cautions, str(step.get("target", "")), direction)
        for way in ways:
            yield replace(_running(told, way), id=_of(told.id, way))


def _of(name: str, way: str) -> str:
    return f"{name}-{way}" if way else name


def _running(step: StepOutline, way: str) -> StepOutline:
    return replace(step, title=f"{step.title}, {way}", direction=way) if way else step
