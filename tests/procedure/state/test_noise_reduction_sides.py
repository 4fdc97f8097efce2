"""Which part of the signal path around noise reduction is wrong: one part wrong at a time, by readings alone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from bench.procedure.state.noise_reduction_sides import REMEDIES, Side, sides_sentence, wrong_sides
from tests.procedure.record_bench import HEAD, Ran, run, step

MIDDLE = "[{ hz = 2500, db = -21, seconds = 1.5 }, { hz = 5000, db = -31, seconds = 1.5 }]"
"""A tone where the curves are steep, so that a wrong reference level of a circuit shows."""
LOW = "[{ hz = 400, db = -20, seconds = 2.0 }]"
CHECK = (
    HEAD
    + step("measure", "source", quantity='"source_level"', sends=LOW, target='"machine.record_level_control"')
    + step(
        "record-replay",
        "level",
        sends=LOW,
        reference_hz="400",
        targets='{ record_replay_level = "machine.record_level" }',
    )
    + "".join(
        step(
            "measure",
            name,
            quantity=f'"{quantity}"',
            sends=MIDDLE,
            target='"machine.noise_reduction_circuit"',
            noise_reduction=f'"{switch}"',
        )
        for name, quantity, switch in (
            ("encoder", "encoding_error", "record-only"),
            ("decoder", "decoding_error", "replay-only"),
        )
    )
)
WRONG: dict[Side, dict[str, Any]] = {
    "record level control": {"record_control_left_db": -3.0, "record_control_right_db": -3.0},
    "encoder": {"encoder_level_db": 8.0},
    "record level": {"record_level_left_db": -3.0, "record_level_right_db": -3.0},
    "decoder": {"decoder_level_db": 8.0},
}


def blamed(ran: Ran) -> set[Side]:
    return {w.side for w in wrong_sides(ran.opened.store.records())}


@pytest.mark.parametrize("side", WRONG)
@pytest.mark.parametrize(
    ("machine", "seeds"),
    [
        ("three-head-cassette", range(1, 2)),
        pytest.param("three-head-cassette", range(2, 21), marks=pytest.mark.long),
        pytest.param("two-head-cassette", range(21, 23), marks=pytest.mark.long),
    ],
)
def test_the_one_part_that_is_wrong_is_blamed(tmp_path: Path, side: Side, machine: str, seeds: range) -> None:
    for seed in seeds:
        ran = run(tmp_path / str(seed), CHECK, machine, seed=seed, **WRONG[side])
        assert blamed(ran) == {side}, (side, seed)


def test_a_record_level_control_that_is_low_is_no_fault_of_the_record_level(tmp_path: Path) -> None:
    """A good deck with its knob 3 dB low: the tape equals the source."""
    check = CHECK.split('\n[[step]]\nkind = "measure"\nid = "encoder"')[0]
    ran = run(tmp_path, check, "two-head-cassette", seed=4, record_control_left_db=-3.0)
    levels = [r.measured for r in ran.opened.store.records() if r.reading.quantity == "record_replay_level"]
    assert [m.value for m in levels if m is not None] == [pytest.approx(0.0, abs=0.2)] * 2
    assert levels[0] is not None
    assert levels[0].method.source_db == pytest.approx(-3.0, abs=0.1)
    assert blamed(ran) == {"record level control"}


def test_what_is_wrong_is_said_with_its_remedy(tmp_path: Path) -> None:
    ran = run(
        tmp_path,
        CHECK.split('\n[[step]]\nkind = "measure"\nid = "encoder"')[0],
        "three-head-cassette",
        record_level_left_db=-3.0,
    )
    said = sides_sentence(wrong_sides(ran.opened.store.records()))
    assert said.startswith("The record level is wrong: left −3.")
    assert said.endswith(f"; {REMEDIES['record level']}.")
    assert "measure encoder and decoder apart" in sides_sentence(())
