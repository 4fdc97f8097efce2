"""An exercise of an instructor's own: made from the job in the chooser, checked, refused with a reason, and chosen."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from bench.check_files import check_files
from bench.open_exercise import load_exercise
from bench.problem import Problem
from bench.procedure.load.library import Library
from bench.tui.choices import rows_of
from bench.tui.exercises import exercise_of, name_and_number, new_exercise
from bench.workspace import Workspace, shipped_procedures

JOB = {"procedure": "play-reference", "machine": "two-head-cassette"}


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    shutil.copytree(shipped_procedures(), tmp_path / "procedures")
    return Workspace(tmp_path)


def test_it_is_made_checked_and_offered(workspace: Workspace) -> None:
    path = new_exercise(workspace, JOB)
    assert check_files([path], workspace) == []
    text = path.read_text(encoding="utf-8")
    assert "dirty-head" in text
    assert "weak-erasure" not in text, "nothing is recorded in this procedure"
    port = next(row for row in rows_of(workspace) if row.id == "port")
    option = next(o for o in port.options if o.key == f"exercise:{path.stem}")
    assert option.name == "exercise: My exercise"
    made = load_exercise(Library(workspace), exercise_of(workspace, {"port": option.key}, 1))
    assert made.job.machine.heads == 2
    assert made.job.steps[0].do == "It does not sound as it used to."
    assert new_exercise(workspace, JOB) != path


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('faults = ["weak-erasure"]', 'play-reference measures nothing that shows "Weak erasure"'),
        ('faults = ["no-such-fault"]', "there is no fault sheet no-such-fault"),
        ('faults = ["dirty-head", "dirty-one-side"]', "both change"),
        ("faults = []", "nothing is hidden"),
        ('faults = ["dirty-head"]\nmust_find = ["worn-gap"]', "is not hidden"),
    ],
)
def test_what_it_can_not_be_is_said_with_its_line(workspace: Workspace, line: str, said: str) -> None:
    path = new_exercise(workspace, JOB)
    lines = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join(line if one.startswith("faults =") else one for one in lines), encoding="utf-8")
    (found,) = check_files([path], workspace)
    assert said in found.sentence
    assert found.line is not None


def test_a_procedure_that_shows_no_fault_is_no_exercise(workspace: Workspace) -> None:
    with pytest.raises(Problem, match="measures nothing that shows a fault"):
        new_exercise(workspace, {"procedure": "clean"})


def test_a_fault_that_no_machine_can_have_is_found_before_it_runs(workspace: Workspace) -> None:
    path = workspace.sheets / "faults" / "mistyped.toml"
    path.write_text(
        'format = 1\nsheet = "fault"\nname = "A"\ntells = "B."\n[practice]\nhum_bd = -40.0\n', encoding="utf-8"
    )
    (found,) = check_files([path], workspace)
    assert "hum_bd" in found.sentence
    assert "did you mean hum_db?" in found.sentence


def test_a_name_may_have_a_number_behind_it() -> None:
    assert name_and_number("Ada 7") == ("Ada", 7)
    assert name_and_number("Ada") == ("Ada", 1)
