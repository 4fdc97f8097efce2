"""Exercises: hidden faults by seed, and three trainees who get the debrief they deserve."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.clock import RehearsalClock
from bench.open_run import OpenRun, open_run, resume_run
from bench.problem import Problem
from bench.procedure.load.library import Library
from bench.procedure.run.commands import Leave
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Debriefed
from bench.run_request import RunRequest
from bench.session.record.reader import read_session
from bench.session.report.debrief_text import debrief_lines
from bench.session.report.report import write_report
from bench.training.exercise import CLOSING, fault_shows, named_faults, with_closing_question
from bench.workspace import Workspace
from tests.training.exercise_bench import REPO, DoesNothing, HidesAzimuth, Perfect, go_through, workspace

AZIMUTH, DIRT = "Replay azimuth off", "Dirt on the replay head"


def opened(folder: Path, *, drawn: int = 2, seed: int = 1, faults: tuple[str, ...] = ()) -> OpenRun:
    wanted = RunRequest("replay", faults=faults, seed=seed, exercise=drawn)
    return open_run(workspace(folder), wanted, RehearsalClock(), real_time=False)


def faults_of(folder: Path, seed: int) -> tuple[str, ...]:
    folder.mkdir()
    run = opened(folder, seed=seed)
    run.store.close()
    assert run.exercise is not None
    return tuple(run.exercise.faults)


def debrief_of(run: OpenRun) -> dict[str, list[str]]:
    out: dict[str, list[str]] = {}
    for about, sentence in debrief_lines(read_session(run.store.folder).events):
        out.setdefault(about, []).append(sentence)
    return out


def test_the_same_seed_hides_the_same_faults_and_another_seed_others(tmp_path: Path) -> None:
    drawn = [faults_of(tmp_path / str(n), seed) for n, seed in enumerate((5, 5, 6, 7, 8))]
    assert drawn[0] == drawn[1]
    assert len({frozenset(d) for d in drawn}) > 2
    assert all(len(set(d)) == 2 for d in drawn)


def test_only_what_the_procedure_can_show_is_drawn(tmp_path: Path) -> None:
    """The exercise records nothing and measures neither flutter nor noise."""
    drawn = {f for seed in range(12) for f in faults_of(tmp_path / str(seed), seed)}
    hidden_from_it = {"bias-high", "bias-low", "record-level-off", "weak-erasure", "broken-screen", "fast-motor"}
    assert drawn
    assert not drawn & hidden_from_it


def test_a_procedure_that_measures_flutter_alone_hides_no_dirt_and_no_bias() -> None:
    library = Library(Workspace(REPO))
    job = library.load_job("flutter")
    seen = {s.name for s in library.sheets("fault") if fault_shows(job, library.fault(s.name))}
    assert seen == {"worn-pinch-roller", "bent-capstan", "binding-reel", "slipping-belt"}


@pytest.mark.parametrize("name", sorted(p.stem for p in (REPO / "procedures/sheets/faults").glob("*.toml")))
def test_a_whole_job_with_its_proof_shows_every_fault(name: str) -> None:
    """But for those of the noise-reduction circuits, which have a job of their own."""
    library = Library(Workspace(REPO))
    circuits = ("weak-encoder", "weak-decoder", "encoder-reference-off", "decoder-reference-off")
    job = "noise-reduction-itself" if name in circuits else "cassette-three-head"
    assert fault_shows(library.load_job(job), library.fault(name))


def test_more_faults_than_go_together_is_said(tmp_path: Path) -> None:
    with pytest.raises(Problem, match="ask for fewer"):
        opened(tmp_path, drawn=40)


def test_nothing_on_the_bench_tells_which_faults_it_has(tmp_path: Path) -> None:
    run = opened(tmp_path, drawn=0, faults=("azimuth-off",))
    run.store.close()
    shown = repr(run.runner.snapshot())
    assert AZIMUTH not in shown
    assert "azimuth-off" not in shown


def test_the_closing_question_is_answered_by_number_or_by_name(tmp_path: Path) -> None:
    titles = ("Bias high", "Dead channel", "Worn gap")
    assert named_faults("3, 1", titles) == ("Bias high", "Worn gap")
    assert named_faults("0", titles) == ()
    assert named_faults("the worn gap, I think", titles) == ("Worn gap",)
    job = Library(workspace(tmp_path)).load_job("replay")
    last = with_closing_question(job, titles).steps[-1]
    assert last.id == CLOSING
    assert "2 Dead channel" in last.do


def test_who_does_nothing_is_told_what_was_missed(tmp_path: Path) -> None:
    run = go_through(tmp_path, DoesNothing(), faults=("azimuth-off", "dirty-head"))
    told = debrief_of(run)
    assert told["fault"] == [f"{AZIMUTH}: missed.", f"{DIRT}: missed."]
    assert any(line.startswith(AZIMUTH) for line in told["again"])
    assert told["end"][0].startswith("0 of 2 faults")
    report = write_report(run.store.folder).read_text(encoding="utf-8")
    assert "Debrief of this exercise" in report
    assert f"{DIRT}: missed." in report


def test_who_hides_azimuth_with_equalisation_is_told_so(tmp_path: Path) -> None:
    told = debrief_of(go_through(tmp_path, HidesAzimuth(), faults=("azimuth-off",), seed=2))
    assert told["fault"][0].startswith(f"{AZIMUTH}: hidden, not mended: replay equalisation")
    assert any("it hides replay azimuth" in line for line in told["trimmer"])


def test_who_does_all_of_it_has_nothing_to_look_at_again(tmp_path: Path) -> None:
    trainee = Perfect(answers={CLOSING: f"{AZIMUTH}; {DIRT}"})
    told = debrief_of(go_through(tmp_path, trainee, faults=("azimuth-off", "dirty-head"), seed=3))
    assert told["fault"] == [f"{AZIMUTH}: mended, and named.", f"{DIRT}: mended, and named."]
    assert "again" not in told
    assert told["end"][0].startswith("2 of 2 faults dealt with, 5 of 5 trimmers right")


def test_left_and_resumed_it_is_the_same_exercise(tmp_path: Path) -> None:
    run = opened(tmp_path, seed=4)
    run.port.open()
    run.runner.begin()
    run.runner.obey(Leave())
    run.end()
    run.port.close()
    again = resume_run(run.store.folder, RehearsalClock(), real_time=False)
    again.store.close()
    assert run.exercise is not None
    assert again.exercise is not None
    assert tuple(again.exercise.faults) == tuple(run.exercise.faults)
    assert again.exercise.titles == run.exercise.titles
    assert again.job.steps[-1].id == CLOSING
    assert not any(of_kind(again.store.events(), Debriefed)), "it was not over"


@pytest.mark.long
@pytest.mark.parametrize("seed", range(1, 31))
def test_thirty_machines_three_trainees_each_gets_the_debrief_deserved(tmp_path: Path, seed: int) -> None:
    folders = [tmp_path / name for name in ("nothing", "hides", "perfect")]
    for folder in folders:
        folder.mkdir()
    nothing = debrief_of(go_through(folders[0], DoesNothing(), drawn=2, seed=seed))
    assert all(line.endswith(": missed.") for line in nothing["fault"])
    hides = debrief_of(go_through(folders[1], HidesAzimuth(), faults=("azimuth-off",), seed=seed))
    assert hides["fault"][0].startswith(f"{AZIMUTH}: hidden"), hides
    drawn = faults_of(tmp_path / "drawn", seed)
    names = [Library(Workspace(folders[0])).fault(f).name for f in drawn]
    perfect = debrief_of(go_through(folders[2], Perfect(answers={CLOSING: "; ".join(names)}), drawn=2, seed=seed))
    assert perfect["end"][0].startswith("2 of 2 faults dealt with"), perfect
    assert "wrong" not in perfect
