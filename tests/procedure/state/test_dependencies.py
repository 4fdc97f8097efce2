"""What a step shows and what an adjustment disturbs, from the order in which the trade lines up (common practice)."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.procedure.load.reader import read_procedure
from bench.procedure.model.sheets import TRIMMERS
from bench.procedure.model.steps import ASPECTS, StepBase
from bench.procedure.state.dependencies import (
    DISTURBS,
    aspect_set_by,
    aspects_disturbed,
    aspects_moved,
    aspects_shown,
    moved_by_trimmer,
)
from tests.procedure.small_bench import BIAS, CLEAN, ENTRY, HEAD, LEVEL, PLAY, RECORD

AZIMUTH = LEVEL.replace('"level"\nplays', '"azimuth_delay"\nplays').replace(
    '{ left = "replay level left", right = "replay level right" }', '{ both = "replay azimuth" }'
)
MUSIC = AZIMUTH.replace('plays = "level"\n', "programme = true\n")
EQUALISATION = BIAS.replace("bias left", "record equalisation left").replace("bias right", "record equalisation right")
MEASURE = """
[[step]]
kind = "measure"
id = "m"
title = "M"
do = "M."
quantity = "{}"
target = "machine.x"
"""


def _step(tmp_path: Path, text: str) -> StepBase:
    path = tmp_path / "p.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    step = read_procedure(path).whole().step[0]
    assert isinstance(step, StepBase)
    return step


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        (CLEAN, set()),
        (ENTRY, set()),
        (PLAY, {"replay level"}),
        (PLAY.replace("{ level =", '{ azimuth_delay = "machine.a", level ='), {"replay level", "replay azimuth"}),
        (LEVEL, {"replay level"}),
        (AZIMUTH, {"replay azimuth"}),
        (MUSIC, {"replay azimuth"}),
        (BIAS, {"bias"}),
        (EQUALISATION, {"record response"}),
        (RECORD, {"record level"}),
        (RECORD + 'noise_reduction = "on"\n', {"tracking"}),
        (MEASURE.format("separation") + 'sends = [{ hz = 1000, db = 0 }]\ndriven = "left"\n', {"separation"}),
        (MEASURE.format("noise") + 'method = "A-weighted rms"\n' + 'records = "silence"\n', {"noise"}),
        (MEASURE.format("mistracking"), {"tracking"}),
        (MEASURE.format("wow_and_flutter") + 'method = "weighted rms"\nplays = "speed"\n', set()),
        (MEASURE.format("speed_error") + 'plays = "speed"\n', {"speed"}),
    ],
)
def test_what_a_step_shows(tmp_path: Path, text: str, shown: set[str]) -> None:
    assert aspects_shown(_step(tmp_path, text)) == shown


@pytest.mark.parametrize(
    ("text", "disturbed"),
    [
        (AZIMUTH, "replay response"),
        (LEVEL, "record level"),
        (LEVEL, "tracking"),
        (BIAS, "record level"),
        (BIAS, "record response"),
        (BIAS, "distortion"),
        (BIAS, "noise"),
        (EQUALISATION, "tracking"),
    ],
)
def test_what_an_adjustment_disturbs(tmp_path: Path, text: str, disturbed: str) -> None:
    step = _step(tmp_path, text)
    assert disturbed in aspects_disturbed(step)
    assert not aspects_disturbed(step) & aspects_shown(step)


def _reverse(tmp_path: Path, text: str) -> StepBase:
    return _step(tmp_path, text + 'direction = "reverse"\n')


def test_the_azimuth_of_a_direction_disturbs_that_direction_alone(tmp_path: Path) -> None:
    forward, reverse = _step(tmp_path, AZIMUTH), _reverse(tmp_path, AZIMUTH)
    assert aspects_disturbed(forward) == {"replay response", "record azimuth", "record response"}
    assert aspects_disturbed(reverse) == {
        "replay response in reverse",
        "record azimuth in reverse",
        "record response in reverse",
    }
    assert aspects_moved(reverse) - aspects_disturbed(reverse) == {"replay azimuth in reverse"}


@pytest.mark.parametrize("text", [LEVEL, BIAS, EQUALISATION])
def test_amplifiers_and_bias_serve_both_directions(tmp_path: Path, text: str) -> None:
    forward, reverse = aspects_disturbed(_step(tmp_path, text)), aspects_disturbed(_reverse(tmp_path, text))
    assert forward == reverse
    assert {name for name in forward if not name.endswith(" in reverse")} == {
        name.removesuffix(" in reverse") for name in forward if name.endswith(" in reverse")
    }


def test_what_a_step_of_one_direction_adds_is_of_that_direction(tmp_path: Path) -> None:
    adds = CLEAN + 'disturbs = ["speed"]\n'
    assert aspects_disturbed(_step(tmp_path, adds)) == {"speed", "speed in reverse"}
    assert aspects_disturbed(_reverse(tmp_path, adds)) == {"speed in reverse"}


def test_a_trimmer_turned_anywhere_is_known_by_its_name() -> None:
    assert "replay azimuth" in moved_by_trimmer("replay azimuth")
    assert not any(name.endswith(" in reverse") for name in moved_by_trimmer("replay azimuth"))
    assert all(name.endswith(" in reverse") for name in moved_by_trimmer("replay azimuth reverse"))
    assert {"bias", "bias in reverse", "noise", "noise in reverse"} <= moved_by_trimmer("bias left")
    assert moved_by_trimmer("gain") == set()


def test_measuring_disturbs_nothing(tmp_path: Path) -> None:
    assert aspects_disturbed(_step(tmp_path, RECORD)) == set()


def test_a_step_adds_its_own(tmp_path: Path) -> None:
    step = _step(tmp_path, LEVEL + 'disturbs = ["erasure"]\n')
    assert "erasure" in aspects_disturbed(step)


def test_every_usual_trimmer_sets_something() -> None:
    assert all(aspect_set_by(name) in ASPECTS for name in TRIMMERS)
    assert aspect_set_by("gain") is None


def test_nothing_disturbs_what_it_sets_by_itself_and_every_name_is_of_the_list() -> None:
    for what, others in DISTURBS.items():
        assert what in ASPECTS
        assert set(others) <= set(ASPECTS) - {what}
