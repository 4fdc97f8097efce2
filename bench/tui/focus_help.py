"""The help text for the bench screen: how to read what it shows, and what to do."""

from __future__ import annotations

from bench.procedure.state.snapshot import Snapshot
from bench.tui.presentation import panel_of

GAUGE = """The large figure is the reading now, in the unit beside its name; its target and tolerance stand below, with
how well it is read. The word and the shape say in, out or too close to call; an arrow says which way the figure has to
go. The pointer ▼ lies inside ┣ ┫ when it is in; outside them the scale closes up."""
TRACE = "Below is the last minute against the limits, the newest at the right."
CURVE = """The curve is what the reading did as you turned: ● is now, ^ the peak once it is passed, ◆ the best position,
and the dotted line what to come to."""
PHASE = """The phase figure sets left against right: a line slanting up to the right when both channels come together, a
ring at a quarter of a period, a line slanting down at half of one."""
TONES = """Each tone is recognised, measured and ticked off as it comes: ✓ is in, ✗ out or missing, ~ too close to call.
The curve shows how far each is from its target, between dotted limits, along frequency: L and R now, l and r as found.
"""
FLUTTER = """The parts that make wow and flutter, the strongest first: how often each comes round in a second, how much
it moves the speed at its peak, and its share of all of them. Unknown is a rate that no part of the machine sheet has.
"""
CARD = (
    "Cautions come first, then what to do, then what good looks like; beside a gauge that needs the room, cautions "
    "fold into one line once they were read, and w shows them whole. The bar below says what the one key does."
)
TICKS = "Digits tick the lines of the list, or untick them."
TRIMMERS = "Arrows turn the picked trimmer: left and right by 2°, up and down by 10°; a digit picks another one."
PROMPTS = {
    "number": "Type the figure in the unit shown, then press enter. Function keys work meanwhile; letters are typed.",
    "words": "Type your words, then press enter. Function keys work meanwhile; letters are typed.",
    "choice": "Press the digit of a choice, or go up and down and press enter.",
    "reason": "Press space and say why in a few words; they are in the report. Or measure again.",
    "confirm": "Do what the bar says, then press space. Nothing records before it is confirmed.",
}
ENDING = "This job is over. Its report is written; from the start screen, v opens sessions, reports and history."


def about(snapshot: Snapshot) -> tuple[str, ...]:
    """Paragraphs about what the bench screen shows now."""
    panel = panel_of(snapshot)
    if panel == "ending":
        return (ENDING,)
    paragraphs = [PROMPTS[snapshot.prompt.kind]] if snapshot.prompt.kind in PROMPTS else []
    if panel == "gauges":
        paragraphs += [GAUGE, CURVE if snapshot.curves else TRACE]
        if any(g.reading.quantity == "azimuth_delay" for g in snapshot.gauges):
            paragraphs.append(PHASE)
        if snapshot.trimmers:
            paragraphs.append(TRIMMERS)
    elif panel == "tones":
        paragraphs.append(TONES)
    elif panel == "flutter":
        paragraphs.append(FLUTTER)
    elif not paragraphs:
        paragraphs += [CARD, TICKS] if snapshot.checks else [CARD]
    return tuple(paragraphs)
