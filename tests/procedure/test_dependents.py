"""What a step shows and what an adjustment disturbs, from the order in which the trade lines up (common practice)."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.procedure.dependents import DISTURBS, disturbed_by, set_by, shows
from bench.procedure.format import load_procedure
from bench.procedure.sheets import TRIMMERS
from bench.procedure.steps import WHAT, Step
from tests.procedure.small_bench import BIAS, CLEAN, ENTRY, HEAD, LEVEL, PLAY, RECORD

AZIMUTH = LEVEL.replace('"level"\nplays', '"azimuth_delay"\nplays').replace(
    '{ left = "replay level left", right = "replay level right" }', '{ both = "replay azimuth" }'
)
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


def _step(tmp_path: Path, text: str) -> Step:
    path = tmp_path / "p.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    return load_procedure(path).step[0]


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        (CLEAN, set()),
        (ENTRY, set()),
        (PLAY, {"replay level"}),
        (PLAY.replace("{ level =", '{ azimuth_delay = "machine.a", level ='), {"replay level", "replay azimuth"}),
        (LEVEL, {"replay level"}),
        (AZIMUTH, {"replay azimuth"}),
        (BIAS, {"bias"}),
        (EQUALISATION, {"record response"}),
        (RECORD, {"record level"}),
        (RECORD + 'noise_reduction = "on"\n', {"tracking"}),
        (MEASURE.format("separation") + 'sends = [{ hz = 1000, db = 0 }]\ndriven = "left"\n', {"separation"}),
        (MEASURE.format("noise") + 'records = "silence"\n', {"noise"}),
        (MEASURE.format("mistracking"), {"tracking"}),
        (MEASURE.format("wow_and_flutter") + 'method = "weighted rms"\nplays = "speed"\n', set()),
        (MEASURE.format("speed_error") + 'plays = "speed"\n', {"speed"}),
    ],
)
def test_what_a_step_shows(tmp_path: Path, text: str, shown: set[str]) -> None:
    assert shows(_step(tmp_path, text)) == shown  # type: ignore[arg-type]


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
    assert disturbed in disturbed_by(step)  # type: ignore[arg-type]
    assert not disturbed_by(step) & shows(step)  # type: ignore[arg-type]


def test_measuring_disturbs_nothing(tmp_path: Path) -> None:
    assert disturbed_by(_step(tmp_path, RECORD)) == set()  # type: ignore[arg-type]


def test_a_step_adds_its_own(tmp_path: Path) -> None:
    step = _step(tmp_path, LEVEL + 'disturbs = ["erasure"]\n')
    assert "erasure" in disturbed_by(step)  # type: ignore[arg-type]


def test_every_usual_trimmer_sets_something() -> None:
    assert all(set_by(name) in WHAT for name in TRIMMERS)
    assert set_by("gain") is None


def test_nothing_disturbs_what_it_sets_by_itself_and_every_name_is_of_the_list() -> None:
    for what, others in DISTURBS.items():
        assert what in WHAT
        assert set(others) <= set(WHAT) - {what}
