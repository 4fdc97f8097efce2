"""Tapes carried from machine to machine, checked against made-up machines with known heads and amplifiers."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from bench.measure.reading import Channel
from bench.problem import Problem
from bench.session.compare.interchange import Interchange, Pair, interchange_of, mistracking, right_machine
from bench.session.compare.interchange import pair as interchange_pair
from bench.session.compare.interchange_text import interchange_lines
from bench.session.compare.machine_errors import AZIMUTH, SPEED, Value, machine_errors
from bench.session.record.reader import read_session
from bench.tape.mistracking_map import ReplayErrors, mistracking_map
from tests.session.fleet_of import HZ, Machine, delay, exchange, session, tilt_loss

SIDES: tuple[Channel, ...] = ("left", "right")
TWO = Machine("Two", 2, 0.8, -0.5, -2.0, 1.0, replay_tilt=6.0, fast_percent=0.7)
THREE = Machine("Three", 3, -0.3, 0.4, 0.5, -1.5, replay_tilt=-1.0, record_tilt=3.0, fast_percent=-0.2)
RIGHT = Machine("Right", 3)


def fleet(workspace: Path, *machines: Machine) -> Interchange:
    return interchange_of([machine_errors(read_session(session(workspace, m))) for m in machines])


def pair(found: Interchange, a: Machine, b: Machine) -> Pair:
    return next(p for p in found.pairs if (p.recorded, p.replayed) == (a.name, b.name))


def test_every_pair_gives_what_heads_and_amplifiers_make_of_it(tmp_path: Path) -> None:
    machines = (TWO, THREE, RIGHT)
    found = fleet(tmp_path, *machines)
    assert len(found.pairs) == 6
    for a in machines:
        for b in machines:
            if a is b:
                continue
            told = pair(found, a, b)
            assert told.treble_hz == 10_000.0
            for hz in HZ:
                level, response = exchange(a, b, hz)
                for side in SIDES:
                    assert told.level[side].value == pytest.approx(level, abs=1e-9)
                    assert told.response[side, hz].value == pytest.approx(response, abs=1e-6)
            assert told.speed is not None
            assert told.azimuth is not None
            assert told.azimuth_loss is not None
            assert told.speed.value == pytest.approx(b.fast_percent - a.fast_percent)
            tilt = a.written_tilt - b.replay_tilt
            assert told.azimuth.value == pytest.approx(delay(a.written_tilt) - delay(b.replay_tilt), abs=1e-9)
            assert told.azimuth_loss.value == pytest.approx(tilt_loss(tilt, 10_000.0), abs=1e-6)


def test_the_uncertainty_is_that_of_all_that_goes_into_it(tmp_path: Path) -> None:
    found = fleet(tmp_path, TWO, RIGHT)
    told = pair(found, RIGHT, TWO)
    assert told.level["left"].uncertainty == pytest.approx(0.1 * 3**0.5)
    assert told.speed is not None
    assert told.speed.uncertainty == pytest.approx(0.1 * 2**0.5)  # a machine's own speed is exact on itself


def test_a_delay_that_costs_treble_twice_counts_twice(tmp_path: Path) -> None:
    """On two heads the loss is in the replay of the reference tape, and in the machine's tape on a correct machine."""
    errors = machine_errors(read_session(session(tmp_path, TWO)))
    us = 2.0

    def told(by_us: float, spread_us: float) -> Value:
        azimuth = Value(errors.replay[AZIMUTH].value + by_us, spread_us)
        wrong = replace(errors, replay={**errors.replay, AZIMUTH: azimuth})
        return interchange_pair(wrong, right_machine(wrong)).response["left", 10_000.0]

    moved = max(abs(told(by, 0.0).value - told(0.0, 0.0).value) for by in (-us, us))
    own = told(0.0, 0.0).uncertainty
    assert moved > 0.1
    assert told(0.0, us).uncertainty == pytest.approx((own**2 + moved**2) ** 0.5)


def test_a_machine_with_itself_is_what_it_read(tmp_path: Path) -> None:
    errors = machine_errors(read_session(session(tmp_path, TWO)))
    assert errors.own[SPEED].value == 0.0
    assert errors.own[AZIMUTH].value == 0.0
    assert (errors.speed_mm_s, errors.width_mm, errors.heads) == (47.625, 0.6, 2)
    assert errors.missing == ()


@pytest.mark.parametrize(
    "errors",
    [
        ReplayErrors(-1.4, ((2000.0, -0.5), (10000.0, -3.0))),
        ReplayErrors(2.5, ((63.0, 1.0), (6300.0, 2.0))),
        ReplayErrors(0.0),
        ReplayErrors(-6.0, ((10000.0, -10.0),)),
    ],
)
def test_the_table_of_the_decoder_gives_what_solving_it_gives(errors: ReplayErrors) -> None:
    told = mistracking(replace(errors, uncertainty_db=0.3), "left")
    solved = mistracking_map("type-b", ReplayErrors(errors.level_db, errors.treble, uncertainty_db=0.3))
    assert told.worst.value == pytest.approx(solved.worst_db, abs=0.01)
    assert told.worst.uncertainty == pytest.approx(solved.uncertainty_db, abs=0.02)
    if abs(solved.worst_db) > 0.05:
        assert (told.frequency_hz, told.level_db) == (solved.worst_hz, solved.worst_level_db)


