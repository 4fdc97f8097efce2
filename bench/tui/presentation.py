"""How the bench screen shows a snapshot: which panel, which prompt, which keys. Pure functions."""

from __future__ import annotations

from collections.abc import Collection

from bench.procedure.state.snapshot import Snapshot
from bench.tui import actions
from bench.tui.actions import KeyAction
from bench.tui.text import wrap
from bench.tui.widgets.footer import KeyPrompt
from bench.tui.widgets.results import last_readings
from bench.tui.widgets.step_card import READABLE

KEYS = {"go-on": "space", "confirm": "space", "reason": "space", "number": "enter", "words": "enter", "choice": "enter"}
"""The key that answers each kind of prompt; `wait` has none."""

BY_HAND = "▸"
"""Shown instead of a key: something has to be done at the machine, and no key is needed."""


def panel_of(snapshot: Snapshot) -> str:
    """Which panel: live gauges before lists, and the outcome before everything."""
    if snapshot.outcome is not None:
        return "ending"
    if snapshot.gauges:
        return "gauges"
    if snapshot.tones:
        return "tones"
    return "flutter" if snapshot.flutter else "card"


def is_typing(snapshot: Snapshot) -> bool:
    """Whether the answer is typed, so that letters are not keys."""
    return snapshot.outcome is None and snapshot.prompt.kind in ("number", "words")


def all_in(snapshot: Snapshot) -> bool:
    """Whether all live readings are in and can be kept."""
    words = [g.verdict.word if g.verdict is not None else "" for g in snapshot.gauges]
    return snapshot.can_accept and bool(words) and set(words) == {"in"}


def key_prompt(snapshot: Snapshot) -> KeyPrompt:
    """The prompt and the key that answers it; readings that can be kept wait for the same key."""
    if snapshot.outcome is not None:
        return "space", "Leave" if snapshot.outcome.exit_code > 1 else "Back", False
    prompt = snapshot.prompt
    units = ", or with its unit: ".join(u for u in (prompt.unit, ", ".join(prompt.other_units)) if u)
    more = f" ({units})" if units and prompt.kind == "number" else ""
    if prompt.left_s is not None:
        more = f": {prompt.left_s} s left"
    goes_on = all_in(snapshot) or bool(snapshot.timer_left_s)
    key = KEYS.get(prompt.kind, "space" if goes_on else BY_HAND if prompt.by_hand else "")
    return key, prompt.text + more, prompt.interlock


def proposed_turns(snapshot: Snapshot) -> dict[str, float]:
    """Turns that gauges propose for trimmers that can be turned by key, degrees clockwise, by trimmer."""
    by_key = {t.name for t in snapshot.trimmers}
    return {g.trimmer: g.turn for g in snapshot.gauges if g.turn is not None and g.trimmer in by_key}


def read_at(snapshot: Snapshot) -> float | None:
    """Time of the last live reading, seconds; None where proposals follow from positions at once, as in rounds."""
    return max((g.history[-1][0] if g.history else 0.0 for g in snapshot.gauges if g.advice), default=None)


def runs_on(snapshot: Snapshot) -> bool:
    """Whether the step measures without anyone at the machine: it needs only a key, and the readings before it are in.

    On two heads a person rewinds between recording and replay, unless the program operates the machine.
    """
    step = snapshot.step
    if step is None or step.kind not in ("record-replay", "measure") or snapshot.prompt.kind not in ("go-on", "wait"):
        return False
    if snapshot.job.heads < 3 and snapshot.sound.port.kind != "practice":
        return False
    last = last_readings(snapshot)
    return not any(r.judged and r.verdict is not None and r.verdict.word != "in" for r in last)


def can_be_accepted(snapshot: Snapshot) -> bool:
    """Whether a reading that is not in can be kept with a reason."""
    return snapshot.prompt.kind == "reason" or (snapshot.can_accept and not all_in(snapshot))


def is_possible(snapshot: Snapshot, action: str) -> bool:
    """Whether an action has an effect now; footer, help and palette list no others."""
    if snapshot.outcome is not None:
        possible = ("go_on", "report", "results", "leave", "stop_sound", "help")
        return action in possible or action.startswith("app.")
    step = snapshot.step
    match action.partition("(")[0]:
        case "turn":
            return bool(snapshot.trimmers) or snapshot.prompt.kind == "choice"
        case "run_on":
            return runs_on(snapshot)
        case "turn_as_shown":
            return bool(proposed_turns(snapshot))
        case "guide":
            return bool(snapshot.gauges)
        case "accept":
            return can_be_accepted(snapshot)
        case "report":
            return False
        case "back":
            return snapshot.can_go_back
        case "run_test":
            return snapshot.can_test
        case "linear_axis":
            return bool(snapshot.tones) and snapshot.job.speed_mm_s > 0
        case "hint":
            return step is not None and bool(step.hints or step.if_not.strip())
        case "why" | "again" | "skip" | "note" | "hold" | "diagnose":
            return step is not None
    return True


