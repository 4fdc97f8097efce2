"""The steps of a session of schema 1 or 2, from the copies of its procedures, which are read leniently."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path, PurePosixPath
from typing import Any, get_args

from bench.bounded_toml import parse
from bench.measure.stage import Stage
from bench.session.record.inputs import read_copy

Table = dict[str, Any]

DEEPEST = 10
"""Maximum depth of followed procedures; a damaged copy may follow itself."""


def rows_of(table: Table, key: str) -> list[Table]:
    """The items of an array that are tables."""
    rows = table.get(key, [])
    return [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []


def copied_steps(table: Table, folder: Path) -> list[Table]:
    """The steps in order, without those that did not apply; empty where the copies are missing or unreadable."""
    files: dict[str, Table] = {}
    for file in rows_of(table, "inputs"):
        path = PurePosixPath(str(file.get("path", "")))
        try:
            copy = parse(read_copy(folder, str(path)))
        except (OSError, ValueError):
            continue
        if isinstance(copy.get("step"), list):  # a sheet has no steps
            files.setdefault(path.stem, copy)
    job = table.get("job")
    first = str(job.get("procedure_id") or "") if isinstance(job, dict) else ""
    plain, both = (list(_walk(files, first or next(iter(files), ""), 0, both)) for both in (False, True))
    # A step for each direction has an id for each on a machine with both directions, and a single id on others.
    met = {str(row.get("step")) for key in ("readings", "events") for row in rows_of(table, key)}
    steps = both if met & ({s["id"] for s in both} - {s["id"] for s in plain}) else plain
    left_out = tuple(str(e.get("step")) for e in rows_of(table, "events") if e.get("kind") == "left-out")
    return [s for s in steps if s["id"] not in left_out and not s["id"].startswith(tuple(f"{i}/" for i in left_out))]


def _walk(files: dict[str, Table], name: str, depth: int, both: bool) -> Iterator[Table]:
    """The steps of a file, for a machine that runs in both directions or only forward."""
    for raw in rows_of(files.get(name, {}), "step") if depth < DEEPEST else ():
        if not isinstance(raw.get("id"), str):
            continue
        step = _step(raw)
        for way in ("forward", "reverse") if both and raw.get("each_direction") is True else ("",):
            if raw.get("kind") != "follow":
                yield _running(step, way)
                continue
            cautions = step["cautions"]
            for inner in _walk(files, str(raw.get("procedure", "")), depth + 1, both):
                placed = inner if inner["direction"] else _running(inner, way or step["direction"], "")
                yield placed | {
                    "id": f"{step['id']}{'-' * bool(way)}{way}/{inner['id']}",
                    "stage": inner["stage"] if step["stage"] == "left" else step["stage"],
                    "cautions": cautions + inner["cautions"],
                }
                cautions = []


def _step(raw: Table) -> Table:
    stage, direction = raw.get("stage", "left"), raw.get("direction", "")
    trimmers = raw.get("trimmers", {})
    return {
        "id": raw["id"],
        "title": str(raw.get("title", raw["id"])),
        "kind": str(raw.get("kind", "")),
        "stage": stage if stage in get_args(Stage) else "left",
        "target": str(raw.get("target", "")),
        "direction": direction if direction in ("forward", "reverse") else "",
        "lot": str(raw.get("lot", "")),
        "complaint": raw["id"] == "complaint",
        "cautions": [
            {"hazard": str(c.get("hazard", "")), "say": str(c["say"])} for c in rows_of(raw, "cautions") if c.get("say")
        ],
        "quantity": str(raw.get("quantity", "")),
        "trimmers": trimmers if isinstance(trimmers, dict) else {},
    }


def _running(step: Table, way: str, ending: str | None = None) -> Table:
    """A step as done in one direction."""
    if not way:
        return step
    ending = f"-{way}" if ending is None else ending
    return step | {"id": step["id"] + ending, "title": f"{step['title']}, {way}", "direction": way}