def test_a_pair_mistracks_by_its_own_errors(tmp_path: Path) -> None:
    told = pair(fleet(tmp_path, TWO, THREE), THREE, TWO)
    level, _ = exchange(THREE, TWO, 400.0)
    treble = tuple((hz, exchange(THREE, TWO, hz)[1]) for hz in HZ if hz != 400.0)
    assert told.mistracking is not None
    assert told.mistracking.worst.value == pytest.approx(
        mistracking_map("type-b", ReplayErrors(level, treble)).worst_db, abs=0.02
    )


@pytest.mark.parametrize(
    ("other", "said"),
    [
        (Machine("Reel", 3, speed_mm_s=190.5), "different tape speeds: 4.76 cm/s (1⅞ ips), and 19 cm/s (7½ ips)"),
        (Machine("Wide", 3, sheet={"track_spacing_mm": 3.5}), "different tracks: 0.9 mm apart, and 3.5 mm"),
    ],
)
def test_tapes_that_do_not_fit_are_not_told_but_named(tmp_path: Path, other: Machine, said: str) -> None:
    found = fleet(tmp_path, RIGHT, other)
    assert pair(found, RIGHT, other).because == said
    assert found.outliers == ()
    assert f"1 → 2: no figure, because {said}" in "\n".join(interchange_lines(found))


def test_the_odd_one_out_is_named_with_what_sets_it_apart(tmp_path: Path) -> None:
    askew = Machine("Askew", 2, replay_tilt=9.0)
    near = [Machine(f"Near {n}", 2, replay_db=0.05 * n, replay_tilt=0.05 * n) for n in range(1, 4)]
    (outlier,) = fleet(tmp_path, near[0], askew, *near[1:]).outliers
    assert outlier.machine == "Askew"
    assert outlier.kind == AZIMUTH
    assert outlier.distance is not None
    assert outlier.distance.value == pytest.approx(-delay(9.0) + delay(0.1), abs=0.1)
    assert outlier.chance < 1e-6
    assert outlier.spread > 1.5
    assert outlier.without < 0.2
    text = "\n".join(interchange_lines(fleet(tmp_path, near[0], askew, *near[1:])))
    assert "Odd one out among Near 1, Askew, Near 2 and Near 3: Askew." in text
    assert "less than 1 in 1000" in text


def test_a_level_that_only_its_recording_has_wrong(tmp_path: Path) -> None:
    (outlier,) = fleet(tmp_path, RIGHT, Machine("Loud", 3, record_db=1.5), Machine("Also right", 2)).outliers
    assert (outlier.machine, outlier.half) == ("Loud", "recording")
    assert outlier.kind is not None
    assert outlier.kind.what == "level"


def test_none_is_named_where_the_readings_do_not_tell_them_apart(tmp_path: Path) -> None:
    alike = [Machine(f"Alike {n}", 3, replay_db=0.03 * n) for n in range(4)]
    (outlier,) = fleet(tmp_path, *alike).outliers
    assert outlier.machine == ""
    assert "none differs from the others by more than the readings' uncertainty explains" in outlier.because


def test_of_two_it_cannot_be_told(tmp_path: Path) -> None:
    (outlier,) = fleet(tmp_path, RIGHT, TWO).outliers
    assert (outlier.machine, outlier.because) == (
        "",
        "two machines cannot show which one is out; three are needed",
    )


def test_a_sheet_that_is_gone_is_said(tmp_path: Path) -> None:
    folder = session(tmp_path, RIGHT)
    next(folder.glob("inputs/sheets/machines/*.toml")).unlink()
    with pytest.raises(Problem, match="its copy of the machine's sheet is missing"):
        machine_errors(read_session(folder))


def test_what_was_not_read_is_named(tmp_path: Path) -> None:
    folder = session(tmp_path, RIGHT)
    text = (folder / "session.toml").read_text(encoding="utf-8")
    text = text.replace('quantity = "speed_error"\n', 'quantity = "speed_drift"\n')
    (folder / "session.toml").write_text(text, encoding="utf-8")
    found = interchange_of([machine_errors(read_session(folder)), machine_errors(read_session(session(tmp_path, TWO)))])
    assert found.machines[0].missing == ("speed",)
    assert pair(found, RIGHT, TWO).speed is None
    assert "Right: speed" in pair(found, RIGHT, TWO).missing
    assert "not read: speed" in "\n".join(interchange_lines(found))
