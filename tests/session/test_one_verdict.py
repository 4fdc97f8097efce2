"""One verdict everywhere: end of the run, exit code, list of sessions, history, report and label say the same."""

from __future__ import annotations

import random
import shutil
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.clock import RehearsalClock
from bench.procedure.run import commands as say
from bench.procedure.state.event_kinds import Event
from bench.procedure.state.events import CheckedAgain, Disturbed, Done, Skipped
from bench.procedure.state.journal import ReadingRecord
from bench.session.compare.history import history_of
from bench.session.record.index import entries
from bench.session.record.reader import read_session
from bench.session.record.steps import StepFacts
from bench.session.record.store import SessionStore
from bench.session.report.document import document_of
from bench.session.report.label import label_lines
from bench.session.report.plain_text import report_text
from bench.words.sentences import inert
from tests.cases import cases
from tests.procedure.flow_bench import CLEAN, LEVEL, MEASURE, SIGN, Bench, listen, words
from tests.session import strategies
from tests.session.made_up import JOB, START

STEPS = ("a", "b", "c", "d")
some_steps = st.builds(
    StepFacts,
    id=st.sampled_from(STEPS),
    title=st.text("xyz ", min_size=1, max_size=8),
    kind=st.sampled_from(["measure", "entry", "adjust"]),
    stage=st.sampled_from(["found-dirty", "found-clean", "left"]),
)
some_records = strategies.records.flatmap(
    lambda r: st.builds(
        lambda step, attempt: replace(r, step=step, attempt=attempt, judged=r.stage == "left"),
        st.sampled_from(STEPS),
        st.integers(1, 2),
    )
)
some_events = st.one_of(
    st.builds(Skipped, reason=st.just("no time"), step=st.sampled_from(STEPS), time=st.just(START)),
    st.builds(Disturbed, what=st.just(("bias",)), step=st.just("a"), time=st.just(START)),
    st.builds(CheckedAgain, what=st.just(("bias",)), step=st.just("a"), time=st.just(START)),
)


@cases(25)
@given(
    st.lists(some_steps, max_size=4, unique_by=lambda s: s.id).map(tuple),
    st.lists(some_records, max_size=6).map(tuple),
    st.lists(some_events, max_size=3).map(tuple),
    st.booleans(),
    st.sampled_from(["", "fit-for-noise-reduction", "noise-reduction-circuits", "which-tape"]),
)
def test_every_place_gives_the_verdict_of_any_record(
    steps: tuple[StepFacts, ...],
    records: tuple[ReadingRecord, ...],
    events: tuple[Event, ...],
    done: bool,
    answers: str,
) -> None:
    root = Path(tempfile.mkdtemp())
    try:
        job = replace(JOB, port_kind="", answers=answers)
        store = SessionStore.create(root / "sessions", job, [], RehearsalClock(START), steps=steps)
        store.keep(records)
        for event in events:
            store.note(event)
        if done:
            store.note(Done(time=START))
        assert store.close() == ""
        session = read_session(store.folder)
        verdict = session.conclusion
        assert verdict.done == done
        assert (verdict.exit_code == 0) == (verdict.word == "in" or verdict.headline == "Nothing judged")
        listed = entries(root / "sessions")
        assert [e.outcome for e in listed] == [verdict.said]
        assert history_of(listed, None, 12).visits[0].outcome == verdict.said
        assert document_of(session).conclusion == verdict
        text = " ".join(report_text(session).split())
        assert f"{verdict.headline.upper()} {' '.join(inert(' '.join(verdict.sentences)).split())}" in text
        assert label_lines(store.folder)[-1].casefold().startswith(verdict.headline.casefold())
    finally:
        shutil.rmtree(root)


COMMANDS = (
    say.GoOn(),
    say.GoOn(),
    say.GoOn(),
    say.Skip("no time"),
    say.Accept("good enough"),
    say.Repeat(),
    say.Back(),
)


@pytest.mark.parametrize("seed", range(3))
def test_what_a_run_ends_with_is_what_its_record_says(tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    bench = Bench(tmp_path)
    run = bench.open(CLEAN + MEASURE + LEVEL + words("belt") + SIGN, seed=seed)
    for _ in range(14):
        listen(run, lambda s: s.prompt.kind != "wait" or s.can_accept, 8.0)
        if run.runner.finished:
            break
        kind = run.runner.snapshot().prompt.kind
        run.runner.obey(say.Answer("the bench") if kind == "words" else chance.choice(COMMANDS))
    run.runner.close()
    run.store.close()
    outcome = run.runner.outcome()
    verdict = read_session(run.store.folder).conclusion
    said = (outcome.completed, outcome.exit_code, outcome.judged, outcome.words, outcome.said)
    assert said == (verdict.done, verdict.exit_code, verdict.judged, verdict.counts, verdict.said)
    assert [e.outcome for e in entries(bench.root / "sessions")] == [outcome.said]
