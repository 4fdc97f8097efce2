"""Readings through a measured interface, and from a certified reference tape, are corrected and say so."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from bench.measure.method import Method, beside_dbfs
from bench.measure.reading import Reading
from bench.procedure.kinds.correct.interface import corrected, loop_db
from bench.procedure.kinds.correct.reference_tape import expected_dbfs, with_tape
from bench.procedure.load.library import Library
from bench.procedure.load.reader import load_sheet
from bench.procedure.model.job import Job
from bench.procedure.model.sheets import Interface, OutputTestPoint, PositiveFigure, ResponsePoint, SignedFigure
from bench.workspace import Workspace, shipped_procedures
from tests.results import a_reading

LEVEL = Reading("level", "left", -12.0, 0.03, frequency_hz=10000.0, method=Method("mean level"))

SHEET = Interface(
    format=1,
    sheet="interface",
    name="Bench interface",
    device="An interface",
    date=date(2026, 3, 1),
    full_scale_input_v=PositiveFigure(value=2.0, uncertainty=0.02),
    response=(
        ResponsePoint(hz=100.0, db=0.0, uncertainty_db=0.01),
        ResponsePoint(hz=1000.0, db=0.0, uncertainty_db=0.01),
        ResponsePoint(hz=10000.0, db=-0.4, uncertainty_db=0.04),
        ResponsePoint(hz=20000.0, db=-1.0, uncertainty_db=0.1, channel="right"),
    ),
    noise_dbfs=-95.0,
    distortion_percent=0.01,
    clock_error_ppm=SignedFigure(value=50.0, uncertainty=10.0),
)


@pytest.fixture
def job(tmp_path: Path) -> Job:
    (tmp_path / "procedures").symlink_to(shipped_procedures())
    return Library(Workspace(tmp_path)).load_job("play-reference", "three-head-cassette")


def test_what_was_sent_and_came_back_has_passed_both_ways(job: Job) -> None:
    read = corrected(LEVEL, replace(job, interface=SHEET), looped=True)
    assert a_reading(read).value == pytest.approx(-11.6)
    assert a_reading(read).uncertainty == pytest.approx(0.05)  # 0.03 and 0.04
    assert str(read.method) == "mean level; interface +0.40 dB; 526 mV (−3.4 dBu) at the interface"


def test_a_level_in_volts_and_as_the_vu_meter_of_the_machine_shows_it(job: Job) -> None:
    """Its needle is at 0 VU at the level that the sheet names for it (IEC 60268-17: a steady sine)."""
    reel: Any = load_sheet(shipped_procedures() / "sheets/machines/open-reel-381-nab.toml", "machine")
    assert reel.reference.replay_dbfs == -12.0
    for zero_db, vu in ((0.0, 0.4), (4.0, -3.6)):
        machine = reel.model_copy(update={"meters": reel.meters.model_copy(update={"zero_db": zero_db})})
        read = corrected(LEVEL, replace(job, machine=machine, interface=SHEET), looped=True)
        assert read.method.meter_vu == pytest.approx(vu)
        assert beside_dbfs(read.method) == f"−3.4 dBu, {vu:+.1f} VU".replace("-", "−")
    cassette = corrected(LEVEL, replace(job, interface=SHEET), looped=True)
    assert beside_dbfs(cassette.method) == "−3.4 dBu"


def test_what_was_only_replayed_has_passed_an_unknown_part_of_the_loop(job: Job) -> None:
    read = corrected(LEVEL, replace(job, interface=SHEET), looped=False)
    assert a_reading(read).value == pytest.approx(-11.8)
    assert a_reading(read).uncertainty == pytest.approx((0.03**2 + 0.2**2 + 0.04**2) ** 0.5)
    assert read.method.half_of_loop


def test_without_a_sheet_nothing_is_corrected(job: Job) -> None:
    assert corrected(LEVEL, job, looped=True) == LEVEL
    assert job.replay_dbfs == job.machine.reference.replay_dbfs


def test_between_the_points_by_log_frequency_and_for_each_channel() -> None:
    between = loop_db(SHEET, 10**3.5, "left")
    assert between is not None
    assert between == pytest.approx((-0.2, 0.04))
    assert loop_db(SHEET, 30000.0, "left") == (-0.4, 0.04)
    assert loop_db(SHEET, 20000.0, "right") == (-1.0, 0.1)
    assert loop_db(SHEET.model_copy(update={"response": ()}), 1000.0, "left") is None


def test_the_test_point_of_the_manual_in_dbfs(job: Job) -> None:
    point = OutputTestPoint(where="TP", mv=200.0, attenuator_db=0.0, source="service manual")
    machine = job.machine.model_copy(update={"output_test_point": point})
    assert replace(job, machine=machine, interface=SHEET).replay_dbfs == pytest.approx(-20.0)  # 0.2 V of 2 V
    assert replace(job, machine=machine).replay_dbfs == job.machine.reference.replay_dbfs


def test_a_fast_clock_reads_a_tape_slow(job: Job) -> None:
    speed = Reading("speed_error", "left", 0.1, 0.002, frequency_hz=3150.0, method=Method("mean frequency"))
    read = corrected(speed, replace(job, interface=SHEET), looped=False)
    assert a_reading(read).value == pytest.approx(0.105)
    assert a_reading(read).uncertainty == pytest.approx((0.002**2 + 0.001**2) ** 0.5)


def test_noise_near_that_of_the_interface_is_a_limit(job: Job) -> None:
    with_it = replace(job, interface=SHEET)
    assert a_reading(corrected(Reading("noise", "left", -70.0, 0.1), with_it, looped=False)).bound is None
    near = corrected(Reading("noise", "left", -90.0, 0.1), with_it, looped=False)
    assert a_reading(near).bound == "at most"
    assert a_reading(near).method.interface_noise_dbfs == -95.0
    third = corrected(Reading("third_harmonic", "left", 0.05, 0.001), with_it, looped=True)
    assert a_reading(third).uncertainty == pytest.approx(0.01, abs=1e-4)


def test_a_certificate_moves_the_target_and_is_said(job: Job) -> None:
    section = job.reference_tape.section[0].model_copy(update={"recorded_error_db": 0.3, "db": 0.0})
    plain = section.model_copy(update={"recorded_error_db": 0.0})
    assert expected_dbfs(job, section) - expected_dbfs(job, plain) == pytest.approx(0.3)
    told = str(with_tape(LEVEL, job, section).method)
    assert told.endswith("its certificate moves the target by +0.3 dB")
    relative = replace(LEVEL, quantity="response")
    other = section.model_copy(update={"recorded_error_db": -0.2})
    assert with_tape(relative, job, section, other).method.certificate_db == pytest.approx(0.5)
    assert with_tape(LEVEL, job, plain).method.certificate_db is None
    assert with_tape(replace(LEVEL, quantity="speed_error"), job, section).method.certificate_db is None
