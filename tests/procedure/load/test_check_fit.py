"""Checks of procedures against sheets."""

# ruff: noqa: E501 - the tables are read row by row
from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from bench.procedure.load.check_fit import check_with_sheets
from bench.procedure.load.reader import load_sheet, read_procedure
from tests.procedure.small_bench import (
    BIAS,
    CLEAN,
    GOOD,
    HEAD,
    LEVEL,
    MACHINE,
    MEASURED,
    PLAY,
    RECORD,
    REFERENCE_TAPE,
    TAPE,
    TWO_HEADS,
)

AZIMUTH = (
    LEVEL.replace('"level"\nplays', '"azimuth_delay"\nplays')
    .replace("machine.replay_level", "machine.azimuth")
    .replace('{ left = "replay level left", right = "replay level right" }', '{ both = "record azimuth" }')
    .replace('plays = "level"', "sends = [{ hz = 1000, db = -20 }]")
)
COMES_BACK = MEASURED + MEASURED.replace('"before"', '"after"') + 'returns_to = "before"\n'
ONE_SIDED = MACHINE.replace(
    '[targets.replay_level]\nunit = "dB"\ntolerance = 0.5', '[targets.replay_level]\nunit = "dB"\nat_least = 0.5'
)
WEIGHT = """
[[step]]
kind = "entry"
id = "torque"
title = "Take-up torque"
do = "Read it."
asks = "number"
unit = "g·cm"
target = "machine.torque"
"""
WITH_TORQUE = MACHINE + '[targets.torque]\nvalue = 50\nunit = "mN·m"\ntolerance = 20\nsource = "common practice"\n'


def _told(
    tmp_path: Path, steps: str, machine: str = MACHINE, tape: str = TAPE, reference_tape: str = REFERENCE_TAPE
) -> list[tuple[tuple[str | int, ...], str]]:
    texts = {"p": HEAD + steps, "m": machine, "t": tape, "r": reference_tape}
    for name, text in texts.items():
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
    mistakes = check_with_sheets(
        read_procedure(tmp_path / "p.toml").whole().step,  # type: ignore[arg-type]
        load_sheet(tmp_path / "m.toml", "machine"),
        load_sheet(tmp_path / "t.toml", "tape"),
        load_sheet(tmp_path / "r.toml", "reference-tape"),
    )
    return [(w.at, f"{w.message}; {w.remedy}") for w in mistakes]


def test_what_fits_is_right(tmp_path: Path) -> None:
    assert _told(tmp_path, GOOD.removeprefix(HEAD) + AZIMUTH.replace("replay-level", "record-azimuth")) == []


def test_nothing_is_set_to_a_limit(tmp_path: Path) -> None:
    ((at, said),) = _told(tmp_path, LEVEL, ONE_SIDED)
    assert at == ("step", 0, "target")
    assert said.endswith("and a trimmer is set to a value; name a target with a tolerance")


def test_programme_has_no_frequency_to_have_a_tolerance_at(tmp_path: Path) -> None:
    programme = AZIMUTH.replace("sends = [{ hz = 1000, db = -20 }]", "programme = true").replace(
        "replay-level", "azimuth"
    )
    assert _told(tmp_path, programme) == []
    banded = MACHINE.replace(
        '[targets.azimuth]\nunit = "µs"\ntolerance',
        '[targets.azimuth]\nunit = "µs"\nbands = [{ from_hz = 40, to_hz = 20000, tolerance = 5 }]\n# tolerance',
    )
    assert banded != MACHINE
    ((at, said),) = _told(tmp_path, programme, banded)
    assert at == ("step", 0, "target")
    assert "gives tolerances for tones only, and programme has none" in said


def test_there_is_no_coming_back_to_a_limit(tmp_path: Path) -> None:
    assert _told(tmp_path, COMES_BACK) == []
    ((at, said),) = _told(tmp_path, COMES_BACK, ONE_SIDED)
    assert at == ("step", 1, "target")
    assert said.startswith('"machine.replay_level" is a limit on one side')


