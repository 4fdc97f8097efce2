"""The steps of a session's procedure, from the copies kept beside it: titles, and cautions given."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from bench.session.record import SessionRecord

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
    steps = {step.id: step for step in _walk(files, first, 0)}
    # A step that is done in each direction has an id for each on a machine that has both, and one elsewhere.
    met = {r.step for r in session.readings} | {e.step for e in session.events} | set(session.steps_done)
    for name in [s for s in steps if f"{s}-reverse" in steps]:
        both = met & {f"{name}-forward", f"{name}-reverse"}
        for unmet in [name] if both else [f"{name}-forward", f"{name}-reverse"]:
            steps.pop(unmet, None)
    return steps


def _walk(files: dict[str, dict[str, Any]], name: str, depth: int) -> Iterator[StepOutline]:
    if depth > 10:  # a damaged copy that follows itself
        return
    for step in files.get(name, {}).get("step", []):
        if not isinstance(step, dict) or not isinstance(step.get("id"), str):
            continue
        rows = step.get("cautions", [])
        cautions = tuple(
            (str(c.get("hazard", "")), str(c["say"])) for c in rows if isinstance(c, dict) and c.get("say")
        )
        stage = str(step.get("stage", "left"))
        if step.get("kind") == "follow":
            for inner in _walk(files, str(step.get("procedure", "")), depth + 1):
                yield replace(
                    inner,
                    id=f"{step['id']}/{inner.id}",
                    stage=inner.stage if stage == "left" else stage,
                    cautions=cautions + inner.cautions,
                )
            continue
        title, kind = str(step.get("title", step["id"])), str(step.get("kind", ""))
        told = StepOutline(step["id"], title, kind, stage, cautions, str(step.get("target", "")))
        yield told
        if step.get("each_direction") is True:
            for way in ("forward", "reverse"):
                yield replace(told, id=f"{told.id}-{way}", title=f"{title}, {way}")
