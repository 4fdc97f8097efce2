"""Exercises: hidden faults by seed, and three trainees with the appropriate debriefs."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from bench.clock import RehearsalClock
from bench.measure.reading import Reading
from bench.open_run import OpenRun, open_run, resume_run
from bench.practice_setup import causes_of
from bench.problem import Problem
from bench.procedure.load.library import Library
from bench.procedure.model.sheets import Exercise
from bench.procedure.run.commands import Answer, Back, GoOn, Leave, RunTest
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Done
from bench.procedure.state.exercise_events import Debriefed, RanTest, causes_named
from bench.run_request import RunRequest
from bench.session.compare.diagnosis import diagnosis_of
from bench.session.record.reader import read_session
from bench.session.report.debrief_text import debrief_lines
from bench.session.report.report import write_report
from bench.training.causes import Cause
from bench.training.distinguishing_tests import distinguishing_tests
from bench.training.exercise import CLOSING, COMPLAINT, fault_shows, with_exercise_steps
from bench.training.hands import UnattendedHands
from bench.training.rivals import rival_of
from bench.workspace import Workspace, shipped_procedures
from tests.training.contradictions import contradictions
from tests.training.exercise_bench import (
    REPO,
    Argues,
    DoesNothing,
    Hasty,
    HidesAzimuth,
    OnlyTests,
    Perfect,
    Withdraws,
    exercise,
    go_through,
    workspace,
)

AZIMUTH, DIRT = "Replay azimuth out of adjustment", "Dirt on the replay head"


def opened(folder: Path, *faults: str, **facts: Any) -> OpenRun:
    wanted = RunRequest("", exercise=exercise(*faults, **facts))
    return open_run(workspace(folder), wanted, RehearsalClock(), real_time=False)


def faults_of(folder: Path, seed: int) -> tuple[str, ...]:
    folder.mkdir()
    run = opened(folder, draws=2, seed=seed)
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
    """Except those of the noise-reduction circuits, which have a job of their own."""
    library = Library(Workspace(REPO))
    circuits = ("weak-encoder", "weak-decoder", "encoder-reference-off", "decoder-reference-off")
    job = "noise-reduction-itself" if name in circuits else "cassette-three-head"
    assert fault_shows(library.load_job(job), library.fault(name))


def test_more_faults_than_go_together_is_said(tmp_path: Path) -> None:
    with pytest.raises(Problem, match="ask for fewer"):
        opened(tmp_path, "dead-channel", "worn-gap", draws=10)


def test_nothing_on_the_bench_tells_which_faults_it_has(tmp_path: Path) -> None:
    run = opened(tmp_path, "azimuth-off")
    run.store.close()
    shown = repr(run.runner.snapshot())
    assert AZIMUTH not in shown
    assert "azimuth-off" not in shown


def test_a_fault_that_the_procedure_can_not_show_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Problem, match='replay measures nothing that shows "Weak erasure"'):
        opened(tmp_path, "weak-erasure")


def test_the_machine_is_in_order_but_for_what_is_hidden(tmp_path: Path) -> None:
    """Dirt and trimmers count as much as faults, and only where the exercise says so."""
    for name, facts in {"azimuth": {}, "dirty": {"dirty": True}, "out": {"out_of_adjustment": True}}.items():
        folder = tmp_path / name
        folder.mkdir()
        run = opened(folder, *(["azimuth-off"] if not facts else []), seed=2, **facts)
        run.store.close()
        assert run.exercise is not None
        before = run.exercise.truth()
        told = run.exercise.debrief(run.port, run.store)
        hidden = {f.name for f in told.faults}
        out = {t.name for t in before.trimmers if abs(t.off) > 0.5}
        if name == "azimuth":
            assert (hidden, out) == ({AZIMUTH}, {"replay azimuth"})
        elif name == "dirty":
            assert (hidden, out) == ({DIRT, "Dirt on the record head"}, set())
        else:
            assert {"Replay level out of adjustment", "Record azimuth out of adjustment"} <= hidden
            assert len(out) > 5


def test_causes_are_named_one_by_one_each_with_its_reading(tmp_path: Path) -> None:
    run = go_through(tmp_path, Argues(), exercise("azimuth-off", seed=3))
    told = debrief_of(run)
    assert told["fault"] == [f"{AZIMUTH}: named and argued. It is still there: tell whoever mends it."]
    assert told["wrong"] == ["Bent capstan: named, but not there."]
    assert [e.test for e in of_kind(run.store.events(), RanTest)] == [rival_test("replay_azimuth")]
    tested = [r for r in run.store.records() if r.step == "test-delay"]
    assert {r.verdict.word for r in tested if r.verdict is not None} == {"out"}
    assert not any(r.judged for r in tested)
    assert "test-delay" in read_session(run.store.folder).titles


def rival_test(figure: str) -> str:
    rival = rival_of(Cause("A", "B", {f"{figure}_arcmin": 10.0}))
    assert rival is not None
    return rival.test


def test_a_test_in_mid_exercise_shows_its_result_and_leads_back_to_the_step(tmp_path: Path) -> None:
    run = opened(tmp_path, "dirty-head")
    runner = run.runner
    runner.begin()

    def step() -> str:
        shown = runner.snapshot().step
        return shown.id if shown is not None else ""

    assert (step(), runner.snapshot().can_test) == ("clean", True)
    runner.obey(RunTest())
    assert (step(), runner.snapshot().can_test) == ("choose-test", False)
    runner.obey(Back())
    assert step() == "clean"
    for head, seen in (("replay", "comes away dark brown"), ("record", "stays as white as a new one")):
        runner.obey(RunTest())
        runner.obey(Answer(f"wipe the {head} head with a fresh swab"))
        assert seen in runner.snapshot().seen
        runner.obey(GoOn())
        assert step() == "clean"
    assert run.store.steps_done() == ()
    run.end()


def test_a_test_of_treble_ignores_the_other_sections_of_the_tape(tmp_path: Path) -> None:
    """The level section has the frequency of the response's reference tone, and is 20 dB higher."""
    trainee = OnlyTests(test="clean the head, and read the treble again", override="not demagnetised")
    run = go_through(tmp_path, trainee, exercise("dirty-head"))
    read = [r.reading for r in run.store.records() if r.step == "test-treble"]
    assert {r.quantity for r in read} == {"response"}
    assert all(abs(r.value) < 12.0 for r in read if isinstance(r, Reading))