@pytest.mark.parametrize(
    ("steps", "sheets", "at", "said"),
    [
        (LEVEL.replace("replay_level", "repaly_level"), {}, "target", 'no target "repaly_level"; did you mean "replay_level"'),
        (BIAS.replace("tape.bias", "tape.bais"), {}, "target", 'the tape sheet has no target "bais"'),
        (PLAY.replace("replay_level", "speed"), {}, "targets", '"machine.speed" is in "%", what is judged here is in "dB"'),
        (BIAS.replace("tape.bias", "machine.azimuth"), {}, "target", 'is in "µs", what is judged here is in "dB"'),
        (RECORD.replace('record_level"', 'speed"'), {}, "targets", 'is in "%"'),
        (LEVEL.replace("replay level left", "replay levl left"), {}, "trimmers", 'did you mean "replay level left"?'),
        (LEVEL.replace('plays = "level"', 'plays = "levels"'), {}, "plays", 'no section "levels"; did you mean "level"?'),
        (LEVEL + "frequency = 315\n", {}, "frequency", 'is not what section "level" holds (400 Hz)'),
        (PLAY + 'purposes = ["speed"]\n', {}, "purposes", "the reference tape has no speed section"),
        (PLAY + 'purposes = ["response"]\n', {}, "targets", "no section that is played gives level"),
        (PLAY.replace("level = ", "speed_error = ").replace("replay_level", "speed"), {}, "targets", "gives speed_error"),
        (
            BIAS.replace("10000", "16000").replace("tape.bias", "machine.replay_response"),
            {},
            "target",
            '"machine.replay_response" gives no tolerance at 16000 Hz',
        ),
        (BIAS + 'via = "live"\n', {"machine": TWO_HEADS}, "via", "two heads and cannot replay while it records"),
        (AZIMUTH, {"machine": TWO_HEADS}, "quantity", "always agrees with the azimuth of its own recording"),
        (
            RECORD.replace('record_replay_level = "machine.record_level"', 'azimuth_delay = "machine.azimuth"'),
            {"machine": TWO_HEADS},
            "targets",
            "always agrees with the azimuth of its own recording",
        ),
        (WEIGHT, {"machine": WITH_TORQUE}, "target", 'is in "mN·m", what is judged here is in "g·cm"'),
    ],
)  # fmt: skip
def test_what_does_not_fit(tmp_path: Path, steps: str, sheets: dict[str, str], at: str, said: str) -> None:
    told = _told(tmp_path, steps, **sheets)
    assert len(told) == 1, told
    assert told[0][0][:3] == ("step", 0, at)
    assert said in told[0][1]


def test_a_reference_tape_of_another_speed_does_not_fit_one_of_another_measure_of_flux_does(tmp_path: Path) -> None:
    told = _told(tmp_path, CLEAN, reference_tape=REFERENCE_TAPE.replace("47.625", "95.25"))
    assert [t[0] for t in told] == [("reference_tape",)]
    assert "for 9.5 cm/s (3¾ ips), the machine runs at 4.76 cm/s (1⅞ ips)" in told[0][1]
    told = _told(tmp_path, CLEAN, reference_tape=REFERENCE_TAPE.replace('"ANSI"', '"DIN"'))
    assert told == []  # converted


def test_azimuth_is_set_at_a_low_frequency_first(tmp_path: Path) -> None:
    fine = AZIMUTH.replace('id = "replay-level"', 'id = "fine"').replace("hz = 1000,", "hz = 10000,")
    assert _told(tmp_path, AZIMUTH + fine) == []
    told = _told(tmp_path, fine)
    assert [t[0] for t in told] == [("step", 0, "sends")]
    assert "azimuth is set at 10 kHz at once, where a whole cycle out looks right" in told[0][1]
    other = AZIMUTH.replace("record azimuth", "replay azimuth")
    assert len(_told(tmp_path, other + fine)) == 1


def test_a_machine_says_which_trimmers_it_has(tmp_path: Path) -> None:
    own = 'trimmers = ["gain left", "gain right"]\n' + MACHINE
    assert tomllib.loads(own)["trimmers"] == ["gain left", "gain right"]
    assert len(_told(tmp_path, LEVEL, machine=own)) == 2
    assert _told(tmp_path, LEVEL.replace("replay level", "gain"), machine=own) == []


def test_a_sheet_that_is_not_there_is_not_asked(tmp_path: Path) -> None:
    path = tmp_path / "p.toml"
    path.write_text(GOOD.replace("machine.replay_level", "machine.nonsense"), encoding="utf-8")
    assert check_with_sheets(read_procedure(path).whole().step, None, None, None) == []  # type: ignore[arg-type]
