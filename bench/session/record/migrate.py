"""Converts the table of an earlier `session.toml` to the current schema, in memory: reading never rewrites a file.

Schemas 1 and 2 store events and methods as sentences, and no steps. Sentences are parsed nowhere else.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any, get_args

from bench.measure.reading import Channel
from bench.session.record.migrate_methods import method_table
from bench.session.record.migrate_steps import Table, copied_steps, rows_of
from bench.session.record.record import SCHEMA

MOST_TURNS = 10_000
"""Maximum number of turns of a trimmer at one step; a larger number is damage."""


def migrate(table: Table, schema: int, folder: Path) -> Table:
    """The table in the current schema.

    Args:
        table: the parsed table, of a version that is not later than the current one.
        schema: its version.
        folder: folder of the session, with copies of its procedures.
    """
    while schema < SCHEMA:
        table = MIGRATIONS[schema](table, folder)
        schema += 1
    return table


def with_summary(table: Table) -> Table:
    """A table of schema 1 with the addition to the head in schema 2: passes of the reference tape."""
    plays = {
        (str(r.get("step")), str(r.get("attempt", 1)))
        for r in rows_of(table, "readings")
        if r.get("source") == "reference tape"
    }
    return table | {"schema": 2, "reference_plays": len(plays)}


def _from_2(table: Table, folder: Path) -> Table:
    """From schema 2 to 3, which adds the steps and stores events, methods and earlier turns of trimmers as fields."""
    steps = copied_steps(table, folder)
    steps += list(_asked_beside(table, {s["id"] for s in steps}))
    port = table.get("port")
    if isinstance(port, dict) and isinstance(port.get("turned_before"), list):
        table = table | {"port": port | {"turned_before": [_turns(str(t)) for t in port["turned_before"]]}}
    table = table | {"schema": 3, "steps": steps}
    if isinstance(table.get("readings"), list):
        table["readings"] = [_with_method(row) for row in _with_noise_reduction(table, steps)]
    if isinstance(table.get("events"), list):
        table["events"] = list(_events(table["events"], {s["id"]: s for s in steps}))
    return table


MIGRATIONS: dict[int, Callable[[Table, Path], Table]] = {1: lambda table, _: with_summary(table), 2: _from_2}
"""By version: converts a table to the next version."""


def _asked_beside(table: Table, known: set[str]) -> Iterator[Table]:
    """Steps that are in no copy, such as the last question of an exercise, from the answers to them."""
    for row in rows_of(table, "events"):
        step, text, answer = str(row.get("step", "")), str(row.get("text")), f": {row.get('value')}"
        if row.get("kind") == "answer" and step not in {"", *known} and text.endswith(answer):
            yield {"id": step, "title": text.removesuffix(answer), "kind": "entry"}


def _with_method(row: Any) -> Any:
    said = row.get("method") if isinstance(row, dict) else None
    return row | {"method": method_table(said)} if isinstance(said, str) else row


def _turns(text: str) -> Table:
    trimmer, _, degrees = text.partition(": ")
    return {"trimmer": trimmer, "degrees": _floats(degrees)}


def _floats(words: str) -> list[float]:
    return [float(word) for word in words.split() if re.fullmatch(r"[-+]?\d+\.?\d*(e[-+]?\d+)?", word)]


def _with_noise_reduction(table: Table, steps: list[Table]) -> list[Any]:
    """Add the position of the noise-reduction switch to readings without one: as at the nearest step before theirs."""
    over = table.get("steps_done")
    order = [step["id"] for step in steps] or (over if isinstance(over, list) else [])
    at = {str(step): n for n, step in enumerate(order)}
    prefix = "noise-reduction: "
    switched = [
        (at.get(str(e.get("step")), -1), n, str(e["text"]).removeprefix(prefix))
        for n, e in enumerate(rows_of(table, "events"))
        if e.get("kind") == "switch" and str(e.get("text")).startswith(prefix)
    ]

    def stood(row: Any) -> Any:
        if not isinstance(row, dict) or "noise_reduction" in row:
            return row
        before = [s for s in switched if s[0] <= at.get(str(row.get("step")), -1)]
        return row | {"noise_reduction": max(before)[2]} if before else row

    return [stood(row) for row in table["readings"]] if switched else table["readings"]


# ---------------------------------------------------------------- events, from their sentences


def _events(rows: list[Any], steps: dict[str, Table]) -> Iterator[Any]:
    """Each event as fields; a damaged one unchanged, so that the reader reports it."""
    out: list[Any] = []
    decided: dict[str, Table] = {}
    debrief: list[tuple[str, str]] = []
    for row in rows:
        event = _event(row, steps)
        if event is None:
            out.append(row)
            continue
        kind, text, value = row["kind"], row["text"], row.get("value")
        if kind == "not-needed" and row["step"] in decided:
            decided[row["step"]]["passed_over"] = str(value or "").split()
            continue
        if kind == "debrief":
            debrief.append((str(value), text))
            if len(debrief) > 1:
                continue
        if kind == "decision":
            decided[row["step"]] = event
        out.append(event)
    for event in out:
        yield event | _debrief(debrief) if isinstance(event, dict) and event.get("kind") == "debrief" else event


def _event(row: Any, steps: dict[str, Table]) -> Table | None:
    """One event; None if its sentence or another of its fields is damaged."""
    if not isinstance(row, dict) or not isinstance(row.get("time"), datetime):
        return None
    kind, id_, text = (row.get(key) for key in ("kind", "step", "text"))
    if not (isinstance(kind, str) and isinstance(id_, str) and isinstance(text, str)):
        return None
    step = steps.get(id_, {"id": id_, "title": id_})
    try:
        facts = _SENTENCES[kind](text, row.get("value"), step, steps)
    except (KeyError, ValueError):
        return None
    return {"step": id_, "time": row["time"]} | facts


def _note(text: str, value: Any, step: Table, steps: dict[str, Table]) -> Table:
    """Notes of the person, and those that the program wrote in the same form."""
    if value == "interface-sheet":
        return {"kind": "interface-sheet", "path": text.removeprefix("interface sheet written: ")}
    if isinstance(value, float) and text.endswith("ms from sending to replay, the way from head to head in it"):
        return {"kind": "head-delay", "seconds": value}
    if found := re.fullmatch(r"(\d+) rounds? recorded and replayed", text):
        return {"kind": "rounds", "rounds": int(found[1])}
    if found := re.fullmatch(
        r"(.+) turned back by (\d+)° (anti)?clockwise, to where it stood when the job began", text
    ):
        return {"kind": "turned-back", "trimmer": found[1], "degrees": float(found[2]) * (-1 if found[3] else 1)}
    if (lot := step.get("lot")) and text.startswith(f"{lot} is "):
        return {"kind": "lot", "lot": lot, "tape": text.removeprefix(f"{lot} is ")}
    if found := re.match(r"An automatic gain is in the way: it lifts −(\S+) dBFS by (\S+) dB\. Switch", text):
        return _processed("automatic gain", found[1], found[2])
    if found := re.match(
        r"A gate or a noise suppression is in the way: it takes (\S+) dB off −(\S+) dBFS\. Switch", text
    ):
        return _processed("gate", found[2], f"-{found[1]}")
    if text.startswith("Soft tones do not come back: a gate or a noise suppression is in the way. Switch"):
        return {"kind": "input-processed", "by": "gate"}
    return {"kind": "note", "text": text}


def _processed(by: str, below: str, changed: str) -> Table:
    return {"kind": "input-processed", "by": by, "sent_dbfs": -float(below), "changed_db": float(changed)}


def _answer(text: str, value: Any, step: Table, steps: dict[str, Table]) -> Table:
    if isinstance(value, float):
        return {"kind": "answer", "answer": value} | _figure(text.removeprefix(f"{step['title']}: "), f"{value:g}")
    answer = str(value or "")
    found = None if text.endswith(answer) else re.search(r" \((right|the right one is: (.*))\)$", text)
    return {"kind": "answer", "answer": answer} | ({"right": found[2] or answer} if found else {})


def _figure(said: str, figure: str) -> Table:
    """Unit and limits of a number that was typed: "34 mA, inside 35 ± 5 mA as read (the sheet's own)"."""
    aim = r"(?P<limit>at least |at most )?(?P<aim>\S+)(?: ± (?P<by>\S+))?"
    held = rf"(?:, (?:in|out)side {aim}.* as read \((?P<source>.*)\))?"
    found = re.search(rf"(?:^|: ){re.escape(figure)} ?(?P<unit>[^,]*?){held}$", said)
    if not found:
        return {}
    out: Table = {"unit": found["unit"]}
    if found["aim"]:
        out["limits"] = {
            "target": float(found["aim"]),
            "limit": (found["limit"] or "").strip(),
            "source": found["source"],
        }
        out["limits"] |= {"tolerance": float(found["by"])} if found["by"] else {}
    return out


def _tick(text: str, value: Any, step: Table, steps: dict[str, Table]) -> Table:
    if isinstance(value, float):
        planned = re.search(r"after [\d.]+ of ([\d.]+) minutes", text)
        return {"kind": "wait", "seconds": value, "of_s": float(planned[1]) * 60 if planned else value}
    return {"kind": "tick", "lines": [] if text == step["title"] else text.split("; ")}


def _turned(text: str, value: Any, step: Table, steps: dict[str, Table]) -> Table:
    trimmer = text.partition(":")[0]
    if isinstance(value, str):
        return {"kind": "turns", "trimmer": trimmer, "degrees": _floats(value)}
    # Only the number of turns and their sum were stored, so the last turn stands for all of them.
    found = re.search(r": (\d+) turns, ([-+]?\d+)° in all", text)
    count, degrees = (min(int(found[1]), MOST_TURNS), float(found[2])) if found else (0, 0.0)
    return {"kind": "turns", "trimmer": trimmer, "degrees": [0.0] * (count - 1) + [degrees] * bool(count)}


def _skip(text: str, value: Any, step: Table, steps: dict[str, Table]) -> Table:
    cannot, _, reason = text.rpartition("; ")
    if not text.startswith("no reading, because ") or not cannot:
        return {"kind": "skip", "reason": text}
    return {"kind": "skip", "reason": reason, "cannot": cannot.removeprefix("no reading, because ")}


def _moved(kind: str) -> Callable[..., Table]:
    def moved(text: str, value: Any, step: Table, steps: dict[str, Table]) -> Table:
        count, _, to = str(value).partition(" ")
        return {"kind": kind, "to": to, "after": int(count) if count.isdigit() else 0}

    return moved


def _again(text: str, value: Any, step: Table, steps: dict[str, Table]) -> Table:
    found = re.search(r", (\d+) times? left at most$", text)
    return _moved("again")(text, value, step, steps) | {"left": int(found[1]) if found else 1}


def _decision(text: str, value: Any, step: Table, steps: dict[str, Table]) -> Table:
    because = text.rpartition(": on to ")[0]
    ids = {s["title"]: s["id"] for s in steps.values()}
    for start, key in (("in: ", "all_in"), ("not in: ", "not_in")):
        if because.startswith(start):
            by: Table = {key: [ids.get(title, title) for title in because.removeprefix(start).split(", ")]}
            break
    else:
        by = {} if because.startswith("nothing to decide by: ") else {"answer": because}
    return _moved("decision")(text, value, step, steps) | by


def _curve(text: str, value: Any, step: Table, steps: dict[str, Table]) -> Table:
    label, _, axes = text.partition(": ")
    channel, _, tone = label.partition(", ")
    channel = channel if channel in get_args(Channel) else "mono"
    along, _, unit = axes.partition(", ")
    hz = re.fullmatch(r"([\d.]+) (k?)Hz", tone)
    points = [[float(x) for x in pair.split(":")] for pair in str(value).split() if re.fullmatch(r"[-+.\de:]+", pair)]
    trimmers = step.get("trimmers") or {"both": "bias" if "bias" in step["id"] else ""}
    return {
        "kind": "curve",
        "quantity": step.get("quantity", ""),
        "trimmer": str(trimmers.get(channel) or trimmers.get("both") or ""),
        "channel": channel,
        "along": along,
        "unit": unit,
        "points": [point for point in points if len(point) == 2 and all(map(math.isfinite, point))],
    } | ({"frequency_hz": float(hz[1]) * (1000 if hz[2] else 1)} if hz else {})


def _learnt(text: str, value: Any, step: Table, steps: dict[str, Table]) -> Table:
    trimmer, _, read = text.partition(": ")
    quantity, _, hz = read.partition(", ")
    names = ("degrees", "reading", "spread", "visit")
    rows = [_floats(word.replace(":", " ")) for word in str(value).split()]
    return {
        "kind": "learnt",
        "trimmer": trimmer,
        "quantity": quantity,
        "frequency_hz": (_floats(hz) or [0.0])[0],
        "readings": [dict(zip(names, row, strict=True)) for row in rows if len(row) == len(names)],
    }


def _debrief(lines: list[tuple[str, str]]) -> Table:
    """All lines of a debrief as one event."""
    out: Table = {"faults": [], "trimmers": [], "wrongly_named": [], "turns": 0, "minutes": 0.0}
    advice = [text.partition(": ") for about, text in lines if about == "again"]
    tells = {name: shows for name, _, shows in advice}
    for about, text in lines:
        if about == "wrong":
            out["wrongly_named"].append(text.removeprefix("Named, but it was not there: ").removesuffix("."))
        elif about == "spent" and (found := re.match(r"(\d+) minutes, (\d+) turns", text)):
            out |= {"minutes": float(found[1]), "turns": int(found[2])}
        elif about == "trimmer" and (found := _TRIMMER.fullmatch(text)):
            turned = {"not turned": 0, "turned once": 1}.get(found["turns"])
            hides = re.match(r"it (?:makes good what (.*) costs\. Tell|hides (.*)\.$)", found["state"])
            out["trimmers"].append(
                {
                    "name": found["name"],
                    "unit": found["unit"],
                    "before": float(found["before"].replace("−", "-")),
                    "after": float(found["after"].replace("−", "-")),
                    "turns": int(re.sub(r"\D", "", found["turns"])) if turned is None else turned,
                    "right": found["state"] == "right.",
                    "hides": (hides[1] or hides[2]) if hides else "",
                    "allowed": bool(hides and hides[1]),
                }
            )
        elif about == "fault" and (found := _FAULT.fullmatch(text)):
            fault = {"name": found["name"], "tells": tells.get(found["name"], ""), "state": found["state"]}
            named = "named, but" in text or found["state"] == "found" or text.endswith(", and named.")
            out["faults"].append(fault | {"named": named, "by": found["by"] or ""})
    return out


_TRIMMER = re.compile(
    r"(?P<name>.+): (?P<before>[-+−]?[\d.]+) (?P<unit>\S+) off before, (?P<after>[-+−]?[\d.]+)(?: \S+)? after, "
    r"(?P<turns>[^:]+): (?P<state>.+)"
)
_FAULT = re.compile(
    r"(?P<name>.+): (?:named, but )?(?P<state>mended|hidden|found|missed)"
    r"(?:; you did not name it|, and named|, not mended: (?P<by>.+) makes good what it costs|\. It still stands.*)?\.?"
)


def _only(kind: str, key: str = "", cut: str = "") -> Callable[..., Table]:
    """A parser for an event of a fixed kind, with at most one fact, which follows `cut` in the sentence."""
    return lambda text, *_: {"kind": kind} | ({key: text.removeprefix(cut)} if key else {})


_SENTENCES: dict[str, Callable[..., Table]] = {
    "tick": _tick,
    "answer": _answer,
    "skip": _skip,
    "accept": lambda text, *_: (
        {"kind": "stopped-listening", "reason": text.removeprefix("stopped listening: ")}
        if text.startswith("stopped listening: ")
        else {"kind": "accept", "reason": text}
    ),
    "note": _note,
    "sign-off": lambda text, value, step, *_: {
        "kind": "sign-off",
        "who": str(value or text),
        "accepts": text.removeprefix(f"{value} accepts: ") if value else step["title"],
    },
    "override": _only("override", "reason", "reference tape in an uncleaned machine: "),
    "port": lambda text, *_: (
        {"kind": "sound-back"}
        if text == "sound is back"
        else {"kind": "sound-lost", "detail": text.removeprefix("sound lost: ")}
    ),
    "turns": _turned,
    "done": _only("done"),
    "start": _only("start"),
    "resume": _only("resume"),
    "repeat": _only("repeat"),
    "act": lambda text, value, *_: {"kind": "act", "act": text, "lot": str(value or "")},
    "debrief": _only("debrief"),
    "switch": lambda text, *_: dict(
        zip(("kind", "control", "position"), ("switch", *text.partition(": ")[::2]), strict=True)
    ),
    "back": _moved("back"),
    "hold": lambda text, value, *_: {"kind": "hold"} if value is None else {"kind": "release", "held_s": value},
    "again": _again,
    "decision": _decision,
    "not-needed": lambda text, value, *_: {"kind": "decision", "to": "", "after": 0, "passed_over": str(value).split()},
    "left-out": lambda text, value, *_: {"kind": "left-out", "title": text, "why": str(value or "")},
    "to-check": lambda text, *_: {"kind": "to-check", "what": text.split(", ")},
    "checked": lambda text, *_: {"kind": "checked", "what": text.split(", ")},
    "curve": _curve,
    "learnt": _learnt,
}
"""Parser of each kind of sentence. It takes the text, the value, the step, and all steps by id."""
