"""The steps of a job as a session keeps them."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from bench.procedure.load.library import Library
from bench.session.record.reader import read_session
from bench.session.record.steps import StepFacts, steps_of
from bench.workspace import Workspace, shipped_procedures
from tests.session.made_up import whole

ASKS = """\
format = 1
title = "Ask"
summary = "Nothing is measured."
takes_minutes = 1

[[step]]
kind = "entry"
id = "{id}"
title = "What does the owner say?"
do = "Ask."
asks = "{asks}"
{more}
"""


def test_a_whole_job_in_its_order_as_it_is_run() -> None:
    job = Library(Workspace(shipped_procedures().parent)).load_job("cassette-three-head")
    steps = steps_of(job)
    assert [s.id for s in steps] == [s.id for s in job.steps]
    by_id = {s.id: s for s in steps}
    assert [s.id for s in steps if s.complaint] == ["book-in/complaint"]
    assert [s.id for s in steps if s.noise_reduction] == ["book-in/noise-reduction"]
    assert by_id["record/bias"].target == "tape.overbias"
    assert by_id["found-clean/level"].stage == "found-clean"
    assert not by_id["found-clean/level"].judged
    assert by_id["left-record/level"].judged
    assert {c.hazard for c in by_id["demagnetise/demagnetise"].cautions} >= {"demagnetiser"}
    left_out = {s.id for s in job.inapplicable}
    assert left_out
    assert not left_out & set(by_id)


def test_each_direction_is_a_step_of_its_own() -> None:
    job = Library(Workspace(shipped_procedures().parent)).load_job("replay-line-up", "auto-reverse-cassette")
    assert {s.direction for s in steps_of(job) if s.id.endswith("-reverse")} == {"reverse"}


def asked(tmp_path: Path, id_: str, asks: str, more: str = "") -> StepFacts:
    shutil.copytree(shipped_procedures() / "sheets", tmp_path / "procedures" / "sheets")
    text = ASKS.format(id=id_, asks=asks, more=more)
    (tmp_path / "procedures" / "ask.toml").write_text(text, encoding="utf-8")
    (step,) = steps_of(Library(Workspace(tmp_path)).load_job("ask"))
    return step


@pytest.mark.parametrize(
    ("id_", "asks", "complaint"),
    [("story", "complaint", True), ("complaint", "words", True), ("story", "words", False)],
)
def test_a_complaint_is_asked_for_by_a_key_or_in_a_step_of_that_name(
    tmp_path: Path, id_: str, asks: str, complaint: bool
) -> None:
    assert asked(tmp_path, id_, asks).complaint is complaint


@pytest.mark.parametrize(
    ("id_", "asks", "noise_reduction"),
    [("which", "noise-reduction", True), ("noise-reduction", "choice", True), ("which", "choice", False)],
)
def test_noise_reduction_is_asked_for_by_a_key_or_in_a_step_of_that_name(
    tmp_path: Path, id_: str, asks: str, noise_reduction: bool
) -> None:
    step = asked(tmp_path, id_, asks, 'choices = ["Type B", "none"]')
    assert step.noise_reduction is noise_reduction


@pytest.mark.parametrize(
    ("row", "noise_reduction"),
    [
        ('id = "book-in/noise-reduction"\nkind = "entry"', True),
        ('id = "book-in/noise-reduction"\nkind = "measure"', False),
        ('id = "book-in/which"\nkind = "entry"', False),
        ('id = "book-in/which"\nkind = "entry"\nnoise_reduction = true', True),
    ],
)
def test_a_session_without_that_fact_is_read_by_the_name_of_the_step(
    tmp_path: Path, row: str, noise_reduction: bool
) -> None:
    folder = whole(tmp_path)
    path = folder / "session.toml"
    path.write_text(path.read_text(encoding="utf-8") + f'\n[[steps]]\ntitle = "Which?"\n{row}\n', encoding="utf-8")
    assert read_session(folder).steps[-1].noise_reduction is noise_reduction