def footer_of(
    snapshot: Snapshot, *, trainee: bool = False, going: Collection[str] = ()
) -> tuple[tuple[KeyAction, str], ...]:
    """At most six actions, the currently most important first; help lists the others.

    A trainee is offered hints instead of the reasons, which are already shown. The key of an action that is `going` on
    without further keys ends it.
    """
    if snapshot.outcome is not None:
        return ((actions.find(actions.BENCH, "report"), "report"), (actions.HELP, "help"))
    first = "hint" if trainee and is_possible(snapshot, "hint") else "why"
    out = [(first, first)]
    if snapshot.trimmers:
        out.append(("turn(-2)", "→ turn"))
    if "turn_as_shown" in going:
        out.append(("turn_as_shown", "stop turning"))
    elif proposed_turns(snapshot):
        out.append(("turn_as_shown", "turn as shown"))
    if can_be_accepted(snapshot):
        out.append(("accept", "end it here" if snapshot.tones and snapshot.prompt.kind == "wait" else "accept as is"))
    if is_possible(snapshot, "run_on"):
        out.append(("run_on", "stop running on" if "run_on" in going else "run on"))
    out += [("run_test", "test")] if is_possible(snapshot, "run_test") and len(out) < 4 else []
    out += [("again", "repeat")] if len(out) < 4 else []
    out.append(("stop_sound", "stop sound"))
    out += [("leave", "leave")] if len(out) < 5 else []
    out.append(("help", "help"))
    return tuple((actions.find(actions.BENCH, action), label) for action, label in out)


BAR_LINES = 3
"""Lines of the bar; a longer prompt is shown above it."""

SHORT_PROMPTS = {
    "go-on": "Go on",
    "confirm": "Confirm and go on",
    "number": "Type it",
    "choice": "Choose one",
    "words": "Type it",
    "reason": "Say why",
}


def shortened_prompt(asked: KeyPrompt, kind: str, width: int) -> tuple[KeyPrompt, list[str]]:
    """The prompt for the bar, and its full text in lines if the bar has no room for it."""
    key, text, interlock = asked
    whole = wrap(text, max(10, width - 10))
    if kind != "choice" and (len(whole) <= BAR_LINES or kind == "wait" or interlock):
        return asked, []
    return (key, SHORT_PROMPTS.get(kind, text), interlock), wrap(text, min(width, READABLE))


def notice_of(snapshot: Snapshot, cause: str = "") -> tuple[str, str]:
    """The notice and its role: unsaved data, a message, steps to check again, or the cause of a fault."""
    if snapshot.unsaved:
        return "! " + snapshot.unsaved, "caution"
    if snapshot.notice:
        return snapshot.notice, "accent"
    if snapshot.to_check_again:
        return "To be checked again: " + ", ".join(snapshot.to_check_again), "caution"
    told = cause and snapshot.outcome is None  # afterwards it is in the report
    return f"What is wrong: {cause}. d for the rest" if told else "", "quiet"


def step_and_prompt(snapshot: Snapshot) -> tuple[object, ...]:
    """The step and its prompt; when they change, the selection is reset."""
    return (snapshot.step.id if snapshot.step else "", snapshot.prompt.kind, snapshot.prompt.choices)


def visible_state(snapshot: Snapshot) -> tuple[object, ...]:
    """What must be redrawn at once when it changes: everything except figures, bars and traces."""
    return (
        step_and_prompt(snapshot),
        snapshot.prompt,
        snapshot.checks,
        snapshot.notice,
        snapshot.unsaved,
        snapshot.outcome,
        snapshot.can_accept,
        snapshot.held,
        snapshot.to_check_again,
        len(snapshot.kept),
        snapshot.flutter,
        tuple((t.name, t.degrees) for t in snapshot.trimmers),
        tuple((t.id, t.state) for t in snapshot.tones),
        tuple(g.verdict.word if g.verdict else "" for g in snapshot.gauges),
    )
