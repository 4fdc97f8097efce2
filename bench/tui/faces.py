"""What a snapshot needs of the screen: which face, what the one key does, which verbs. Pure functions."""

from __future__ import annotations

from bench.procedure.snapshot import Snapshot
from bench.tui import verbs
from bench.tui.verbs import Verb
from bench.tui.widgets.bottom import Asked

KEYS = {"go-on": "space", "confirm": "space", "reason": "space", "number": "enter", "words": "enter", "choice": "enter"}
"""The key that answers each kind of prompt; `wait` has none."""


def face_of(snapshot: Snapshot) -> str:
    """Which face: what is judged live comes before lists, and the end before all."""
    if snapshot.outcome is not None:
        return "ending"
    if snapshot.gauges:
        return "gauges"
    return "tones" if snapshot.tones else "card"


def is_typing(snapshot: Snapshot) -> bool:
    """Whether the answer is typed, so that letters are no verbs."""
    return snapshot.outcome is None and snapshot.prompt.kind in ("number", "words")


def is_ready(snapshot: Snapshot) -> bool:
    """Whether all that is read live is in and may be kept."""
    words = [g.verdict.word if g.verdict is not None else "" for g in snapshot.gauges]
    return snapshot.can_accept and bool(words) and set(words) == {"in"}


def asked_by(snapshot: Snapshot) -> Asked:
    """What is asked, and by which key it is answered; what is ready waits for the one key too."""
    if snapshot.outcome is not None:
        return "space", "Back", False
    prompt = snapshot.prompt
    unit = f" ({prompt.unit})" if prompt.unit and prompt.kind == "number" else ""
    key = KEYS.get(prompt.kind, "space" if is_ready(snapshot) else "")
    return key, prompt.text + unit, prompt.interlock


def may_accept(snapshot: Snapshot) -> bool:
    """Whether something that is not in can be kept with a reason."""
    return snapshot.prompt.kind == "reason" or (snapshot.can_accept and not is_ready(snapshot))


def footer_of(snapshot: Snapshot) -> tuple[tuple[Verb, str], ...]:
    """At most six verbs, those of this moment first; help names the others."""
    if snapshot.outcome is not None:
        return ((verbs.HELP, "all keys"),)
    out = [("why", "why")]
    if snapshot.trimmers:
        out.append(("turn(-2)", "→ turn"))
    if may_accept(snapshot):
        out.append(("accept", "accept as is"))
    out += [("again", "again"), ("stop_sound", "stop sound")]
    if len(out) < 5:
        out.append(("leave", "leave"))
    out.append(("help", "all keys"))
    return tuple((verbs.find(verbs.BENCH, action), label) for action, label in out)


def place_of(snapshot: Snapshot) -> tuple[object, ...]:
    """Where in the procedure it is; when that changes, what was picked is forgotten."""
    return (snapshot.step.id if snapshot.step else "", snapshot.prompt.kind, snapshot.prompt.choices)


def shape_of(snapshot: Snapshot) -> tuple[object, ...]:
    """What must be shown at once when it changes: all but figures, bars and traces."""
    return (
        place_of(snapshot),
        snapshot.prompt,
        snapshot.checks,
        snapshot.notice,
        snapshot.unsaved,
        snapshot.outcome,
        snapshot.can_accept,
        tuple((t.name, t.degrees) for t in snapshot.trimmers),
        tuple((t.id, t.state) for t in snapshot.tones),
        tuple(g.verdict.word if g.verdict else "" for g in snapshot.gauges),
    )
