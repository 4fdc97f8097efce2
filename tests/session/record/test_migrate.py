"""A session of the first schema, as it stood on disk then, is read as today's."""

from __future__ import annotations

import shutil
import tomllib
from pathlib import Path

from bench.clock import RehearsalClock
from bench.session.record.migrate import MIGRATIONS, migrate
from bench.session.record.reader import read_session
from bench.session.record.record import SCHEMA
from bench.session.record.store import SessionStore
from tests.results import a_reading

OLD = Path(__file__).with_name("schema-1.toml")


def test_there_is_a_way_from_every_earlier_schema() -> None:
    assert sorted(MIGRATIONS) == list(range(1, SCHEMA))


def test_an_old_file_is_read_and_left_as_it_is(tmp_path: Path) -> None:
    shutil.copy(OLD, tmp_path / "session.toml")
    session = read_session(tmp_path)
    assert session.read_only == ""
    assert [a_reading(r.reading).value for r in session.readings] == [-13.4, -12.04]
    assert session.outcome == "All 1 judged readings are in."
    assert (tmp_path / "session.toml").read_bytes() == OLD.read_bytes()


def test_what_the_head_has_said_since_is_found_out() -> None:
    table = migrate(tomllib.loads(OLD.read_text(encoding="utf-8")), 1)
    assert table["schema"] == SCHEMA
    assert table["outcome"] == "All 1 judged readings are in."
    assert table["reference_plays"] == 2


def test_going_on_with_an_old_session_writes_todays_schema(tmp_path: Path) -> None:
    text = OLD.read_text(encoding="utf-8")
    text = text[: text.index("[[events]]")].replace("done = true", "done = false")
    (tmp_path / "session.toml").write_text(text, encoding="utf-8")
    store = SessionStore.reopen(tmp_path, RehearsalClock())
    store.step_done("sign")
    store.close()
    written = tomllib.loads((tmp_path / "session.toml").read_text(encoding="utf-8"))
    assert written["schema"] == SCHEMA
    assert written["reference_plays"] == 2
    assert [r["id"] for r in written["readings"]] == ["r0001", "r0002"]
