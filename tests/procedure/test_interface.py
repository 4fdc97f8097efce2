"""`calibrate-interface`, rehearsed on the practice loop, and the sheet that it writes."""

from __future__ import annotations

import re
import shutil
from datetime import date
from pathlib import Path

import pytest

from bench.clock import RehearsalClock
from bench.open_run import OpenRun, open_run
from bench.problem import Problem
from bench.procedure.load.reader import load_sheet
from bench.procedure.model.sheets import Interface
from bench.procedure.run.interface_sheet import calibration, newest_of, write_sheet
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.event_words import event_sentence
from bench.procedure.state.events import InputProcessed
from bench.procedure.state.snapshot import Outcome
from bench.run_request import RunRequest
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse
from bench.workspace import Workspace, shipped_procedures


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Workspace:
    root = tmp_path_factory.mktemp("bench")
    shutil.copytree(shipped_procedures(), root / "procedures")
    return Workspace(root)


def calibrated(bench: Workspace, *faults: str) -> tuple[OpenRun, Outcome]:
    clock = RehearsalClock()
    opened = open_run(bench, RunRequest("calibrate-interface", faults=faults), clock, real_time=False)
    outcome = rehearse(opened.runner, opened.port, clock, UnattendedHands())
    opened.end()
    return opened, outcome


def test_a_plain_interface_is_in_and_its_sheet_says_what_it_is(bench: Workspace) -> None:
    opened, outcome = calibrated(bench)
    assert (outcome.exit_code, set(outcome.words)) == (0, {"in"}), outcome.said
    (path,) = opened.store.folder.glob("practice-interface-*.toml")
    sheet = load_sheet(path, "interface")
    assert sheet.device == "practice interface"
    assert sheet.date == opened.clock.wall().date()
    assert (sheet.channel_order, sheet.sample_rate) == ("straight", 48000)
    # What the practice loop was given: 1.95 V at full scale, 1.5 dB less at the input, 18 ppm fast.
    assert sheet.full_scale_output_v is not None
    assert sheet.full_scale_output_v.value == pytest.approx(1.95, rel=1e-3)
    assert sheet.full_scale_input_v is not None
    assert sheet.full_scale_input_v.value == pytest.approx(1.95 * 10 ** (1.5 / 20), rel=1e-3)
    assert sheet.clock_error_ppm is not None
    assert sheet.clock_error_ppm.value == pytest.approx(18.0, abs=0.1)
    low = [p.db for p in sheet.response if p.hz == 20.0]
    # One pole at 4 Hz: 10 lg(1 + (4/20)²) = 0.17 dB.
    assert low == [pytest.approx(-0.17, abs=0.01)] * 2
    assert {p.sent_dbfs for p in sheet.linearity} == {-20.0, -30.0, -40.0, -50.0, -60.0}


@pytest.mark.parametrize(
    ("fault", "steps", "named"),
    [
        ("automatic-gain", "3 steps are out: Linearity Response Noise floor", "An automatic gain is in the way"),
        ("swapped-lead", "1 step is out: Channel order", ""),
        ("voice-filter", "1 step is out: Response", ""),
    ],
)
def test_what_is_wrong_with_an_input_is_caught_and_named(bench: Workspace, fault: str, steps: str, named: str) -> None:
    opened, outcome = calibrated(bench, f"interface/{fault}")
    assert outcome.exit_code == 1
    without_readings = re.sub(r" \([^)]*\);?", "", outcome.said)
    assert f". {steps}" in without_readings, outcome.said
    notes = [event_sentence(e, {}) for e in of_kind(opened.store.events(), InputProcessed)]
    assert not named or any(n.startswith(named) for n in notes), notes


def test_a_fault_of_a_machine_is_none_of_an_interface(bench: Workspace) -> None:
    with pytest.raises(Problem, match="nothing the practice loop knows"):
        open_run(bench, RunRequest("calibrate-interface", faults=("bias-low",)), RehearsalClock(), real_time=False)


def test_the_last_sheet_of_a_device_is_chosen_and_none_is_ever_written_over(tmp_path: Path) -> None:
    text = 'format = 1\nsheet = "interface"\nname = "n"\ndevice = "Deck In (2)"\ndate = 2026-0{m}-01\n'
    first = write_sheet(tmp_path, text.format(m=3), "Deck In (2)", date(2026, 3, 1))
    second = write_sheet(tmp_path, text.format(m=5), "Deck In (2)", date(2026, 5, 1))
    other = write_sheet(tmp_path, text.format(m=3), "Deck In (2)", date(2026, 3, 1))
    assert [p.name for p in (first, other)] == ["deck-in-2-2026-03-01.toml", "deck-in-2-2026-03-01-2.toml"]
    assert newest_of(tmp_path, "Deck In (2)") == second
    assert newest_of(tmp_path, "Deck In") is None
    assert newest_of(tmp_path / "nowhere", "Deck In") is None


def test_a_session_says_which_sheet_it_went_by(bench: Workspace) -> None:
    run = open_run(
        bench, RunRequest("record-replay-check", interface="bench-interface"), RehearsalClock(), real_time=False
    )
    assert run.job.interface is not None
    told = run.store.job.calibration
    assert told.startswith("by the interface sheet of 2026-10-02")
    assert "of another device (Lanternhill bench interface)" in told
    assert (run.store.inputs / "sheets" / "interfaces" / "bench-interface.toml").is_file()
    run.end()
    plain = open_run(bench, RunRequest("record-replay-check"), RehearsalClock(), real_time=False)
    assert plain.store.job.calibration == "levels in dBFS: no interface sheet"
    plain.end()


def test_an_old_sheet_is_said_to_be_old() -> None:
    sheet = Interface(format=1, sheet="interface", name="n", device="d", date=date(2025, 3, 14))
    assert calibration(sheet, "d", date(2025, 12, 1)) == "by the interface sheet of 2025-03-14"
    assert "437 days old: calibrate the interface again" in calibration(sheet, "d", date(2026, 5, 25))
    swapped = replace_order(sheet)
    assert calibration(swapped, "d", date(2025, 4, 1)).endswith("its channels were swapped then")


def replace_order(sheet: Interface) -> Interface:
    return sheet.model_copy(update={"channel_order": "swapped"})
