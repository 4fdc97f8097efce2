"""The visible state of a practice machine: swab, roller, selector, shell, meters, tape. Common practice, no source."""

from __future__ import annotations

from bench.practice.physics import MachinePhysics
from bench.problem import Problem

CLEAN_UM, BROWN_UM = 0.05, 0.8
"""Thickness of dirt below which a swab stays white, and above which it comes away dark brown."""
ONE_SIDE = 1.5
"""Least ratio of the dirt on the two channels at which one side of a swab is visibly darker."""
DENTED_PERCENT = 0.15
"""Least flutter of a pinch roller with visible wear, % peak."""
WORN = 1.3
"""Least ratio of a gap to its length when new at which the face of the head is visibly worn."""
OFF_ITS_MARK_DB = 0.5
NOISY_DB = -60.0
"""Noise of the replay amplifier above which the hiss stays when the tape stops, dBFS."""


def looks(physics: MachinePhysics, iec_type: str, owners_tape: str) -> dict[str, str]:
    """The look of each part, in a sentence.

    Args:
        physics: the machine's figures.
        iec_type: the type of the tape that it records on.
        owners_tape: the look of the owner's tape.
    """
    dead = {"left": "The left meter does not move.", "right": "The right meter does not move."}
    worn = physics.flutter_pinch_roller_percent >= DENTED_PERCENT
    grooved = physics.replay_gap_um > WORN * physics.replay_gap_made_good_um
    off = physics.output_control_db
    mark = "at its mark" if abs(off) < OFF_ITS_MARK_DB else f"{'above' if off > 0 else 'below'} its mark"
    noisy = physics.amplifier_noise_db > NOISY_DB
    replay = (physics.replay_dirt_left_um, physics.replay_dirt_right_um)
    record = (physics.record_dirt_left_um, physics.record_dirt_right_um)
    return {
        "swab": _swab(max(replay[0], record[0]), max(replay[1], record[1])),
        "replay-swab": _swab(*replay),
        "record-swab": _swab(*record),
        "head-face": f"The face of the replay head {'has a groove where the tape runs' if grooved else 'is flat'}.",
        "roller": f"The rubber is {'shiny, with a dent on one side' if worn else 'dull, even and round'}.",
        "selector": f"The tape selector is at type {physics.tape_selector}.",
        "shell": f"The label says: {'type ' * (iec_type != 'open reel')}{iec_type}.",
        "owners-tape": owners_tape,
        "meters": dead.get(physics.dead_channel, "Both meters move alike."),
        "output-control": f"The output control is {mark}.",
        "hiss-of-stopped-tape": f"When the tape stops, {'the hiss stays' if noisy else 'almost all hiss goes'}.",
    }


def look_at(physics: MachinePhysics, iec_type: str, owners_tape: str, part: str) -> str:
    """The look of one part. Raises `Problem` for a part without one."""
    seen = looks(physics, iec_type, owners_tape)
    if part not in seen:
        raise Problem(f"there is nothing to see of {part}; there is {', '.join(seen)}")
    return seen[part]


def _swab(left: float, right: float) -> str:
    """The look of a swab, from the dirt on both channels, µm."""
    film = max(left, right)
    if film < CLEAN_UM:
        return "The swab stays as white as a new one."
    shade = "dark brown" if film >= BROWN_UM else "light brown"
    if film < ONE_SIDE * min(left, right):
        return f"The swab comes away {shade}."
    side = "left" if left > right else "right"
    return f"The swab comes away {shade}, darkest where the {side} channel runs."
