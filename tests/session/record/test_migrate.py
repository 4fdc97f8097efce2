"""A session of every schema, as written to disk at the time, is read as the current one, with the same report.

The frozen file of a schema was written by the program of that time; that of the third has every kind of event.
"""

from __future__ import annotations

import shutil
import tomllib
from pathlib import Path
from typing import Any

import pytest

from bench.procedure.state.event_kinds import KIND_OF, KINDS, Event
from bench.procedure.state.events import (
    Accepted,
    Answered,
    CameBack,
    Decided,
    Done,
    Limits,
    Looked,
    Noted,
    Skipped,
    SoundBack,
    Turned,
    Waited,
    WentAside,
)
from bench.procedure.state.exercise_events import CauseNamed, RanTest
from bench.session.record.migrate import MIGRATIONS, migrate
from bench.session.record.reader import read_session
from bench.session.record.record import SCHEMA, TrimmerTurns
from bench.session.record.store import SessionStore
from bench.session.report.plain_text import report_text

FROZEN = Path(__file__).with_name("frozen")
OLD = FROZEN / "schema-1" / "session.toml"
EVERY = sorted(folder.name for folder in FROZEN.iterdir())


def test_there_is_a_way_from_every_earlier_schema_and_a_file_of_each() -> None:
    assert sorted(MIGRATIONS) == list(range(1, SCHEMA))
    assert [f"schema-{n}" for n in range(1, SCHEMA + 1)] == EVERY


@pytest.mark.parametrize("name", EVERY)
def test_a_session_of_each_schema_has_the_report_it_had(name: str) -> None:
    before = (FROZEN / name / "session.toml").read_bytes()
    session = read_session(FROZEN / name)
    assert session.read_only == ""
    assert report_text(session) == (FROZEN / name / "report.txt").read_text(encoding="utf-8")
    assert (FROZEN / name / "session.toml").read_bytes() == before


def test_the_frozen_file_of_today_has_every_kind_of_event_and_is_what_the_one_before_becomes() -> None:
    today, before = (read_session(FROZEN / f"schema-{n}") for n in (SCHEMA, SCHEMA - 1))
    assert {KIND_OF[type(event)] for event in today.events} == set(KINDS)
    since = CauseNamed | RanTest | WentAside | CameBack | Looked
    known = tuple(e for e in today.events if not isinstance(e, since))
    assert (before.job, before.steps, before.events) == (today.job, today.steps, known)
    assert before.readings == today.readings


def test_what_the_head_of_the_second_schema_says_is_found_out() -> None:
    table = MIGRATIONS[1](tomllib.loads(OLD.read_text(encoding="utf-8")), OLD.parent)
    assert table["reference_plays"] == 2


def test_going_on_with_an_old_session_writes_todays_schema(tmp_path: Path) -> None:
    text = OLD.read_text(encoding="utf-8")
    text = text[: text.index("[[events]]")].replace("done = true", "done = false")
    (tmp_path / "session.toml").write_text(text, encoding="utf-8")
    store = SessionStore.reopen(tmp_path)
    store.step_done("sign")
    store.close()
    written = tomllib.loads((tmp_path / "session.toml").read_text(encoding="utf-8"))
    assert written["schema"] == SCHEMA
    assert written["reference_plays"] == 2
    assert [r["id"] for r in written["readings"]] == ["r0001", "r0002"]


def test_without_its_copies_a_session_keeps_every_fact_of_its_events(tmp_path: Path) -> None:
    shutil.copy(FROZEN / "schema-2" / "session.toml", tmp_path)
    alone, whole = read_session(tmp_path), read_session(FROZEN / "schema-2")
    kept = [(type(a), a.step, a.time) for a in alone.events]
    assert len(kept) == len(whole.events)
    assert [e for e in alone.events if isinstance(e, Answered | Turned)] == [
        e for e in whole.events if isinstance(e, Answered | Turned)
    ]
    assert alone.job.turned_before == (
        TrimmerTurns("bias left", (6.0, -24.2963568)),
        TrimmerTurns("replay azimuth", (6.0,)),
    )


AT_LEAST = Limits(20.0, limit="at least", source="sheet")
SENTENCES: list[tuple[str, str, Any, Event]] = [
    ("answer", "Level: left: 0.775 V", 0.775, Answered(0.775, "V")),
    ("answer", "Level: left: 12 mV, outside at least 20 mV as read (sheet)", 12.0, Answered(12.0, "mV", AT_LEAST)),
    ("answer", "Level: left: nothing entered", "", Answered("")),
    ("answer", "Level: left: yes (right)", "yes", Answered("yes", right="yes")),
    ("answer", "Level: left: cold (right)", "cold (right)", Answered("cold (right)")),
    ("tick", "waited 10.0 minutes", 600.0, Waited(600.0, 600.0)),
    ("turns", "bias left: 3 turns, -12° in all", -12.0, Turned("bias left", (0.0, 0.0, -12.0))),
    ("skip", "no reading, because it rains; see above; dry", None, Skipped("dry", "it rains; see above")),
    ("skip", "no time; no tape", None, Skipped("no time; no tape")),
    ("accept", "it stands", None, Accepted("it stands")),
    ("port", "sound is back", None, SoundBack()),
    ("note", "belt is worn", None, Noted("belt is worn")),
    ("decision", "replay it: on to the end", "3", Decided("", 3, answer="replay it")),
    ("decision", "nothing to decide by: what it looks at does not apply here: on to A", "3 a", Decided("a", 3)),
    ("decision", "in: A, B: on to the end", "3", Decided("", 3, all_in=("A", "B"))),
    ("done", "All 135 judged readings are in.", None, Done()),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "text", "value", "event"), SENTENCES)
def test_a_sentence_becomes_its_facts(tmp_path: Path, kind: str, text: str, value: Any, event: Event) -> None:
    old = OLD.read_text(encoding="utf-8")
    said = "" if value is None else f"value = {value if isinstance(value, float) else repr(value)}\n"
    row = f"\n[[events]]\nkind = '{kind}'\nstep = ''\ntext = '{text}'\n{said}time = 1970-01-01T00:00:00Z\n"
    (tmp_path / "session.toml").write_text(old[: old.index("[[events]]")] + row, encoding="utf-8")
    assert read_session(tmp_path).events == (event,)


def test_readings_from_before_they_said_so_are_told_how_noise_reduction_stood() -> None:
    """Clock set forward at the second step, set back at the fourth, and then as at the second."""
    late, early = "2026-05-03T12:00:00Z", "2026-05-03T09:00:00Z"
    table = tomllib.loads(
        "steps_done = ['a', 'b', 'c', 'd']\n"
        + "".join(f"[[readings]]\nstep = '{step}'\n" for step in "abcd")
        + f"[[events]]\nkind = 'switch'\nstep = 'b'\ntext = 'noise-reduction: on'\ntime = {late}\n"
        + f"[[events]]\nkind = 'switch'\nstep = 'd'\ntext = 'noise-reduction: off'\ntime = {early}\n"
        + f"[[events]]\nkind = 'switch'\nstep = 'b'\ntext = 'noise-reduction: on'\ntime = {early}\n"
    )
    stood = [row.get("noise_reduction", "off") for row in migrate(table, 2, FROZEN)["readings"]]
    assert stood == ["off", "on", "on", "off"]