def test_every_test_that_a_rival_names_can_be_run_where_the_machine_has_three_heads() -> None:
    library = Library(Workspace(REPO))
    job = library.load_job("cassette-three-head")
    causes = causes_of(job.machine, [library.fault(s.path) for s in library.sheets("fault")])
    assert {r.test for c in causes if (r := rival_of(c)) is not None} <= set(distinguishing_tests(job))


def test_outside_an_exercise_there_is_no_test(tmp_path: Path) -> None:
    run = open_run(workspace(tmp_path), RunRequest("replay"), RehearsalClock(), real_time=False)
    run.runner.begin()
    run.runner.obey(RunTest())
    assert "an exercise has them" in run.runner.snapshot().notice
    run.end()


def test_hands_that_were_told_one_cause_name_it_and_finish(tmp_path: Path) -> None:
    run = go_through(tmp_path, DoesNothing(answers={CLOSING: DIRT}), exercise("dirty-head"))
    assert [e.cause for e in causes_named(read_session(run.store.folder).events)] == [DIRT]


def test_who_does_nothing_is_told_what_was_missed(tmp_path: Path) -> None:
    run = go_through(tmp_path, DoesNothing(), exercise("azimuth-off", "dirty-head"))
    told = debrief_of(run)
    assert told["fault"] == [f"{AZIMUTH}: neither named nor mended.", f"{DIRT}: neither named nor mended."]
    assert any(line.startswith(AZIMUTH) for line in told["again"])
    assert told["end"][0].startswith("0 of 2 causes named, 0 of 2 dealt with")
    report = write_report(run.store.folder).read_text(encoding="utf-8")
    assert "Debrief of this exercise" in report
    assert f"{DIRT}: neither named nor mended." in report


def test_a_cause_that_was_named_by_mistake_is_withdrawn(tmp_path: Path) -> None:
    run = go_through(tmp_path, Withdraws(), exercise("azimuth-off", draws=0))
    told = debrief_of(run)
    assert "wrong" not in told
    assert told["fault"] == [
        f"{AZIMUTH}: named, but not argued from a reading and a test. It is still there: tell whoever mends it."
    ]


