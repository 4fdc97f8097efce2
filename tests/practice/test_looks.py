"""The appearance of a practice machine follows from its figures: common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bench.practice.looks import look_at
from bench.practice.physics import MachinePhysics
from bench.problem import Problem

CLEAN = MachinePhysics()


@pytest.mark.parametrize(
    ("part", "figures", "seen"),
    [
        ("swab", {}, "as white as a new one"),
        ("swab", {"replay_dirt_left_um": 0.35, "replay_dirt_right_um": 0.4}, "light brown."),
        ("swab", {"replay_dirt_left_um": 1.5}, "dark brown, darkest where the left channel runs"),
        ("swab", {"record_dirt_right_um": 1.2}, "the right channel"),
        ("replay-swab", {"record_dirt_right_um": 1.2}, "as white as a new one"),
        ("record-swab", {"record_dirt_right_um": 1.2}, "the right channel"),
        ("head-face", {}, "is flat"),
        ("head-face", {"replay_gap_um": 2.4}, "has a groove"),
        ("output-control", {"output_control_db": -2.0}, "below its mark"),
        ("output-control", {"output_control_db": 0.1}, "is at its mark"),
        ("hiss-of-stopped-tape", {}, "almost all hiss goes"),
        ("hiss-of-stopped-tape", {"amplifier_noise_db": -46.0}, "the hiss stays"),
        ("roller", {}, "dull, even and round"),
        ("roller", {"flutter_pinch_roller_percent": 0.4}, "a dent"),
        ("selector", {"tape_selector": "II"}, "at type II"),
        ("shell", {}, "type I."),
        ("meters", {"dead_channel": "right"}, "The right meter does not move"),
        ("meters", {}, "alike"),
    ],
)
def test_what_is_wrong_can_be_seen(part: str, figures: dict[str, float | str], seen: str) -> None:
    assert seen in look_at(replace(CLEAN, **figures), "I", "a tape", part)  # type: ignore[arg-type]


def test_a_part_without_looks_is_said() -> None:
    with pytest.raises(Problem, match="nothing to see of belt"):
        look_at(CLEAN, "I", "a tape", "belt")
