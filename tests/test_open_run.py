"""Opening a run: what is asked for is on the bench and in the record."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.clock import RehearsalClock
from bench.open_run import OpenRun, open_run
from bench.problem import Problem
from bench.run_request import RunRequest
from bench.workspace import Workspace, shipped_procedures


def opened(tmp_path: Path, request: RunRequest) -> OpenRun:
    folder = tmp_path / "procedures"
    if not folder.exists():
        folder.symlink_to(shipped_procedures())
    run = open_run(Workspace(tmp_path), request, RehearsalClock(), real_time=False)
    run.end()
    return run


def test_the_named_sheets_are_on_the_bench_and_in_the_record(tmp_path: Path) -> None:
    request = RunRequest(
        "quick-check",
        machine="two-head-cassette",
        tape="ferric-gala",
        reference_tape="workshop-set",
        faults=("worn-gap",),
        seed=7,
    )
    run = opened(tmp_path, request)
    facts = run.store.job
    assert (facts.machine, facts.tape) == ("Lanternhill two-head cassette deck", run.job.tape.name)
    assert (facts.procedure_id, facts.seed, facts.port_kind, facts.heads) == ("quick-check", 7, "practice", 2)
    assert (facts.speed, facts.further, facts.turned_before) == ("47.625 mm/s", (), ())
    inputs = {path.stem for path in run.store.inputs.rglob("*.toml")}
    assert {"quick-check", "two-head-cassette", "ferric-gala", "workshop-set", "worn-gap"} <= inputs


def test_a_line_up_for_several_tapes_names_them(tmp_path: Path) -> None:
    run = opened(tmp_path, RunRequest("cassette-several-tapes"))
    assert [f.tape for f in run.store.job.further] == [s.tape.name for s in run.job.further]
    assert len(run.store.job.tapes) == 3


@pytest.mark.parametrize(
    ("request_", "said"),
    [
        (RunRequest("quick-check", port="live", faults=("worn-gap",)), "leave --fault out"),
        (RunRequest("quick-check", seed=3), "that session is of another machine"),
    ],
)
def test_what_does_not_go_together_is_refused_and_leaves_no_session(
    tmp_path: Path, request_: RunRequest, said: str
) -> None:
    before = opened(tmp_path, RunRequest("quick-check", seed=2))
    if not request_.faults:
        request_ = RunRequest("quick-check", seed=3, after=before.store.folder)
    with pytest.raises(Problem, match=said):
        opened(tmp_path, request_)
    assert [path.name for path in (tmp_path / "sessions").iterdir()] == [before.store.folder.name]