@pytest.mark.long
def test_who_hides_azimuth_with_equalisation_is_told_so(tmp_path: Path) -> None:
    told = debrief_of(go_through(tmp_path, HidesAzimuth(), exercise("azimuth-off", seed=2)))
    assert told["fault"][0].startswith(f"{AZIMUTH}: masked, not mended: replay equalisation")
    assert any("it masks this cause: replay azimuth" in line for line in told["trimmer"])


@pytest.mark.long
def test_who_does_all_of_it_has_nothing_to_look_at_again(tmp_path: Path) -> None:
    trainee = Perfect(answers={CLOSING: f"{AZIMUTH}; {DIRT}"})
    told = debrief_of(go_through(tmp_path, trainee, exercise("azimuth-off", "dirty-head", seed=3)))
    assert told["fault"] == [
        f"{name}: mended, named, but not argued from a reading and a test." for name in (AZIMUTH, DIRT)
    ]
    assert "again" not in told
    assert any("To tell them apart" in line for line in told["argument"])
    assert told["end"][0].startswith("2 of 2 causes named, 2 of 2 dealt with, 5 of 5 trimmers right")


def test_left_and_resumed_it_is_the_same_exercise(tmp_path: Path) -> None:
    run = left_at_once(tmp_path, draws=2, seed=4)
    again = resume_run(run.store.folder, RehearsalClock(), real_time=False)
    again.store.close()
    assert run.exercise is not None
    assert again.exercise is not None
    assert tuple(again.exercise.faults) == tuple(run.exercise.faults)
    assert again.exercise.causes == run.exercise.causes
    assert again.exercise.sheet == run.exercise.sheet
    assert again.job.steps[-1].id == CLOSING
    assert not any(of_kind(again.store.events(), Debriefed)), "it was not over"


def left_at_once(folder: Path, *faults: str, **facts: Any) -> OpenRun:
    run = opened(folder, *faults, **facts)
    run.port.open()
    run.runner.begin()
    run.runner.obey(Leave())
    run.end()
    run.port.close()
    return run


def test_no_file_of_an_exercise_that_is_not_over_says_what_is_hidden(tmp_path: Path) -> None:
    run = left_at_once(tmp_path, "azimuth-off", must_find=("azimuth-off",), draws=1, complaint="It is dull.")
    assert run.exercise is not None
    hidden = [name.encode() for name in run.exercise.faults]
    assert len(hidden) == 2
    text = (run.store.folder / "session.toml").read_bytes()
    copied = {p.stem.encode() for p in (run.store.inputs / "sheets" / "faults").glob("*.toml")}
    listed = {name for name in copied if b'"%s"' % name in text}
    assert not listed & set(hidden)
    assert not (run.store.inputs / "sheets" / "exercises").exists()
    assert len(list((run.store.inputs / "sheets" / "faults").glob("*.toml"))) > 30


def test_nothing_says_what_is_wrong_before_an_exercise_is_over(tmp_path: Path) -> None:
    run = left_at_once(tmp_path, "azimuth-off")
    session = read_session(run.store.folder)
    with pytest.raises(Problem, match="in an exercise you say what is wrong"):
        diagnosis_of(session)
    last = session.events[-1]
    over = replace(session, events=(*session.events, Done(step=CLOSING, time=last.time)))
    diagnosis_of(over)


def test_a_session_that_names_its_faults_in_clear_still_opens(tmp_path: Path) -> None:
    run = left_at_once(tmp_path, "azimuth-off")
    path = run.store.folder / "session.toml"
    text = re.sub(r"(?m)^exercise = .*$", 'exercise = ["worn-gap"]', path.read_text(encoding="utf-8"))
    path.write_text(text, encoding="utf-8")
    copies = run.store.inputs / "sheets" / "exercises"
    copies.mkdir()
    sheet = 'format = 1\nsheet = "exercise"\nname = "E"\nprocedure = "replay"\nseed = 1\ndraws = 1\n'
    (copies / "exercise.toml").write_text(sheet, encoding="utf-8")
    again = resume_run(run.store.folder, RehearsalClock(), real_time=False)
    again.store.close()
    assert again.exercise is not None
    assert (list(again.exercise.faults), again.exercise.sheet.dirty) == (["worn-gap"], False)


def test_only_what_must_be_found_is_counted_as_wanted(tmp_path: Path) -> None:
    run = opened(tmp_path, "azimuth-off", "dirty-head", must_find=("dirty-head",))
    run.store.close()
    assert run.exercise is not None
    told = run.exercise.debrief(run.port, run.store)
    assert {f.name: f.must_find for f in told.faults} == {AZIMUTH: False, DIRT: True}


def trainee_of(seed: int) -> UnattendedHands:
    """Careful, hasty or wrong-headed by turns; each names something, rightly or not."""
    named = ("Bias high; Worn replay gap", "Dirt on the replay head; Replay azimuth out of adjustment", "Head bump")
    answers = {CLOSING: named[seed // 3 % 3]}
    return (Perfect(answers=answers), Hasty(answers=answers, seed=seed), HidesAzimuth(answers=answers))[seed % 3]


def exercise_of(seed: int) -> Exercise:
    """Up to three faults; every fourth machine is dirty, every fifth out of adjustment."""
    dirty, out = seed % 4 == 3, seed % 5 == 4
    return exercise(draws=seed % 4 or int(not (dirty or out)), seed=seed, dirty=dirty, out_of_adjustment=out)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(200))
def test_two_hundred_debriefs_contradict_no_reading(tmp_path: Path, seed: int) -> None:
    run = go_through(tmp_path, trainee_of(seed), exercise_of(seed))
    assert list(contradictions(read_session(run.store.folder))) == []


@pytest.mark.long
def test_a_debrief_that_contradicts_a_reading_is_found(tmp_path: Path) -> None:
    """The basis of the tests above: reversed claims in a session that was in order."""
    run = go_through(tmp_path, Argues(), exercise("azimuth-off"))
    session = read_session(run.store.folder)
    assert list(contradictions(session)) == []
    told = next(of_kind(session.events, Debriefed))
    others = tuple(e for e in session.events if not isinstance(e, Debriefed))
    for wrong in (
        replace(told, faults=(replace(told.faults[0], state="mended"),)),
        replace(told, faults=()),
        replace(told, faults=(replace(told.faults[0], name="Bent capstan"),)),
    ):
        trimmers = tuple(replace(t, right=True) for t in told.trimmers)
        turned = replace(session, events=(*others, replace(wrong, trimmers=trimmers)))
        assert list(contradictions(turned)), wrong


@pytest.mark.long
@pytest.mark.parametrize("seed", range(1, 31))
def test_thirty_machines_three_trainees_each_gets_the_debrief_deserved(tmp_path: Path, seed: int) -> None:
    folders = [tmp_path / name for name in ("nothing", "hides", "perfect")]
    for folder in folders:
        folder.mkdir()
    nothing = debrief_of(go_through(folders[0], DoesNothing(), exercise(draws=2, seed=seed)))
    assert all(line.endswith(": neither named nor mended.") for line in nothing["fault"])
    hides = debrief_of(go_through(folders[1], HidesAzimuth(), exercise("azimuth-off", seed=seed)))
    assert hides["fault"][0].startswith(f"{AZIMUTH}: masked"), hides
    drawn = faults_of(tmp_path / "drawn", seed)
    names = [Library(Workspace(folders[0])).fault(f).name for f in drawn]
    perfect = debrief_of(
        go_through(folders[2], Perfect(answers={CLOSING: "; ".join(names)}), exercise(draws=2, seed=seed))
    )
    assert perfect["end"][0].startswith("2 of 2 causes named, 2 of 2 dealt with"), perfect
    assert "wrong" not in perfect


@pytest.mark.parametrize(("procedure", "at"), [("what-is-wrong", "complaint"), ("record-replay-check", COMPLAINT)])
def test_the_owners_words_are_at_the_step_that_asks_for_them_or_come_first(procedure: str, at: str) -> None:
    job = Library(Workspace(shipped_procedures().parent)).load_job(procedure)
    steps = with_exercise_steps(job, "It hums.", causes_of(job.machine, ())).steps
    (said,) = [s for s in steps if "It hums." in s.do]
    assert said.id == at
    assert said is steps[0]
    assert len(steps) == len(job.steps) + 1 + (at == COMPLAINT)
